"""The letter: one page a farm, printed or sent, and the slip that comes back."""
