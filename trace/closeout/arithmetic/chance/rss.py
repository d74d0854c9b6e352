"""Root sum square: the spread of a quantity from independent parameters, linearised.

The method stands beside the extreme value in ECSS-Q-HB-30-01A. Slopes are central differences
between the ends of each tolerance, so they cost two evaluations for each parameter. What the
straight lines leave out is reported: what they say of the extreme values is compared with the
proved ones, where there are any. Else with the corner that they take as their worst, and, one
parameter at a time, with both of its ends, two points between, and the slope through these.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import NamedTuple

from closeout import Absent
from closeout.arithmetic.proof.search import OtherCases
from closeout.arithmetic.types import Box, Evaluate, Key, Values

# Places along one side, from its low to its high end, with the quantity there.
_Line = tuple[tuple[float, float], ...]


class NotIndependent(ValueError):
    """Parameters of one group: root sum square holds for independent ones only."""


class End(NamedTuple):
    """One end of a quantity by root sum square.

    ``bound`` is the value at the inputs less or plus ``half_width``. ``corner`` is where the linear
    model has its extreme value, ``predicted`` what it says there, ``actual`` what is evaluated
    there. ``alone`` is by how much more single parameters move it than their straight lines say,
    added up, as far as was looked at.
    """

    bound: float
    half_width: float
    corner: tuple[tuple[str, float], ...]
    predicted: float
    actual: float
    alone: float = 0.0

    @property
    def error(self) -> float:
        """Return actual less predicted at the worst corner of the linear model."""
        return self.actual - self.predicted

    @property
    def off(self) -> float:
        """Return how far the straight lines are off, as far as was looked at."""
        return max(abs(self.error), self.alone)


class RootSumSquare(NamedTuple):
    """A quantity by root sum square; ``absent`` is the reason why there is none."""

    value: float | None
    low: End | None = None
    high: End | None = None
    absent: str | None = None


def rss(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    groups: Mapping[str, str] | None = None,
    added: Collection[str] = (),
) -> dict[Key, RootSumSquare]:
    """Return each quantity's ends by root sum square over the box.

    Where the value stands in the middle of its box both half-widths are the root of the summed
    squares of what each parameter contributes; elsewhere each end takes the distance on its side.

    Args:
        evaluate, inputs, box: as :func:`closeout.arithmetic.proof.search.answer` takes them.
        groups: the group of each parameter that has one.
        added: what is no chance: how far these move it is added to the root, and not squared.

    Raises:
        NotIndependent: two parameters of the box are of one group.
        OtherCases: the analysis gives the cases at an end differ from those at the inputs.
    """
    sides = tuple(side for side in box if side[1] < side[2])
    _check_independent(sides, groups or {})
    points = _Points(evaluate, inputs)
    nominal = points.at({})
    found = {}
    for key, value in nominal.items():
        along = [points.along(side, key) for side in sides]
        every = [value, *(one for line in along for _, one in line)]
        absent = [one.reason for one in every if isinstance(one, Absent)]
        if absent:
            known = None if isinstance(value, Absent) else value
            found[key] = RootSumSquare(known, absent=absent[0])
        else:
            found[key] = _linear(points, key, sides, along, added)
    return found


class _Points:
    """Evaluates points, each once, and holds the analysis to one list of cases."""

    def __init__(self, evaluate: Evaluate, inputs: Mapping[str, float]) -> None:
        self.inputs = dict(inputs)
        self._evaluate = evaluate
        self._seen: dict[tuple[tuple[str, float], ...], Values] = {}

    def at(self, changed: Mapping[str, float]) -> Values:
        """Return the values at the inputs with some of them changed."""
        point = tuple(changed.items())
        if point not in self._seen:
            values = self._evaluate({**self.inputs, **changed})
            nominal = self._seen.get((), values)
            if differ := sorted(f"{q}[{c}]" for q, c in values.keys() ^ nominal.keys()):
                raise OtherCases(
                    f"the cases at an end differ from those at the inputs: {', '.join(differ)}"
                )
            self._seen[point] = values
        return self._seen[point]

    def along(self, side: tuple[str, float, float], key: Key) -> _Line:
        """Return a quantity at both ends of a side, and at a quarter of its width from them."""
        name, low, high = side
        quarter = 0.25 * (high - low)
        places = (low, low + quarter, high - quarter, high)
        return tuple((place, self.at({name: place})[key]) for place in places)


def _linear(
    points: _Points, key: Key, sides: Box, along: list[_Line], added: Collection[str]
) -> RootSumSquare:
    """Return both ends from the value at the inputs and those along each side."""
    value = points.at({})[key]
    halves = [(line[-1][1] - line[0][1]) / 2.0 for line in along]
    ends = []
    for sign in (-1.0, 1.0):
        corner, steps, off = [], [], []
        for half, line, (name, low, high) in zip(halves, along, sides, strict=True):
            end = high if sign * half > 0.0 else low
            corner.append((name, end))
            steps.append(2.0 * half * ((end - points.inputs[name]) / (high - low)))
            off.append(_off(line, points.inputs[name], value, steps[-1], sign))
        whole = [abs(s) for s, side in zip(steps, sides, strict=True) if side[0] in added]
        squared = [s for s, side in zip(steps, sides, strict=True) if side[0] not in added]
        width = math.fsum([math.hypot(*squared), *whole])
        actual = points.at(dict(corner))[key]
        if isinstance(actual, Absent):
            return RootSumSquare(value, absent=actual.reason)
        predicted = math.fsum([value, *steps])
        bound = value + sign * width
        ends.append(End(bound, width, tuple(corner), predicted, actual, math.fsum(off)))
    return RootSumSquare(value, ends[0], ends[1])


def _off(line: _Line, at: float, value: float, step: float, sign: float) -> float:
    """Return by how much more than its ``step`` a side moves the quantity, up or (-1) down.

    By what was seen of it, and by the slope of its middle, drawn out to both ends.
    """
    (low, _), (left, down), (right, up), (high, _) = line
    slope = (up - down) / (right - left) if left < right else 0.0
    seen = max(sign * (one - value) for _, one in line)
    drawn = max(sign * slope * (end - at) for end in (low, high))
    return max(seen - sign * step, drawn - sign * step, 0.0)


def _check_independent(sides: Box, groups: Mapping[str, str]) -> None:
    members: dict[str, list[str]] = {}
    for name, _, _ in sides:
        if name in groups:
            members.setdefault(groups[name], []).append(name)
    together = [f"{', '.join(names)} ({g})" for g, names in members.items() if len(names) > 1]
    if together:
        raise NotIndependent(
            "root sum square holds for independent parameters only, and these are correlated: "
            + "; ".join(together)
        )
