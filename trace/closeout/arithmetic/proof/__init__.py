"""Worst case over a box: proved where the formula allows it, else searched."""
