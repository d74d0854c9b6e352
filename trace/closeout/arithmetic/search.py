"""Worst case by search: extreme values over the corners of a box (ECSS-Q-HB-30-01A, extreme value).

A search proves nothing: an extreme inside the box is not seen. What it returns is `searched`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import product

from closeout import Absent
from closeout.model.answer import Answer, Assurance, Extent

Key = tuple[str, str | None]
Values = Mapping[Key, float]
Evaluate = Callable[[Mapping[str, float]], Values]
Box = tuple[tuple[str, float, float], ...]
Corner = tuple[float, ...]

# Up to so many sides every corner is evaluated, 2**n of them; above, corners are searched.
ALL_CORNERS = 8
# How many times a found corner is improved by turning one side.
MOST_ROUNDS = 4


class OtherCases(Exception):
    """An analysis gave other cases at a corner than at the nominal point."""


def answer(evaluate: Evaluate, inputs: Mapping[str, float], box: Box) -> Answer:
    """Return the value of each quantity at the inputs and its extremes over the box.

    Whatever ``evaluate`` raises goes through to the caller.
    """
    seen = _Seen(evaluate, inputs, tuple(side for side in box if side[1] < side[2]))
    nominal = seen.at(None)
    if not box:
        extents = {key: _nominal(value) for key, value in nominal.items()}
        return Answer(extents, Assurance.NOMINAL, seen.count)
    sides = seen.sides
    if len(sides) <= ALL_CORNERS:
        for corner in product(*((low, high) for _, low, high in sides)):
            seen.at(corner)
    else:
        _search(seen, nominal)
    extents = {key: seen.extent(key) for key in nominal}
    return Answer(extents, Assurance.SEARCHED, seen.count)


class _Seen:
    """Every point that was evaluated, each once."""

    def __init__(self, evaluate: Evaluate, inputs: Mapping[str, float], sides: Box) -> None:
        self.sides = sides
        self._evaluate = evaluate
        self._inputs = inputs
        self._values: dict[Corner | None, Values] = {}

    @property
    def count(self) -> int:
        return len(self._values)

    def at(self, corner: Corner | None) -> Values:
        """Return the values at a corner, or at the inputs for None."""
        if corner in self._values:
            return self._values[corner]
        point = dict(self._inputs)
        if corner is not None:
            point.update(self._names(corner))
        values = self._evaluate(point)
        nominal = self._values.get(None, values)
        if values.keys() != nominal.keys():
            differ = sorted(f"{q}[{c}]" for q, c in values.keys() ^ nominal.keys())
            raise OtherCases(f"other cases at a corner than at the inputs: {', '.join(differ)}")
        self._values[corner] = values
        return values

    def _names(self, corner: Corner) -> dict[str, float]:
        return {name: end for (name, _, _), end in zip(self.sides, corner, strict=True)}

    def extent(self, key: Key) -> Extent:
        """Return value, lowest and highest of a quantity over every point seen."""
        value = self._values[None][key]
        for corner, values in self._values.items():
            if isinstance(reason := values[key], Absent):
                where = tuple(self._names(corner).items()) if corner else ()
                known = None if isinstance(value, Absent) else value
                return Extent(known, low_at=where, high_at=where, absent=reason.reason)
        low = min(self._values, key=lambda corner: self._values[corner][key])
        high = max(self._values, key=lambda corner: self._values[corner][key])
        return Extent(
            value,
            self._values[low][key],
            self._values[high][key],
            tuple(self._names(low).items()) if low else (),
            tuple(self._names(high).items()) if high else (),
        )


def _search(seen: _Seen, nominal: Values) -> None:
    """Evaluate the corner that the slopes point to for each end, then turn one side at a time.

    Exact where every quantity is monotone in every side; elsewhere it climbs to a corner that no
    single turn improves, in a bounded number of rounds.
    """
    middle = tuple(seen._inputs[name] for name, _, _ in seen.sides)
    ends: list[tuple[Values, Values]] = []
    for i, (_, low, high) in enumerate(seen.sides):
        ends.append((seen.at(_turn(middle, i, low)), seen.at(_turn(middle, i, high))))
    for key, value in nominal.items():
        if isinstance(value, Absent):
            continue
        for sign in (1.0, -1.0):
            corner = tuple(
                high if sign * (_value(up, key) - _value(down, key)) > 0 else low
                for (_, low, high), (down, up) in zip(seen.sides, ends, strict=True)
            )
            _climb(seen, key, sign, corner)


def _climb(seen: _Seen, key: Key, sign: float, corner: Corner) -> None:
    best = sign * _value(seen.at(corner), key)
    for _ in range(MOST_ROUNDS):
        improved = False
        for i, (_, low, high) in enumerate(seen.sides):
            turned = _turn(corner, i, low if corner[i] == high else high)
            value = sign * _value(seen.at(turned), key)
            if value > best:
                best, corner, improved = value, turned, True
        if not improved:
            return


def _turn(corner: Corner, i: int, end: float) -> Corner:
    return (*corner[:i], end, *corner[i + 1 :])


def _value(values: Values, key: Key) -> float:
    # An absent case compares with nothing: it neither improves nor replaces a corner.
    value = values[key]
    return 0.0 if isinstance(value, Absent) else value


def _nominal(value: float) -> Extent:
    return Extent(None, absent=value.reason) if isinstance(value, Absent) else Extent(value)
