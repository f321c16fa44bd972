"""Variety trials: designs, mixed models, comparisons, and the chance that one variety beats another."""
