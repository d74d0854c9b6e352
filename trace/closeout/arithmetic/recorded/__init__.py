"""Arithmetic on numbers that remember how they were made, and a formula evaluated again."""
