"""Draws of the future, shared by every question."""

from sideoats.outlook.draws import DEFAULT_DRAWS, DEFAULT_SEED, HORIZON_DAYS, Outlook, make_outlook

__all__ = ["DEFAULT_DRAWS", "DEFAULT_SEED", "HORIZON_DAYS", "Outlook", "make_outlook"]
