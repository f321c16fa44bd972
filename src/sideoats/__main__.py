"""``python -m sideoats``."""

from sideoats.cli import main

main()
