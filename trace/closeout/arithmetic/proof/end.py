"""One end of one quantity: branch and bound over parts of the box (see :mod:`.bound`)."""

from __future__ import annotations

from collections.abc import Collection
from heapq import heappop, heappush
from math import inf, nextafter
from typing import NamedTuple

from closeout.arithmetic.proof.field import Field
from closeout.arithmetic.proof.goal import Goal
from closeout.arithmetic.proof.part import Parts
from closeout.arithmetic.proof.sides import Region
from closeout.arithmetic.types import Key, Point
from closeout.model.answer import Bounds

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


class End:
    """The search for the upper end of a quantity times a sign: -1 for its lower end.

    How far a number may be from the real value is added to what is proved of real values: as much
    as the range at the face's or the centre's point is wide. Of ``limits`` (None: the end alone)
    one that is None wants the end itself.
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
        self.begun = self.at_once = False
        self._known = (inf, inf)
        self._field = field
        self._parts = Parts(field, key, sign)
        self._goal = Goal(self._parts, tolerance, limits)
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
    def tight(self) -> bool:
        """Whether the bound is as near to what was seen as was asked."""
        return self._goal.is_near(self.bound)

    @property
    def rounding(self) -> float:
        """How far the bound may be from what was seen for rounding alone."""
        return self._goal.rounding(self._known[1])

    @property
    def final(self) -> bool:
        """Whether the bound is tight and no search could tell more, whatever the limits are."""
        return self.tight and bool(self._heap) and self._heap[0][3] is None

    @property
    def done(self) -> bool:
        """Whether the search is over: the bound meets its limits, or is tight and decides them."""
        bound = self.bound
        if self._goal.is_certain(bound):
            return True
        is_decided = self.tight and not self._goal.is_undecided(bound, self.rounding)
        return is_decided or self.final

    @property
    def found(self) -> Found:
        """What the search has come to by now."""
        seen, point = self._field.seen(self.key, self.sign)
        bound = self.sign * self.bound
        return Found(bound, seen, point, self.tight, self.rounding, self._parts.reason)

    def follow(self) -> None:
        """Search for the end itself from now on, whatever the limits are."""
        self._goal.limits = None

    def run(self, evaluations: int) -> None:
        """Search until it is done, or the evaluations are used up."""
        last = self._field.evaluations + evaluations
        if not self._heap:
            self.begun = True
            self._add(self._parts.sides.whole)
            self._note()
            self.at_once = self.final
        while not self.done and self.key not in self._field.failed:
            if self._made >= BEFORE_BUNDLES and self._parts.sides is self._field.sides:
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
            self._parts.sides = sides
            self._heap.clear()
            self._add(sides.whole)

    def _add(self, region: Region) -> None:
        found = self._parts.examined(region)
        noise = inf if found.reach == inf else self._parts.noise(found.point)
        bound = nextafter(found.reach + noise, inf) if noise else found.reach
        bound = min(bound, found.over)
        self._open += bound == inf
        self._made += 1
        heappush(self._heap, (-bound, self._made, found.region, found.side, noise))
