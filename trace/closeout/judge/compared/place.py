"""How a measured value stands to a predicted range, and the normalised error. Pure numbers.

A value x with its expanded uncertainty U is held against a range from L to H about the value y.
"""

from __future__ import annotations

import math
from fractions import Fraction

from closeout.model.compared import Standing

Number = Fraction | float


def place(x: Number, y: Number, low: Number, high: Number) -> float | None:
    """Return where x lies between y (0) and the end on its side (1 the upper, -1 the lower).

    Beyond the ends it is above 1 or below -1. None where there is no way from y to that end.
    """
    way = high - y if x > y else y - low
    if x == y:
        return 0.0
    return float((x - y) / way) if way > 0 else None


def standing(x: Number, half: Number, low: Number, high: Number) -> Standing:
    """Return how x with its expanded uncertainty ``half`` stands to a range.

    Outside where all of x - U to x + U is, inside where none of it is; else astride an end, which
    decides nothing (decision rule of JCGM 106:2012, 8, and ISO 14253-1). The ends belong to it.
    """
    if x - half > high or x + half < low:
        return Standing.OUTSIDE
    inside = low <= x - half and x + half <= high
    return Standing.INSIDE if inside else Standing.ASTRIDE


def normalised_error(x: Number, half: Number, y: Number, expanded: Number) -> float:
    """Return E_n = (x - y) / sqrt(U^2 + U_y^2), of two expanded uncertainties of one k.

    ISO 13528:2022, 9.7, and ISO/IEC 17043: beyond 1 the two values do not agree within what is
    stated of them. It holds for independent ones, one of which at least is not zero.
    """
    return float(x - y) / math.hypot(float(half), float(expanded))
