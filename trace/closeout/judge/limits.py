"""Comparison with limits, and numbers in a criterion's unit that stay on their side of a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from closeout.graph import Bounds
from closeout.measure import Units
from closeout.model.dossier import State
from closeout.model.records import Limits


@dataclass(frozen=True, slots=True)
class Judged:
    """An extent against its bounds: ``under`` is low less at_least, ``over`` at_most less high."""

    state: State
    under: float | None
    over: float | None

    @property
    def margin(self) -> float | None:
        """The margin of the bad end to the nearest limit; None without a limit."""
        return min((m for m in (self.under, self.over) if m is not None), default=None)


def compare(low: float, high: float, bounds: Bounds) -> Judged:
    """Return met or not met of an extent; limits are inclusive.

    Doubles are compared as they are; a difference of two unlike doubles is never zero, so the sign
    of the margin and the state always agree.
    """
    under = None if bounds.at_least is None else low - bounds.at_least
    over = None if bounds.at_most is None else bounds.at_most - high
    met = (under is None or under >= 0) and (over is None or over >= 0)
    return Judged(State.MET if met else State.NOT_MET, under, over)


class Shown:
    """Turns numbers of a quantity's unit into a criterion's unit.

    ``at_least`` and ``at_most`` are the limits in that unit, from their texts.
    """

    def __init__(self, units: Units, unit: str, wanted: str, limits: Bounds) -> None:
        self.unit = wanted
        self.at_least = limits.at_least
        self.at_most = limits.at_most
        self._units = units
        self._from = unit

    def value(self, number: float) -> float:
        """Return a value in the criterion's unit."""
        if self._from == self.unit:
            return number
        return float(self._units.convert_number(Fraction(number), self._from, self.unit))

    def margin(self, number: float | None) -> float | None:
        """Return a difference in the criterion's unit; only zero becomes zero."""
        if number is None or self._from == self.unit:
            return number
        ratio = self._units.scale(self._from).factor / self._units.scale(self.unit).factor
        shown = float(Fraction(number) * ratio)
        return shown if shown or not number else math.copysign(5e-324, number)

    def judged(self, number: float, judged: Judged) -> float:
        """Return a judged end, moved by the least step where rounding took it across a limit."""
        shown = _beside(self.value(number), self.at_least, judged.under)
        return _beside(shown, self.at_most, None if judged.over is None else -judged.over)


def _beside(shown: float, limit: float | None, difference: float | None) -> float:
    if limit is None or difference is None:
        return shown
    if difference == 0:
        return limit
    if difference < 0 and shown >= limit:
        return math.nextafter(limit, -math.inf)
    if difference > 0 and shown <= limit:
        return math.nextafter(limit, math.inf)
    return shown


def unit_of(limits: Limits) -> str | None:
    """Return the unit in which a criterion is written; None where it has no limit."""
    first = next((a for a in (limits.at_least, limits.at_most, limits.equal_to) if a), None)
    return None if first is None else first.unit


def text_of(limits: Limits) -> str:
    """Return limits as they were written: ``at least 52 W h``."""
    parts = []
    if limits.at_least is not None:
        parts.append(f"at least {limits.at_least}")
    if limits.at_most is not None:
        parts.append(f"at most {limits.at_most}")
    if limits.equal_to is not None:
        parts.append(f"equal to {limits.equal_to} within {limits.within}")
    return ", ".join(parts)
