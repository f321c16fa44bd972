"""Insects and disease: sampling, growth, injury, thresholds, trap flights and the scouting planner."""
