"""Open data services fetched into intake: what a district declares, what came, and what is taken in of it."""
