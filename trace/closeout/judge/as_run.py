"""A condition as it was run against what is required of it, in one unit and exactly."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from closeout.judge.uncertainty import half_width
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.criterion import Condition

HIGHER, LOWER = "higher", "lower"


class Verdict(StrEnum):
    """How a condition as run stands to what is required of it."""

    WITHIN = "within"
    HARSHER = "harsher"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Run:
    """Where a condition was: between two ends, and ``swept`` where it was at all between them."""

    low: Fraction
    high: Fraction
    swept: bool = False

    @property
    def middle(self) -> Fraction:
        """The value, without its uncertainty."""
        return (self.low + self.high) / 2


def run_of(at: Condition, unit: str, units: Units, least_k: Fraction) -> Run:
    """Return where a condition was: a value with its uncertainty about it, or a pair of ends.

    Raises:
        UnitError: it cannot be read in the unit.
    """
    low, *rest = sorted(units.convert(end, unit) for end in at.ends)
    if rest:
        return Run(low, rest[0], swept=True)
    half = None if at.measured is None else half_width(at.measured, unit, units, least_k)
    return Run(low - (half or 0), low + (half or 0))


@dataclass(frozen=True, slots=True)
class End:
    """A point at which a criterion has to be tested, with the tolerance about it.

    ``beyond`` is the side on which a test that is farther off is a harsher one.
    """

    at: Fraction
    tolerance: Fraction
    beyond: str | None = None

    def is_tested(self, run: Run) -> bool:
        """Return whether a test was run there: wholly within the tolerance, or through it."""
        least, most = self.at - self.tolerance, self.at + self.tolerance
        if run.swept and run.low <= most and run.high >= least:
            return True
        above = least <= run.low or self.beyond == LOWER
        below = run.high <= most or self.beyond == HIGHER
        return above and below


@dataclass(frozen=True, slots=True)
class Window:
    """Where a condition has to be at a test: a point, or a range, with a tolerance at each end."""

    low: End
    high: End
    harsher: str | None

    @property
    def ends(self) -> tuple[End, ...]:
        """What has to be tested of it: the point, or both ends of the range.

        What lies beyond the harsher end is harsher; that it is harsher than the other end is for
        the verification to say, with a reason (``tested_at``).
        """
        if self.low.at == self.high.at:
            return (replace(self.low, beyond=self.harsher),)
        low = LOWER if self.harsher == LOWER else None
        high = HIGHER if self.harsher == HIGHER else None
        return replace(self.low, beyond=low), replace(self.high, beyond=high)

    def verdict(self, run: Run) -> Verdict:
        """Return whether a test was run there, spread included, or on the harsher side."""
        above = self.low.at - self.low.tolerance <= run.low
        below = run.high <= self.high.at + self.high.tolerance
        if above and below:
            return Verdict.WITHIN
        harsher = (above and self.harsher == HIGHER) or (below and self.harsher == LOWER)
        return Verdict.HARSHER if harsher else Verdict.OUTSIDE


def window(
    required: Condition, unit: str, units: Units, tolerance: Amount | None, harsher: str | None
) -> Window:
    """Return where a condition has to be; UnitError where what is required is not of the unit."""
    ends = sorted(
        (end_at(one, unit, units, tolerance) for one in required.ends), key=lambda end: end.at
    )
    return Window(ends[0], ends[-1], harsher)


def end_at(point: Amount, unit: str, units: Units, tolerance: Amount | None) -> End:
    """Return a point with the tolerance about it; without one where that is no distance."""
    at = units.convert(point, unit)
    if tolerance is None:
        return End(at, Fraction(0))
    try:
        return End(at, units.tolerance(point, tolerance, unit))
    except UnitError:
        return End(at, Fraction(0))  # reported as a problem at its own place


def best(windows: Iterable[Window], run: Run) -> Verdict:
    """Return the best verdict that any of some windows has on a run."""
    found = {one.verdict(run) for one in windows}
    return next((v for v in (Verdict.WITHIN, Verdict.HARSHER) if v in found), Verdict.OUTSIDE)
