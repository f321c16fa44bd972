"""One module a room: ``entries(district, rng)`` gives two seasons of evidence and may extend places."""
