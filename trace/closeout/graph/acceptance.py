"""Acceptance limits: those that a value itself has to keep, for what may be off with it.

The word is that of JCGM 106:2012: limits of the values that are accepted, a guard band inside of
the limits proper. Here the guard band is what an analysis says that its model may be off.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import copysign, inf, isfinite, nextafter

from closeout.graph.bounds import rounded
from closeout.graph.model_uncertainty import ModelUncertainty
from closeout.model.answer import Bounds
from closeout.model.criterion import ExactLimits

UNLIMITED = ExactLimits()
_UNBOUNDED = Bounds()
_LEAST = 5e-324


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Limits as values of a quantity are compared with them.

    ``limits`` are those of what is judged, with a margin on them where one is required; ``model``
    is what values may be off. ``bounds`` are the limits less that, exact and rounded once: a value
    is compared with them as it was given, and nothing is rounded again.
    """

    limits: ExactLimits = UNLIMITED
    model: ModelUncertainty | None = None
    bounds: Bounds = _UNBOUNDED

    @property
    def undecided(self) -> bool:
        """Whether a further limit is still TBD: what keeps these is not met yet."""
        return self.limits.undecided

    def inside(self, low: float, high: float) -> tuple[float | None, float | None]:
        """Return how far values lie inside of each limit, with what they may be off; None of none.

        The differences are of what is judged, rounded once. The sign is that of the comparison
        with ``bounds``, and zero is a value at its bound alone.
        """
        limits, bounds = self.limits, self.bounds
        return (
            self._inside(low, bounds.at_least, limits.at_least, 1),
            self._inside(high, bounds.at_most, limits.at_most, -1),
        )

    def _inside(
        self, number: float, bound: float | None, limit: Fraction | None, sign: int
    ) -> float | None:
        if bound is None or limit is None:
            return None
        beyond = number - bound if sign > 0 else bound - number
        if self.model is None or not beyond or not isfinite(number):
            return beyond
        exact = _nearest(sign * (self.model.moved(number, -sign) - limit))
        return exact if exact else copysign(_LEAST, beyond)

    def judged(self, low: float, high: float) -> tuple[float, float]:
        """Return ends of values with what they may be off, each on its side of its limit.

        They are shown, and decide nothing: rounding may take one across a limit, and then it is
        moved back by the least step.
        """
        limits, bounds = self.limits, self.bounds
        return (
            self._judged(low, bounds.at_least, limits.at_least, -1),
            self._judged(high, bounds.at_most, limits.at_most, 1),
        )

    def _judged(
        self, number: float, bound: float | None, limit: Fraction | None, sign: int
    ) -> float:
        if self.model is None or not isfinite(number):
            return number
        moved = _nearest(self.model.moved(number, sign))
        if bound is None or limit is None:
            return moved
        edge = _nearest(limit)
        if number == bound:
            return edge
        if number < bound:
            return min(moved, nextafter(edge, -inf))
        return max(moved, nextafter(edge, inf))


def acceptance(limits: ExactLimits, model: ModelUncertainty | None = None) -> Acceptance:
    """Return limits as values are compared with them.

    Raises:
        UnitError: one is beyond the doubles.
    """
    tightened = limits if model is None else model.tightened(limits)
    return Acceptance(limits, model, rounded(tightened))


def _nearest(number: Fraction) -> float:
    """Return the nearest double; an infinite one beyond all of them."""
    try:
        return float(number)
    except OverflowError:
        return -inf if number < 0 else inf
