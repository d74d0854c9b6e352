"""What a proof gives: bounds of each quantity, or the reason why there are none."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import NamedTuple

from closeout.arithmetic.proof.end import Found
from closeout.arithmetic.proof.field import Field
from closeout.arithmetic.types import At, Key


class Proved(NamedTuple):
    """Bounds of a quantity over a box: no point of it gives a value below low or above high.

    ``seen_low`` and ``seen_high`` are attained on plain numbers, at the points ``low_at`` and
    ``high_at`` (the arguments that differ from the inputs). ``low_tight`` and ``high_tight`` say
    whether the bounds are as near to them as was asked. ``decided`` is whether each bound was, or
    met all limits that were given with most of the margin, by the time at which a search for the
    limits ends; else the evaluations were used up, and a bound is valid but loose.
    ``low_rounding`` and ``high_rounding`` are what of the distance the rounding of the formula
    takes, at most, at that end: bounds no farther than this from what was seen are attained.
    """

    low: float
    high: float
    seen_low: float
    seen_high: float
    low_at: At
    high_at: At
    low_tight: bool
    high_tight: bool
    decided: bool
    low_rounding: float
    high_rounding: float

    @property
    def tight(self) -> bool:
        """Whether both bounds are."""
        return self.low_tight and self.high_tight


class Proofs(NamedTuple):
    """What was proved, and the reason for each quantity and case of which nothing was.

    ``of_limits`` where other limits might have ended the search elsewhere. It is False where every
    bound was tight before any part of the box was halved, whatever the limits are.
    """

    proved: Mapping[Key, Proved]
    unproved: Mapping[Key, str]
    evaluations: int
    of_limits: bool = False


def result_of(field: Field, low: Found, high: Found, decided: bool) -> Proved | str:
    """Return what the searches for both ends of a quantity came to, or why it is no proof."""
    if not (isfinite(low.bound) and isfinite(high.bound)):
        return low.reason or high.reason or "its bounds are not finite"
    if low.seen < low.bound or high.seen > high.bound:
        # Never seen; it would be an error of this arithmetic, which must not pass for a proof.
        return f"a number lies outside its bounds: {low.seen!r} to {high.seen!r}"
    return Proved(
        low.bound,
        high.bound,
        low.seen,
        high.seen,
        field.at(low.point),
        field.at(high.point),
        low.tight,
        high.tight,
        decided,
        low.rounding,
        high.rounding,
    )
