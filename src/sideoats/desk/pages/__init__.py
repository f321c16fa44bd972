"""One page of the desk a file; each gives `PAGES`. The application finds them by looking in here."""
