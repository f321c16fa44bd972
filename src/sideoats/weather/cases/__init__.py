"""What the questions of the weather work out and say: a case for each, between the pure functions and its question."""
