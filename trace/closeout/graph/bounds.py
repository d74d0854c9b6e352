"""Limits and conditions as numbers: in a quantity's unit, and what makes two criteria the same."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.records import Criterion, Limits, Side

Ends = tuple[Fraction | None, Fraction | None]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Limits as doubles in the quantity's own unit, each rounded once from its exact value."""

    at_least: float | None = None
    at_most: float | None = None


@lru_cache(maxsize=100_000)
def bounds_in(limits: Limits, unit: str, units: Units) -> Bounds:
    """Return limits in a quantity's unit.

    Raises:
        UnitError: a limit cannot be compared with the unit, or is beyond the doubles in it.
    """
    low, high = _ends_in(limits, unit, units)
    return Bounds(
        None if low is None else as_double(low, unit),
        None if high is None else as_double(high, unit),
    )


def as_double(number: Fraction, unit: str) -> float:
    """Return the nearest double; UnitError where there is none."""
    try:
        return float(number)
    except OverflowError:
        raise UnitError(
            f"it is too large a number in {unit or 'a plain number'}",
            "write a number below 1e300, or a larger unit",
        ) from None


def _ends_in(limits: Limits, unit: str, units: Units) -> Ends:
    if limits.equal_to is not None and limits.within is not None:
        middle = units.convert(limits.equal_to, unit)
        half = units.tolerance(limits.equal_to, limits.within, unit)
        return middle - half, middle + half
    low, high = limits.at_least, limits.at_most
    return (
        None if low is None else units.convert(low, unit),
        None if high is None else units.convert(high, unit),
    )


def key_of_criterion(criterion: Criterion, units: Units) -> tuple[object, ...]:
    """Return what two criteria share apart from their conditions: exact limits, not their texts."""
    limits = criterion.limits
    key = (criterion.quantity, criterion.cases_at_least)
    first = limits.at_least or limits.at_most or limits.equal_to
    if first is None:
        return key
    try:
        scale = units.scale(first.unit)
        ends = _ends_in(limits, first.unit, units)
    except UnitError:
        return (*key, str(limits))
    base = (None if end is None else end * scale.factor + scale.offset for end in ends)
    return (*key, scale.dimension, *base)


def key_of_given(criterion: Criterion, units: Units) -> tuple[object, ...]:
    """Return what makes two sets of conditions the same: exact values in any order."""
    rows = [(name, _key_of_side(given, units)) for name, given in criterion.given]
    return tuple(sorted(rows, key=lambda row: row[0]))


def _key_of_side(given: Amount | Side, units: Units) -> tuple[object, ...]:
    ends = given if isinstance(given, tuple) else (given,)
    try:
        scales = [units.scale(end.unit) for end in ends]
    except UnitError:
        return tuple(end.text for end in ends)
    exact = sorted(e.number * s.factor + s.offset for e, s in zip(ends, scales, strict=True))
    return (scales[0].dimension, *exact)
