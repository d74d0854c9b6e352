"""Arithmetic on NumPy arrays: many samples of an analysis at once."""
