"""The desk: the week, the telephone, the field and the records as web pages, for one adviser or for an office."""
