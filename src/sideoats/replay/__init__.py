"""The replay: stands on past dates with only what was known then, asks, and settles with what came."""
