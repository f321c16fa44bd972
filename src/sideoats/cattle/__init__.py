"""The cattle room: herds, budgets, calendars, nutrition."""
