"""When the search for one end of a quantity is over (see :mod:`.bound`)."""

from __future__ import annotations

from collections.abc import Collection
from math import isfinite

from closeout.arithmetic.proof.part import Parts
from closeout.model.answer import Bounds

# So near the bound of an end that is zero has to come: in roundings of the formula, and as a share
# of the width of the quantity's range.
ROUNDINGS = 1e6
LEAST_OF_WIDTH = 1e-9
# Of an end, so much may be rounding where a bound passes for the number that was seen.
ATTAINED = 1e-12
# So much of a margin has to be proved where a limit is met: whoever reads the verdict reads the
# margin beside it, and the first bounds may leave next to nothing of a wide one.
SHARE_OF_MARGIN = 0.9


class Goal:
    """What a bound of an end has to come to: as near to what was seen as asked, or past limits.

    Everything is of the upper end of the quantity times the sign of the parts. Of ``limits`` (None:
    the end alone) one that is None wants the end itself.
    """

    def __init__(
        self, parts: Parts, tolerance: float, limits: Collection[Bounds | None] | None
    ) -> None:
        self.limits = limits
        self._parts = parts
        self._tolerance = tolerance

    @property
    def _seen(self) -> float:
        """The highest number seen."""
        return self._parts.field.best(self._parts.key, self._parts.sign)

    @property
    def _least(self) -> float:
        """The lowest number seen."""
        return -self._parts.field.best(self._parts.key, -self._parts.sign)

    def is_near(self, bound: float) -> bool:
        """Return whether a bound is as near to what was seen as was asked.

        Relative to the end itself: a wide range must not hide a limit near one end of it. An end
        near zero has no relative distance. There its rounding says how large the terms of the
        formula are; and where the number seen is zero itself, the width of the range does.
        """
        seen = self._seen
        enough = seen + self._tolerance * abs(seen)
        if bound <= enough or bound > enough + LEAST_OF_WIDTH * (seen - self._least):
            return bound <= enough
        noise = self._parts.noise_seen()
        return seen == 0.0 or bound <= enough + ROUNDINGS * noise

    def is_certain(self, bound: float) -> bool:
        """Return whether a bound meets each limit that was given, with most of the margin."""
        if self.limits is None or not isfinite(bound):
            return False
        return all(self._is_met(limit, bound) for limit in self.limits)

    def _is_met(self, limit: Bounds | None, bound: float) -> bool:
        if limit is None:
            return False
        far = self._far(limit)
        if far is None:
            return True
        margin, seen = far - bound, far - self._seen
        of_width = LEAST_OF_WIDTH * (self._seen - self._least)
        is_most = margin >= SHARE_OF_MARGIN * seen or bound - self._seen <= of_width
        return margin >= 0.0 and is_most

    def _far(self, limit: Bounds) -> float | None:
        """Return the limit on the side of this end, times the sign; None where there is none."""
        sign = self._parts.sign
        own = limit.at_most if sign > 0.0 else limit.at_least
        return None if own is None else sign * own

    def is_undecided(self, bound: float, rounding: float) -> bool:
        """Return whether a limit that was given lies between what was seen and a bound."""
        seen = self._seen
        for limit in self.limits or ():
            far = None if limit is None else self._far(limit)
            if far is None:
                continue
            exactly = seen == far and bound - seen <= rounding
            if seen <= far < bound and not exactly:
                return True
        return False

    def rounding(self, noise: float) -> float:
        """Return how far a bound may be from what was seen for rounding alone.

        Nothing where rounding is no small part of the end: then what was not seen may lie beyond.
        """
        rounding = 4.0 * noise
        return rounding if rounding <= ATTAINED * abs(self._seen) else 0.0
