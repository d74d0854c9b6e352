"""Predicted against measured: what a model says of a test, and how what was measured stands to it.

Nothing here decides a verdict: a test is judged by what it measured, whatever was predicted.
"""

from closeout.judge.compared.asked import AskedOf, Asking, Pair, ask_of, pairs_of
from closeout.judge.compared.correlated import correlated, marked, uncorrelated
from closeout.judge.compared.found import compared, prediction
from closeout.judge.compared.inputs import Bench

__all__ = [
    "AskedOf",
    "Asking",
    "Bench",
    "Pair",
    "ask_of",
    "compared",
    "correlated",
    "marked",
    "pairs_of",
    "prediction",
    "uncorrelated",
]
