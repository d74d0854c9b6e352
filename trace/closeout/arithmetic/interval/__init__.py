"""Arithmetic on intervals: numbers with their bounds, which round outward."""
