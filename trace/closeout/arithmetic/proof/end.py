"""One end of one quantity: branch and bound over parts of the box (see :mod:`.bound`)."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from heapq import heappop, heappush
from math import inf, isfinite, nextafter
from typing import Any, NamedTuple

from closeout.arithmetic.gradient.gradient import Gradient
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.proof.field import Field, Open
from closeout.arithmetic.proof.sides import Region
from closeout.arithmetic.types import Key, Point
from closeout.arithmetic.undecided import NO_SIDES, Undefined
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
# Parts of the box after which it is worth while to look for a formula, and for inputs that move
# together.
BEFORE_BUNDLES = 8
# Parts of the box that cannot be evaluated, after which an end of a quantity is given up.
PATIENCE = 128


class Found(NamedTuple):
    """What a search for an end came to: its bound, the worst number seen, where, and how surely.

    ``reason`` is why a part of the box could not be evaluated, where that is so.
    """

    bound: float
    seen: float
    point: Point
    tight: bool
    rounding: float
    reason: str | None


class _Examined(NamedTuple):
    """What is known of a part of the box.

    ``reach`` is the bound of real values, ``over`` that of numbers by the range over all of it,
    ``region`` its face with the extreme, ``side`` which side to halve next, and ``point`` a point
    of it at which numbers and ranges are known.
    """

    reach: float
    over: float
    region: Region
    side: int | None
    point: Point


class End:
    """The search for the upper end of a quantity times a sign: -1 for its lower end.

    What is proved of faces and centred forms speaks of real values. How far a number may be from
    the real value is added: as much as the range at the face's or the centre's point is wide. The
    range over the whole part holds its numbers as it is: a sum of squares is never below zero.
    Of ``limits`` (None: the end alone) one that is None wants the end itself.
    """

    def __init__(
        self,
        field: Field,
        key: Key,
        sign: float,
        tolerance: float,
        limits: Collection[Bounds | None] | None,
    ) -> None:
        self.key = key
        self.sign = sign
        self.reason: str | None = None
        self.begun = self.at_once = False
        self._known = (inf, inf)
        self.limits = limits
        self._field = field
        self._sides = field.sides
        self._tolerance = tolerance
        self._heap: list[tuple[float, int, Region, int | None, float]] = []
        self._made = 0
        self._open = 0
        self._looked_for_bundles = False

    @property
    def bound(self) -> float:
        """The upper bound of the quantity times the sign; infinite before the search.

        The least that was ever proved: smaller parts may round worse.
        """
        return self._known[0]

    @property
    def noise(self) -> float:
        """How far a number may be from the real value where the bound is reached."""
        return self._known[1]

    @property
    def tight(self) -> bool:
        """Whether the bound is as near to what was seen as was asked.

        Relative to the end itself: a wide range must not hide a limit near one end of it. An end
        near zero has no relative distance. There its rounding says how large the terms of the
        formula are; and where the number seen is zero itself, the width of the range does.
        """
        bound = self.bound
        high, low = self._field.best(self.key, self.sign), -self._field.best(self.key, -self.sign)
        enough = high + self._tolerance * abs(high)
        of_width = LEAST_OF_WIDTH * (high - low)
        if bound <= enough or bound > enough + of_width:
            return bound <= enough
        point = self._field.seen(self.key, self.sign)[1]
        noise = _width(self._value(self._field.ranges(point, self.key)))
        return high == 0.0 or bound <= enough + ROUNDINGS * noise

    @property
    def certain(self) -> bool:
        """Whether the bound meets each limit that was told, with most of the margin."""
        if self.limits is None or not isfinite(self.bound):
            return False
        return all(self._is_met(limit) for limit in self.limits)

    def _own(self, limit: Bounds) -> float | None:
        """Return the limit on the side of this end; None where there is none."""
        return limit.at_most if self.sign > 0.0 else limit.at_least

    def _is_met(self, limit: Bounds | None) -> bool:
        if limit is None:
            return False
        own = self._own(limit)
        if own is None:
            return True
        high = self._field.best(self.key, self.sign)
        margin, seen = self.sign * own - self.bound, self.sign * own - high
        of_width = LEAST_OF_WIDTH * (high + self._field.best(self.key, -self.sign))
        return margin >= 0.0 and (margin >= SHARE_OF_MARGIN * seen or self.bound - high <= of_width)

    @property
    def undecided(self) -> bool:
        """Whether a limit that was told lies between what was seen and the bound."""
        seen = self._field.best(self.key, self.sign)
        for limit in self.limits or ():
            own = None if limit is None else self._own(limit)
            if own is None:
                continue
            far = self.sign * own
            exactly = seen == far and self.bound - seen <= self.rounding
            if seen <= far < self.bound and not exactly:
                return True
        return False

    @property
    def rounding(self) -> float:
        """How far a bound may be from what was seen for rounding alone.

        Nothing where rounding is no small part of the end: then what was not seen may lie beyond.
        """
        rounding = 4.0 * self.noise
        seen = self._field.best(self.key, self.sign)
        return rounding if rounding <= ATTAINED * abs(seen) else 0.0

    @property
    def final(self) -> bool:
        """Whether the bound is tight and no search could tell more, whatever the limits are."""
        return self.tight and bool(self._heap) and self._heap[0][3] is None

    @property
    def done(self) -> bool:
        """Whether the search is over: the bound meets its limits, or is tight and decides them."""
        return self.certain or (self.tight and not self.undecided) or self.final

    @property
    def found(self) -> Found:
        """What the search has come to by now."""
        seen, point = self._field.seen(self.key, self.sign)
        bound = self.sign * self.bound
        return Found(bound, seen, point, self.tight, self.rounding, self.reason)

    def run(self, evaluations: int) -> None:
        """Search until that is so, or the evaluations are used up."""
        last = self._field.evaluations + evaluations
        if not self._heap:
            self.begun = True
            self._add(self._sides.whole)
            self._note()
            self.at_once = self.final
        while not self.done and self.key not in self._field.failed:
            if self._made >= BEFORE_BUNDLES and self._sides is self._field.sides:
                self._bundle()
            _, _, region, side, _ = self._heap[0]
            if side is None or self._open > PATIENCE or self._field.evaluations >= last:
                break
            heappop(self._heap)
            low, high = region[side]
            middle = low + 0.5 * (high - low)
            for part in ((low, middle), (middle, high)):
                self._add((*region[:side], part, *region[side + 1 :]))
            self._note()

    def _note(self) -> None:
        """Take in the bound of all parts that there are."""
        bound, *_, noise = self._heap[0]
        self._known = min(self._known, (-bound, noise))

    def _bundle(self) -> None:
        """Begin anew along fewer sides, once, where there are such."""
        if self._looked_for_bundles:
            return
        self._looked_for_bundles = True
        sides = self._field.bundled(self.key)
        if sides is not None:
            self._sides = sides
            self._heap.clear()
            self._add(sides.whole)

    def _add(self, region: Region) -> None:
        found = self._examined(region)
        noise = inf if found.reach == inf else _width(self._at(found.point))
        bound = nextafter(found.reach + noise, inf) if noise else found.reach
        bound = min(bound, found.over)
        self._open += bound == inf
        self._made += 1
        heappush(self._heap, (-bound, self._made, found.region, found.side, noise))

    def _examined(self, region: Region) -> _Examined:
        """Return what is known of a region; its face with the extreme stands for it."""
        over = inf
        whole = region
        while any(low < high for low, high in region):
            found = self._field.slopes(region, self.key, self._sides)
            value = found if isinstance(found, Open) else found[self.key]
            if isinstance(value, (Open, Undefined)):
                self.reason = value.reason
                return _Examined(inf, over, region, self._widest(region, value.sides), ())
            if isinstance(value, Interval):
                value = Gradient(value, {})
            if region is whole:
                over = self._over(value.value)
            face = self._face(region, value)
            if face == region:
                return self._centred(region, value, over)
            region = face
        point = tuple(low for low, _ in region)
        self._field.numbers(self._sides.inputs(point))
        at = self._at(point)
        if region is whole and not isinstance(at, Undefined):
            over = self._over(at)
        return _Examined(self._upper(at), over, region, None, point)

    def _over(self, value: Interval) -> float:
        """Return the bound of all numbers of a region by the range over all of it.

        A path on which inputs move together holds the extremes, and not all numbers.
        """
        return self._upper(value) if self._sides is self._field.sides else inf

    def _at(self, point: Point) -> Any:
        return self._value(self._field.ranges(point, self.key, self._sides))

    def _value(self, found: Mapping[Key, Any] | Open) -> Any:
        value = Undefined(found.reason) if isinstance(found, Open) else found[self.key]
        if isinstance(value, Undefined):
            self.reason = value.reason
        return value

    def _upper(self, value: Any) -> float:
        if isinstance(value, Undefined):
            return inf
        upper: float = value.high if self.sign > 0.0 else -value.low
        return upper

    def _face(self, region: Region, value: Gradient) -> Region:
        """Fix the sides along which the quantity runs one way, or does not depend."""
        fixed = []
        for i, (low, high) in enumerate(region):
            down, up = value.slopes.get(i, (0.0, 0.0))
            if self.sign < 0.0:
                down, up = -up, -down
            if low < high and down == up == 0.0:
                low = high = min(max(self._sides.at_inputs[i], low), high)
            elif low < high and (down >= 0.0 or up <= 0.0):
                low = high = high if down >= 0.0 else low
            fixed.append((low, high))
        return tuple(fixed)

    def _centred(self, region: Region, value: Gradient, over: float) -> _Examined:
        """Return the bound by natural extension or centred form, whichever is smaller."""
        centre = tuple(low + 0.5 * (high - low) for low, high in region)
        self._field.numbers(self._sides.inputs(centre))
        reach = self._upper(self._at(centre))
        smears: dict[int, float] = {}
        for i, (low, high) in enumerate(region):
            if low < high:
                down, up = value.slopes[i]
                away = nextafter(max(high - centre[i], centre[i] - low), inf)
                smears[i] = max(-down, up) * away
                reach = nextafter(reach + nextafter(smears[i], inf), inf)
        bound = min(self._upper(value.value), reach)
        if inf in smears.values():
            jumping = frozenset(i for i, smear in smears.items() if smear == inf)
            return _Examined(bound, over, region, self._widest(region, jumping), centre)
        order = sorted(smears, key=lambda i: -smears[i])
        side = next((i for i in order if _divisible(*region[i])), None)
        return _Examined(bound, over, region, side, centre)

    def _widest(self, region: Region, sides: frozenset[int] = NO_SIDES) -> int | None:
        """Return which side is the widest in shares of the box, of those given or of all."""
        shares = {
            i: (high - low) / (self._sides.whole[i][1] - self._sides.whole[i][0])
            for i, (low, high) in enumerate(region)
            if _divisible(low, high) and (not sides or i in sides)
        }
        return max(shares, key=lambda i: shares[i]) if shares else None


def _width(value: Any) -> float:
    return inf if isinstance(value, Undefined) else value.high - value.low


def _divisible(low: float, high: float) -> bool:
    return low < low + 0.5 * (high - low) < high
