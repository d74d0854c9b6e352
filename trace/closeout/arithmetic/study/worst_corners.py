"""The other parameters at their worst, along one: where that is may change on the way."""

from __future__ import annotations

from collections.abc import Mapping

from closeout.arithmetic.study.break_even import margin_of, value_of
from closeout.arithmetic.types import At, Box, Evaluate, Key
from closeout.model.answer import Bounds

# Corners that are remembered for one parameter; each costs an evaluation at every point.
MOST_CORNERS = 4


class WorstCorners:
    """A quantity along one argument, the other ones at whichever known corner leaves least margin.

    It begins with one corner (the worst of the whole box). :meth:`improve` looks for a worse one at
    a point, by moving one other parameter after the other to its other end: a search, no proof.
    """

    def __init__(
        self,
        evaluate: Evaluate,
        inputs: Mapping[str, float],
        box: Box,
        key: Key,
        bounds: Bounds,
        corner: At,
    ) -> None:
        self._evaluate = evaluate
        self._box = box
        self._key = key
        self._bounds = bounds
        self._corners: list[dict[str, float]] = [{**inputs, **dict(corner)}]

    def __call__(self, point: Mapping[str, float]) -> Mapping[Key, float]:
        """Return the quantity at the worst of the known corners."""
        found = [self._evaluate({**corner, **point}) for corner in self._corners]
        return min(found, key=lambda values: self._margin(values.get(self._key)))

    @property
    def worst(self) -> Mapping[str, float]:
        """The point of all parameters that was found last, and so the worst."""
        return self._corners[-1]

    def improve(self, name: str, value: float) -> bool:
        """Add a worse corner for a value of the argument; return whether there is one."""
        if len(self._corners) >= MOST_CORNERS:
            return False
        at = {name: value}
        before = self._at(self._corners[-1], at)
        corner = dict(self._corners[-1])
        least = before
        for other, low, high in self._box:
            if other == name or not low < high:
                continue
            for end in (low, high):
                tried = {**corner, other: end}
                margin = self._at(tried, at)
                if margin < least:
                    corner, least = tried, margin
        if not least < before:
            return False
        self._corners.append(corner)
        return True

    def _at(self, corner: Mapping[str, float], at: Mapping[str, float]) -> float:
        return self._margin(value_of(self._evaluate, {**corner, **at}, self._key))

    def _margin(self, value: float | None) -> float:
        found = margin_of(value, self._bounds)
        return float("inf") if found is None else found
