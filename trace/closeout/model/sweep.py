"""A sweep: the margins of every requirement that rests on a parameter, over values of it.

What was found at each point is the evidence that a run with these values set would have; between
two points nothing is known, so nothing here is interpolated.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from closeout.model.dossier import Dossier, Evidence, State

# Values along the one parameter of a sweep, and along each of two.
USUAL_POINTS = {1: 11, 2: 7}
# Points in all: beyond, a study is no longer read.
MOST_POINTS = 1000
BETWEEN = "between the points tried nothing is claimed"
WORST_FIRST = (State.ERROR, State.NOT_MET, State.OPEN, State.MET)


@dataclass(frozen=True, slots=True)
class Tried:
    """A value of a parameter: its text, as ``--set`` reads it, and the exact number."""

    text: str
    number: Fraction


@dataclass(frozen=True, slots=True)
class SweepAxis:
    """A parameter and the values that are tried, numbers in ``unit``, in rising order.

    ``declared`` is the value and spread of the project as they are written, ``now`` the number of
    that value in ``unit``; None of an input that an analysis computes. ``whole`` tells that only
    whole numbers are tried.
    """

    parameter: str
    unit: str
    tried: tuple[Tried, ...]
    declared: str
    now: Fraction | None
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Followed:
    """A verification by analysis whose margin is followed.

    ``number`` is its place among those of its requirement. ``nominal`` tells that it is judged at
    nominal values, since its ``basis`` could only be searched, with what it gives as a range at
    the end that is worse. ``replaced`` names its conditions
    in place of which the values of the sweep stand.
    """

    requirement: str
    title: str
    number: int
    analysis: str
    quantity: str
    limit: str
    basis: str
    review: str | None
    nominal: bool
    replaced: tuple[str, ...]

    @property
    def key(self) -> tuple[str, int]:
        """The requirement and the place of the verification."""
        return self.requirement, self.number


@dataclass(frozen=True, slots=True)
class Found:
    """What a verification found at a point: evidence of each case."""

    evidence: tuple[Evidence, ...]

    @property
    def holds(self) -> bool:
        """Whether it is met there, or not met and under a waiver or deviation in force."""
        return bool(self.evidence) and all(one.closed for one in self.evidence)

    @property
    def state(self) -> State:
        """The state of its worst case."""
        states = {one.state for one in self.evidence} or {State.OPEN}
        return next(state for state in WORST_FIRST if state in states)

    @property
    def covered_by(self) -> str | None:
        """What covers it, where it holds although it is not met."""
        return next((one.covered_by for one in self.evidence if one.covered_by), None)


@dataclass(frozen=True, slots=True)
class Window:
    """Points one after another at which all hold; ``below`` and ``above`` end it.

    These are places of verifications that do not hold at the next point on that side; none where
    the sweep ends there.
    """

    first: int
    last: int
    below: tuple[int, ...]
    above: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Sweep:
    """The evidence of verifications along one parameter, or over two.

    ``found`` has a row for each of ``followed``, and in it what was found at each point, in the
    order of :attr:`points`. ``dossier`` are the verdicts on the same requirements at the declared
    values. ``evaluated`` answers were computed, ``stored`` ones reused.
    """

    dossier: Dossier
    axes: tuple[SweepAxis, ...]
    followed: tuple[Followed, ...]
    found: tuple[tuple[Found, ...], ...]
    evaluated: int
    stored: int

    @property
    def points(self) -> tuple[tuple[int, ...], ...]:
        """The places of the values of each point along the axes; the last axis runs fastest."""
        return tuple(product(*(range(len(axis.tried)) for axis in self.axes)))

    @property
    def requirements(self) -> tuple[str, ...]:
        """The requirements, each once."""
        return tuple(dict.fromkeys(one.requirement for one in self.followed))

    def settings(self, point: tuple[int, ...]) -> tuple[tuple[str, str], ...]:
        """Return what a point sets, by parameter, as texts that ``--set`` reads."""
        return tuple(
            (axis.parameter, axis.tried[place].text)
            for axis, place in zip(self.axes, point, strict=True)
        )

    def holding(self, wanted: Callable[[int], bool] = lambda _: True) -> tuple[bool, ...]:
        """Return of each point whether all, or those of the ``wanted`` places, hold."""
        rows = [row for place, row in enumerate(self.found) if wanted(place)]
        return tuple(all(row[at].holds for row in rows) for at in range(len(self.points)))

    @property
    def nowhere(self) -> tuple[int, ...]:
        """The places of verifications that hold at no point."""
        return tuple(i for i, row in enumerate(self.found) if not any(one.holds for one in row))

    def windows(self) -> tuple[Window, ...]:
        """Return where along the one parameter all hold but those that hold at no point."""
        left_out = set(self.nowhere)
        holding = self.holding(lambda place: place not in left_out)
        return tuple(
            Window(first, last, self._ending(first - 1), self._ending(last + 1))
            for first, last in runs(holding)
        )

    def _ending(self, at: int) -> tuple[int, ...]:
        if not 0 <= at < len(self.points):
            return ()
        left_out = set(self.nowhere)
        return tuple(
            place
            for place, row in enumerate(self.found)
            if place not in left_out and not row[at].holds
        )


def runs(flags: tuple[bool, ...]) -> Iterator[tuple[int, int]]:
    """Yield the first and the last place of each unbroken run of what is true."""
    first = None
    for place, flag in enumerate((*flags, False)):
        if flag and first is None:
            first = place
        elif not flag and first is not None:
            yield first, place - 1
            first = None
