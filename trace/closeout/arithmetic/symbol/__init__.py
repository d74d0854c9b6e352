"""Arithmetic on SymPy symbols: the closed form of a result, its derivatives, how it is set."""
