"""The week for the public: page, PDF, plain text for radio and messages, a spoken script, calendars per farm."""
