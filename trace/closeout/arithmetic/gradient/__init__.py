"""Arithmetic on intervals with the bounds of their slopes: automatic differentiation."""
