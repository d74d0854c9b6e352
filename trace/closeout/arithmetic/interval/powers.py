"""Powers with any exponent, on ranges: from zero upward, where a logarithm would have no bound."""

from __future__ import annotations

import math as numbers
from math import inf

from closeout.arithmetic.interval.rounded import load
from closeout.arithmetic.types import Slope
from closeout.arithmetic.undecided import Undefined

# Eight units in the last place, at least, as all elementary functions have it (see interval.py).
_SLACK = 2.0**-49
_LEAST = 4e-323


def power_ends(low: float, high: float, least: float, most: float) -> Slope | Undefined:
    """Return bounds of x to the power y, for x from low to high and y from least to most.

    For x above zero it runs one way along x and along y, so its extremes are at corners. At zero it
    is zero where y is above zero, and continuous.
    """
    if low < 0.0 or (low == 0.0 and least <= 0.0):
        exponent = f"{least!r}" if least == most else f"[{least!r}, {most!r}]"
        return Undefined(f"logarithm of [{low!r}, {high!r}], for its power {exponent}")
    ends = [_power(x, y) for x in {low, high} for y in {least, most}]
    bottom, top = min(ends), max(ends)
    if not top < inf:
        return Undefined(f"overflow of [{low!r}, {high!r}] to a power up to {most!r}")
    below = max(bottom - (bottom * _SLACK + _LEAST), 0.0)
    return below, (top + (top * _SLACK + _LEAST)) if high > 0.0 else 0.0


def _power(x: float, y: float) -> float:
    """Return a power, right to a unit in the last place; infinite beyond the numbers."""
    grown = y * numbers.log(x) if x else -inf
    if not abs(grown) < 800.0:  # beyond all numbers, or below them
        return inf if grown > 0.0 else 0.0
    libmp = load()
    found = libmp.mpf_pow(libmp.from_float(x), libmp.from_float(y), 60, "n")
    return float(libmp.to_float(found))


def slope_by_base(low: float, high: float, least: float, most: float) -> Slope:
    """Return bounds of y x^(y - 1), infinite where x reaches zero under an exponent below one."""
    if high == 0.0:
        return (0.0, 0.0) if least > 1.0 else (0.0, inf)
    factors = _around(least), _around(most)
    grown = power_ends(max(low, 0.0), high, *_less_one(least, most))
    if isinstance(grown, Undefined):
        return -inf if least < 0.0 else 0.0, inf
    products = [a * b for factor in factors for a in factor for b in grown]
    bottom, top = _down(min(products)), _up(max(products))
    # A sign that is certain must stay so.
    return max(bottom, 0.0) if least >= 0.0 else bottom, min(top, 0.0) if most <= 0.0 else top


def slope_by_exponent(low: float, high: float, least: float, most: float) -> Slope:
    """Return bounds of x^y ln x, which is zero at zero for an exponent above zero.

    For one exponent it is least at x = e^(-1/y), with -1 / (e y).
    """
    grown = power_ends(low, high, least, most)
    if isinstance(grown, Undefined):
        return -inf, inf
    top = _up(grown[1] * _up(numbers.log(high))) if high > 1.0 else 0.0
    if low >= 1.0:
        return 0.0, top
    if least > 0.0:
        return _down(-1.0 / (numbers.e * least)), top
    return _down(grown[1] * _down(numbers.log(low))), top


def _around(value: float) -> Slope:
    return value, value


def _less_one(least: float, most: float) -> Slope:
    return _down(least - 1.0) if least != 1.0 else 0.0, _up(most - 1.0) if most != 1.0 else 0.0


def _down(value: float) -> float:
    return value - (abs(value) * _SLACK + _LEAST)


def _up(value: float) -> float:
    return value + (abs(value) * _SLACK + _LEAST)
