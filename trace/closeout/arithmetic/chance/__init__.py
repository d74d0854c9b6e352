"""Chance: samples and their bounds, root sum square, shares of the variance."""
