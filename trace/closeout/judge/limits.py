"""Comparison with limits, and numbers in a criterion's unit that stay on their side of a limit."""

from __future__ import annotations

import math
import sys
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from closeout.graph import Acceptance, RequiredMargin, bounds_in
from closeout.measure import UnitError, Units
from closeout.model.answer import Bounds
from closeout.model.criterion import Limits
from closeout.model.dossier import Evidence, State


class Judged(NamedTuple):
    """An extent against limits: how far low is above at_least, and high below at_most."""

    state: State
    under: float | None
    over: float | None

    @property
    def margin(self) -> float | None:
        """The margin of the bad end to the nearest limit; None without a limit."""
        if self.under is None or self.over is None:
            return self.over if self.under is None else self.under
        return min(self.under, self.over)


class Extremes(NamedTuple):
    """What is decided on, unlike what is shown: ends in the quantity's own unit, and their limits.

    What a model may be off is in the limits alone. ``reach`` are ends beyond which values do not
    go, where what decides is what was seen of them: a waiver has to reach these.
    """

    unit: str
    low: float
    high: float
    limits: Acceptance
    reach: tuple[float, float] | None = None


class Judgement(NamedTuple):
    """Evidence, and the unrounded numbers that it rests on (None where it rests on none).

    ``thin`` are margins that are required and not there, though they do not decide, each with what
    is reported of it.
    """

    evidence: Evidence
    extremes: Extremes | None = None
    thin: tuple[tuple[RequiredMargin, str], ...] = ()


def compare(low: float, high: float, limits: Acceptance) -> Judged:
    """Return met or not met of an extent; limits are inclusive, and without a limit nothing is met.

    What keeps the limits that there are is open where a further one is not decided yet.

    Doubles are compared as they are; a difference of two unlike doubles is never zero, so the sign
    of the margin and the state always agree.
    """
    under, over = limits.inside(low, high)
    limited = under is not None or over is not None
    inside = (under is None or under >= 0) and (over is None or over >= 0)
    if inside and limits.undecided:
        return Judged(State.OPEN, under, over)
    return Judged(State.MET if inside and limited else State.NOT_MET, under, over)


class Shown:
    """Turns numbers of a quantity's unit into the unit of its limits."""

    def __init__(self, units: Units, unit: str, limits: Limits) -> None:
        self.unit = unit if limits.unit is None else limits.unit  # empty for a plain number
        self._limits = bounds_in(limits, self.unit, units)
        self._bounds = bounds_in(limits, unit, units)
        self._units = units
        self._from = unit

    def value(self, number: float) -> float:
        """Return a number in the criterion's unit, on the side of each limit on which it is.

        Where rounding took it to a limit or across, it is moved by the least step.
        """
        if self._from == self.unit:
            return number
        shown = _double(self._units.convert_number(Fraction(number), self._from, self.unit))
        low, high = self._limits
        shown = _beside(shown, low, number, self._bounds.at_least)
        shown = _beside(shown, high, number, self._bounds.at_most)
        inside = min(self._bounds.margins(number, number)) >= 0.0
        if inside and low is not None and high is not None and low <= high:
            return min(max(shown, low), high)  # two limits that are neighbours in this unit
        return shown

    def margin(self, number: float | None) -> float | None:
        """Return a difference in the criterion's unit; only zero becomes zero."""
        if number is None:
            return None
        if math.isinf(number):  # the difference of two numbers at either end of the doubles
            return math.copysign(sys.float_info.max, number)
        if self._from == self.unit:
            return number
        ratio = self._units.scale(self._from).factor / self._units.scale(self.unit).factor
        shown = _double(Fraction(number) * ratio)
        return shown if shown or not number else math.copysign(5e-324, number)


@lru_cache(maxsize=100_000)
def shown_in(units: Units, unit: str, limits: Limits) -> Shown:
    """Return what shows a quantity of a unit beside its limits; UnitError as :func:`bounds_in`."""
    return Shown(units, unit, limits)


def _double(number: Fraction) -> float:
    """Return the nearest double; the greatest where the number is beyond all of them."""
    try:
        return float(number)
    except OverflowError:
        return -sys.float_info.max if number < 0 else sys.float_info.max


def _beside(shown: float, limit: float | None, number: float, bound: float | None) -> float:
    if limit is None or bound is None:
        return shown
    if number == bound:
        return limit
    if number < bound and shown >= limit:
        return math.nextafter(limit, -math.inf)
    if number > bound and shown <= limit:
        return math.nextafter(limit, math.inf)
    return shown


@lru_cache(maxsize=100_000)
def as_written(limits: Limits, units: Units) -> Bounds:
    """Return limits in the unit in which they were written, also of what is not judged.

    None of those that are not there, or cannot be read.
    """
    try:
        return Bounds() if limits.unit is None else bounds_in(limits, limits.unit, units)
    except UnitError:
        return Bounds()
