"""Factors and dimensions of linear units, from the definitions of their symbols; exact."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache

from closeout.measure.expression import Factors
from closeout.measure.scale import LEVEL_DIFFERENCE, RATIO
from closeout.measure.symbols import PREFIXES, SYMBOLS

# The order in which a dimension is written.
DIMENSIONS = (
    "level", "length", "mass", "time", "current", "temperature", "substance", "luminosity",
    "angle", "data", "symbol", "count",
)  # fmt: skip

_DEFINITIONS = {symbol.name: symbol.definition for symbol in SYMBOLS}


def coherent(factors: Factors) -> tuple[Fraction, str]:
    """Return what one of the unit is in coherent SI units, and its dimension.

    ``{km: 1, h: -1}`` gives 5/18 and ``length time^-1``; nothing gives 1 and ``1``.
    """
    ratio, powers = Fraction(1), Counter[str]()
    for factor, exponent in factors.items():
        own, dimensions = _defined(factor.symbol.name)
        if factor.prefix:
            own *= PREFIXES[factor.prefix][1]
        ratio *= own**exponent
        powers.update({name: power * exponent for name, power in dimensions.items()})
    parts = [_part(name, powers[name]) for name in DIMENSIONS if powers[name]]
    return ratio, " ".join(parts) or RATIO


@cache
def _defined(name: str) -> tuple[Fraction, Counter[str]]:
    """Return what a unit of a name is in coherent SI units, and the powers of its dimensions.

    A definition is a dimension, or terms with ``*`` and ``/`` between: numbers and names, which may
    have a power.
    """
    words = _DEFINITIONS[name].split()
    if words[0].startswith("["):
        return Fraction(1), Counter({words[0].strip("[]"): 1})
    ratio, powers, sign = Fraction(1), Counter[str](), 1
    for word in " ".join(words).replace(" ** ", "**").split():
        if word in "*/":
            sign = 1 if word == "*" else -1
            continue
        term, _, power = word.partition("**")
        exponent = sign * int(power or 1)
        own, dimensions = (Fraction(term), Counter[str]()) if term[0].isdigit() else _defined(term)
        ratio *= own**exponent
        powers.update({key: count * exponent for key, count in dimensions.items()})
    return ratio, powers


def _part(name: str, power: int) -> str:
    shown = LEVEL_DIFFERENCE if name == "level" else name
    return shown if power == 1 else f"{shown}^{power}"
