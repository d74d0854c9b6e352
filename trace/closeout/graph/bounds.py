"""Limits and conditions as numbers: in a quantity's unit, and what makes two criteria the same."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.answer import Bounds
from closeout.model.criterion import Condition, Criterion, ExactLimits, Limits


@lru_cache(maxsize=100_000)
def bounds_in(limits: Limits, unit: str, units: Units) -> Bounds:
    """Return limits in a quantity's unit, each rounded once.

    Raises:
        UnitError: a limit cannot be compared with the unit, or is beyond the doubles in it.
    """
    return rounded(exact_in(limits, unit, units))


def exact_in(limits: Limits, unit: str, units: Units) -> ExactLimits:
    """Return limits as exact numbers of a unit; UnitError where one does not compare with it."""
    low, high = written_ends(limits, units)
    return ExactLimits(
        unit,
        None if low is None else units.convert(low, unit),
        None if high is None else units.convert(high, unit),
        bool(limits.undecided),
    )


def rounded(limits: ExactLimits) -> Bounds:
    """Return the doubles that are nearest to exact limits; UnitError where there is none."""
    low, high = limits.at_least, limits.at_most
    return Bounds(
        None if low is None else as_double(low, limits.unit),
        None if high is None else as_double(high, limits.unit),
    )


def written_ends(limits: Limits, units: Units) -> tuple[Amount | None, Amount | None]:
    """Return both limits as they were written; of a value with its ``within`` the exact ends.

    Raises:
        UnitError: the ``within`` is no difference in the unit of its value.
    """
    middle = limits.equal_to
    if middle is None or limits.within is None:
        return limits.at_least, limits.at_most
    half = units.tolerance(middle, limits.within, middle.unit)
    return replace(middle, number=middle.number - half), replace(
        middle, number=middle.number + half
    )


def crossed(limits: Limits, units: Units) -> str | None:
    """Return in words that no value keeps both limits; None where one does, or none compares."""
    low, high = limits.at_least, limits.at_most
    if low is None or high is None:
        return None
    try:
        above = units.convert(low, high.unit) > high.number
    except UnitError:
        return None  # reported where each is compared with the quantity's unit
    return f"at_least {low} is above at_most {high}: no value is between them" if above else None


def as_double(number: Fraction, unit: str) -> float:
    """Return the nearest double; UnitError where there is none."""
    try:
        return float(number)
    except OverflowError:
        raise UnitError(
            f"it is too large a number in {unit or 'a plain number'}",
            "write a number below 1e300, or a larger unit",
        ) from None


def key_of_criterion(criterion: Criterion, units: Units) -> tuple[object, ...]:
    """Return what two criteria share apart from their conditions: exact limits, not their texts."""
    limits = criterion.limits
    key = (criterion.quantity, criterion.cases_at_least, limits.undecided)
    unit = limits.unit
    if unit is None:
        return key
    try:
        scale = units.scale(unit)
        ends: tuple[Amount | None, ...] = written_ends(limits, units)
        if limits.undecided:  # a middle has no ends then
            ends = (*ends, limits.equal_to)
        base = tuple(_in_base(end, unit, units) for end in ends)
    except UnitError:
        return (*key, str(limits))
    return (*key, scale.dimension, *base)


def _in_base(end: Amount | None, unit: str, units: Units) -> Fraction | None:
    """Return an end in the base unit of another; UnitError where it does not compare with that."""
    if end is None:
        return None
    scale = units.scale(unit)
    return units.convert(end, unit) * scale.factor + scale.offset


def key_of_given(criterion: Criterion, units: Units) -> tuple[object, ...]:
    """Return what makes two sets of conditions the same: exact values in any order."""
    rows = [(name, _key_of_condition(given, units)) for name, given in criterion.given]
    return tuple(sorted(rows, key=lambda row: row[0]))


def _key_of_condition(given: Condition, units: Units) -> tuple[object, ...]:
    try:
        scales = [units.scale(end.unit) for end in given.ends]
    except UnitError:
        return tuple(end.text for end in given.ends)
    exact = sorted(e.number * s.factor + s.offset for e, s in zip(given.ends, scales, strict=True))
    return (scales[0].dimension, *exact)
