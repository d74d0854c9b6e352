"""Where a criterion just fails: along one parameter, and along the edge between two.

Found by evaluating on numbers: steps outward until the verdict turns, then to the last digit. What
lies between two steps is not seen. Pure: no process, no file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise
from math import cos, inf, isfinite, isnan, nextafter, pi, sin
from typing import NamedTuple

from closeout import Absent
from closeout.arithmetic.types import At, Box, Evaluate, Key
from closeout.model.answer import Bounds, Extent
from closeout.model.study import BreakEven, Lines

# The least and the greatest value that a parameter can have at all; None: there is no such end.
Possible = Mapping[str, tuple[float | None, float | None]]

# How far is searched, in tolerances; for a parameter without one, in hundredths of its value.
REACH = 1000.0
WITHOUT_TOLERANCE = 0.01
# Inside the tolerance the verdict is looked at in steps of a quarter, outside in doubling steps.
# Where the criterion is known to hold inside, nothing is looked at there.
INNER_STEPS = 4
GROWTH = 2.0
# An edge is known to the last digit, or to this share of a tolerance where it is near zero.
FINEST = 1e-15
# How often the way to a point without a value is halved.
HALVINGS = 40


def worst_corner(extent: Extent, bounds: Bounds) -> At:
    """Return the point of the box at which the margin to the limits is smallest.

    It is the ``corner`` for :func:`break_even`; empty where the extent has no ends.
    """
    if extent.low is None or extent.high is None:
        return ()
    below, above = bounds.margins(extent.low, extent.high)
    return extent.low_at if below <= above else extent.high_at


def break_even(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    key: Key,
    bounds: Bounds,
    corner: At | None = None,
    reach: float = REACH,
    possible: Possible | None = None,
    met_everywhere: bool = False,
    finest: float = FINEST,
) -> tuple[BreakEven, ...]:
    """Return where the criterion turns along each argument, the nearest in tolerances first.

    The nearest edge on each side of the nominal value; one entry without value where neither side
    has one. A point at which the analysis raises ends the search on that side.

    Args:
        evaluate: the analysis on numbers.
        inputs: the nominal point; every argument is searched.
        box: low and high end of the arguments that have a tolerance.
        key: the quantity and case.
        bounds: the limits, in the unit of the analysis.
        corner: where the other arguments stand; None is at nominal.
        reach: how far is searched, in tolerances.
        possible: what arguments can be at all; beyond that nothing is searched.
        met_everywhere: the criterion is known to hold all over the box; then nothing is searched
            inside of it.
        finest: how exact an edge is, in tolerances.
    """
    found: list[BreakEven] = []
    looks = _Looks(reach, met_everywhere, finest)
    base = {**inputs, **dict(corner or ())}
    label = "nominal" if corner is None else "worst"
    sides = {name: (low, high) for name, low, high in box}
    for name in inputs:
        low, high = sides.get(name, (inputs[name], inputs[name]))
        search = _Search(evaluate, base, name, key, bounds)
        ends = _possible(possible, name, inputs[name])
        found += _along(search, inputs[name], low, high, label, looks, ends)
    return tuple(sorted(found, key=lambda one: nearest_first(one, inputs)))


def nearest_first(one: BreakEven, inputs: Mapping[str, float]) -> tuple[int, float, str]:
    """Return what to sort by: tolerances, then relative distance, then those not found."""
    if one.value is None:
        return 2, 0.0, one.parameter
    if one.tolerances is not None:
        return 0, one.tolerances, one.parameter
    at = inputs[one.parameter]
    return 1, abs(one.value - at) / (abs(at) or 1.0), one.parameter


class _Looks(NamedTuple):
    """Where a search looks: how far, whether not inside of the tolerance, and how exactly."""

    reach: float
    met_everywhere: bool
    finest: float


class _Search:
    """The margin of a criterion along one argument, each point evaluated once."""

    def __init__(
        self,
        evaluate: Evaluate,
        base: Mapping[str, float],
        name: str,
        key: Key,
        bounds: Bounds,
    ) -> None:
        self.name = name
        self._evaluate = evaluate
        self._base = base
        self._key = key
        self._bounds = bounds
        self._values: dict[float, float | None] = {}

    def margin(self, x: float) -> float | None:
        """Return the margin, at least zero where the criterion holds; None where nothing comes."""
        if x not in self._values:
            self._values[x] = value_of(self._evaluate, {**self._base, self.name: x}, self._key)
        return margin_of(self._values[x], self._bounds)

    @property
    def monotone(self) -> bool:
        """Whether the quantity only rises or only falls over the points so far."""
        seen = [y for _, y in sorted(self._values.items()) if y is not None and isfinite(y)]
        pairs = list(pairwise(seen))
        return all(a <= b for a, b in pairs) or all(a >= b for a, b in pairs)


def value_of(evaluate: Evaluate, point: Mapping[str, float], key: Key) -> float | None:
    """Return the quantity; NaN for a case that is absent, None where the analysis has no answer."""
    try:
        found = evaluate(point).get(key)
    except Exception:
        return None  # outside what its author thought of: no verdict there
    if isinstance(found, Absent):
        return float("nan")
    if found is None or isinstance(found, complex) or not isfinite(found):
        return None
    return float(found)


def margin_of(value: float | None, bounds: Bounds) -> float | None:
    """Return the least margin of a value to its limits; None without one, -inf for an absence."""
    if value is None:
        return None
    return -inf if isnan(value) else min(bounds.margins(value, value))


def _possible(possible: Possible | None, name: str, at: float) -> tuple[float, float]:
    """Return the ends of what an argument can be; one that it is beyond already is no end."""
    low, high = (possible or {}).get(name, (None, None))
    return (
        -inf if low is None or at < low else low,
        inf if high is None or at > high else high,
    )


def _along(
    search: _Search,
    at: float,
    low: float,
    high: float,
    label: str,
    looks: _Looks,
    possible: tuple[float, float],
) -> list[BreakEven]:
    start = search.margin(at)
    if start is None:
        reason = "the analysis has no value where the search begins"
        return [BreakEven(search.name, None, label, None, "neither", False, True, reason)]
    width = max(high - at, at - low)
    scale = width or WITHOUT_TOLERANCE * abs(at) or WITHOUT_TOLERANCE
    edges: list[tuple[str, float, float]] = []
    ends: list[str] = []
    last: list[float] = []
    for direction, sign, own in (("above", 1.0, high - at), ("below", -1.0, at - low)):
        most = possible[1] if sign > 0.0 else possible[0]
        inside = own > 0.0 and not looks.met_everywhere
        steps = tuple(_steps(looks.reach, inside))
        width_there = sign * (own or scale)
        edge, end, why = _outward(search.margin, at, width_there, steps, most, looks.finest)
        if edge is None:
            ends.append(f"{'up' if sign > 0.0 else 'down'} to {end:.6g}{why}")
            last.append(end)
        else:
            edges.append((direction, edge, own))
    holds, monotone = start >= 0.0, search.monotone
    if not edges:
        reason = f"no break-even: {' and '.join(ends)}"
        return [
            BreakEven(
                search.name, None, label, None, "neither", holds, monotone, reason, last[1], last[0]
            )
        ]  # fmt: skip
    return [
        BreakEven(
            search.name, edge, label, abs(edge - at) / own if own else None,
            direction, holds, monotone, None,
        )
        for direction, edge, own in edges
    ]  # fmt: skip


def _steps(reach: float, inside: bool) -> Iterator[float]:
    """Yield the distances at which the verdict is looked at, in tolerances."""
    for i in range(1, INNER_STEPS) if inside else ():
        yield min(i / INNER_STEPS, reach)
    yield min(1.0, reach)
    step = GROWTH
    while step < reach:
        yield step
        step *= GROWTH
    if reach > 1.0:
        yield reach


def _outward(
    margin: Callable[[float], float | None],
    at: float,
    width: float,
    steps: tuple[float, ...],
    most: float,
    finest: float,
) -> tuple[float | None, float, str]:
    """Return the nearest edge, or None; then how far was searched, and why no further.

    ``most`` is the last value that is possible on that side.
    """
    holds = (margin(at) or 0.0) >= 0.0
    before = at
    for step in steps:
        x = at + step * width
        x = min(x, most) if width > 0.0 else max(x, most)
        found = margin(x)
        if found is None:
            return _before_the_end(margin, before, x, holds, abs(width), finest)
        if (found >= 0.0) != holds:
            return _edge(margin, before, x, holds, finest * abs(width)), x, ""
        before = x
        if x == most:
            return None, x, ", its physical end"
    return None, before, ""


def _before_the_end(
    margin: Callable[[float], float | None],
    good: float,
    bad: float,
    holds: bool,
    width: float,
    finest: float,
) -> tuple[float | None, float, str]:
    """Return the edge between a point with a value and one without, if there is one.

    Then the last point with a value, and that there is none beyond.
    """
    for _ in range(HALVINGS):
        middle = good + (bad - good) / 2.0
        if middle in (good, bad) or abs(bad - good) <= max(1e-9, finest) * width:
            break
        found = margin(middle)
        if found is None:
            bad = middle
        elif (found >= 0.0) != holds:
            return _edge(margin, good, middle, holds, finest * width), middle, ""
        else:
            good = middle
    return None, good, ", beyond which the analysis has no value"


def _edge(
    margin: Callable[[float], float | None], near: float, far: float, holds: bool, finest: float
) -> float:
    """Return the last point of the side that holds, between two points of unlike verdict.

    Straight line through the ends (regula falsi, the end that stays being halved: the Illinois
    rule), and a bisection after each step that did not halve the bracket.
    """
    a, b = (near, far) if holds else (far, near)  # a holds, b fails
    fa, fb = margin(a) or 0.0, margin(b) or 0.0
    last, bisect = 0, False
    while nextafter(a, b) != b and (width := abs(b - a)) > finest:
        x = a + (b - a) / 2.0
        if not bisect and isfinite(fa - fb) and fa != fb:
            x = a + (b - a) * (fa / (fa - fb))
        x = _between(x, a, b)
        found = margin(x)
        if found is None:
            found = float("-inf")
        if found >= 0.0:
            a, fa, fb, last = x, found, fb / 2.0 if last == 1 else fb, 1
        else:
            b, fb, fa, last = x, found, fa / 2.0 if last == -1 else fa, -1
        bisect = not bisect and abs(b - a) > width / 2.0
    return a


def _between(x: float, a: float, b: float) -> float:
    """Return x, or where it does not lie inside, the number next to the nearer end."""
    if min(a, b) < x < max(a, b):
        return x
    return nextafter(a, b) if abs(x - a) <= abs(x - b) else nextafter(b, a)


def boundary(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    key: Key,
    bounds: Bounds,
    first: str,
    second: str,
    corner: At | None = None,
    reach: float = 4.0,
    rays: int = 180,
    finest: float = 1e-9,
    possible: Possible | None = None,
) -> Lines:
    """Return where the criterion turns in the plane of two arguments, as lines of points.

    From the nominal point along rays of equal angle, measured in tolerances: of each ray the
    nearest edge, at the side that holds. Rays that meet none leave a gap, so there may be several
    lines; a closed one ends where it began. Without a tolerance a hundredth of the value is one.

    Args:
        evaluate, inputs, box, key, bounds, corner, possible: as for :func:`break_even`.
        first, second: the arguments of the two coordinates.
        reach: length of a ray in tolerances.
        rays: how many.
        finest: how exact an edge is, in tolerances.
    """
    base = {**inputs, **dict(corner or ())}
    centre = (inputs[first], inputs[second])
    scales = tuple(_scale(inputs, box, name) for name in (first, second))
    ends = [_possible(possible, name, inputs[name]) for name in (first, second)]

    def at(angle: float, distance: float) -> tuple[float, float]:
        x, y = cos(angle) * distance, sin(angle) * distance
        return centre[0] + x * scales[0], centre[1] + y * scales[1]

    def along(angle: float) -> tuple[float, float] | None:
        def margin(distance: float) -> float | None:
            x, y = at(angle, distance)
            if not all(low <= z <= high for z, (low, high) in zip((x, y), ends, strict=True)):
                return None
            point = {**base, first: x, second: y}
            return margin_of(value_of(evaluate, point, key), bounds)

        if margin(0.0) is None:
            return None
        edge = _ray(margin, reach, finest)
        return None if edge is None else at(angle, edge)

    return _lines([along(2.0 * pi * i / rays) for i in range(rays)])


def _scale(inputs: Mapping[str, float], box: Box, name: str) -> float:
    half = next((max(h - inputs[name], inputs[name] - lo) for n, lo, h in box if n == name), 0.0)
    return half or WITHOUT_TOLERANCE * abs(inputs[name]) or WITHOUT_TOLERANCE


def _ray(margin: Callable[[float], float | None], reach: float, finest: float) -> float | None:
    holds = (margin(0.0) or 0.0) >= 0.0
    before = 0.0
    for i in range(1, round(INNER_STEPS * reach) + 1):
        x = i / INNER_STEPS
        found = margin(x)
        if found is None:
            return _before_the_end(margin, before, x, holds, 1.0, finest)[0]
        if (found >= 0.0) != holds:
            return _edge(margin, before, x, holds, finest)
        before = x
    return None


def _lines(points: list[tuple[float, float] | None]) -> Lines:
    """Return the runs of points around a circle, cut at the gaps."""
    if None not in points:
        whole = [point for point in points if point is not None]
        return ((*whole, whole[0]),)
    cut = points.index(None)
    lines: list[list[tuple[float, float]]] = [[]]
    for point in points[cut:] + points[:cut]:
        if point is None:
            lines.append([])
        else:
            lines[-1].append(point)
    return tuple(tuple(line) for line in lines if line)
