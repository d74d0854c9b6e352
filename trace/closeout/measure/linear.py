"""Factors and dimensions of linear units, computed by pint from our own definitions.

The registry holds nothing but the allow-list, in fractions: exact, and loaded in milliseconds
instead of the tenth of a second that a full one takes.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import Any

from closeout.measure.expression import Factors
from closeout.measure.scale import LEVEL_DIFFERENCE, RATIO
from closeout.measure.symbols import PREFIXES, SYMBOLS

# The order in which a dimension is written.
DIMENSIONS = (
    "level", "length", "mass", "time", "current", "temperature", "substance", "luminosity",
    "angle", "data", "symbol", "count",
)  # fmt: skip


def definitions() -> list[str]:
    """Return the lines from which the registry is built."""
    prefixes = [f"{name}- = {value}" for name, value in PREFIXES.values()]
    units = {symbol.name: f"{symbol.name} = {symbol.definition}" for symbol in SYMBOLS}
    return prefixes + list(units.values())


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(definitions())
    return registry


def coherent(factors: Factors) -> tuple[Fraction, str]:
    """Return what one of the unit is in coherent SI units, and its dimension.

    ``{km: 1, h: -1}`` gives 5/18 and ``length time^-1``; nothing gives 1 and ``1``.
    """
    registry = _registry()
    names: dict[str, int] = {}
    for factor, exponent in factors.items():
        names[factor.name] = names.get(factor.name, 0) + exponent
    container = registry.UnitsContainer(names)
    ratio, _ = registry.get_root_units(container)
    found = registry.get_dimensionality(container)
    powers = {key.strip("[]"): int(power) for key, power in found.items() if power}
    parts = [_part(name, powers[name]) for name in DIMENSIONS if name in powers]
    return Fraction(ratio), " ".join(parts) or RATIO


def _part(name: str, power: int) -> str:
    shown = LEVEL_DIFFERENCE if name == "level" else name
    return shown if power == 1 else f"{shown}^{power}"
