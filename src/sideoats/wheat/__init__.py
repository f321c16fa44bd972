"""The wheat room."""
