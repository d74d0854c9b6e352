"""Evaluating analyses: a host, workers, what was read, and what is still true.

The tool's side is :mod:`closeout.evaluate.engine`; the other modules down to ``host`` run in the
worker processes, on the standard library alone, so nothing is imported here.
"""
