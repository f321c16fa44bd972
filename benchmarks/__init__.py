"""Measurements, each a ratio against a peer or a plain reference in the same run, with peak memory."""
