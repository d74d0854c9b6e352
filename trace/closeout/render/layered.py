"""Places for the nodes of a graph that is in layers, so that few lines cross and most are short.

As in K. Sugiyama, S. Tagawa, M. Toda, Methods for visual understanding of hierarchical system
structures, IEEE Trans. SMC 11 (1981): a line that passes a layer has a place there; layers are put
in order by the means of their neighbours. Lines to one node share their places.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Generic, TypeVar

SWEEPS = 12

N = TypeVar("N")
# A node (None: it is there itself), or a place where lines to it pass a layer.
Place = tuple[N, int | None]
# From a node to a node; the last is a part of that, to which lines run together.
Line = tuple[N, N, N]


@dataclass(frozen=True, slots=True)
class Layout(Generic[N]):
    """Layers in order, the middle of each place, and the places that each line passes."""

    columns: tuple[tuple[Place[N], ...], ...]
    middle: Mapping[Place[N], float]
    routes: Mapping[Line[N], tuple[Place[N], ...]]


def laid_out(
    layers: Sequence[Sequence[N]],
    lines: Iterable[Line[N]],
    height: Callable[[Place[N]], float],
) -> Layout[N]:
    """Return places for nodes in layers; ``height`` tells how much room a place takes.

    Lines lead from a layer to a later one, or stay inside of one.
    """
    column = {node: number for number, layer in enumerate(layers) for node in layer}
    routes = {line: _route(line, column) for line in lines}
    columns: list[list[Place[N]]] = [[(node, None) for node in layer] for layer in layers]
    for route in routes.values():
        for place in route[1:-1]:
            if place not in columns[place[1] or 0]:
                columns[place[1] or 0].append(place)
    steps = dict.fromkeys(step for route in routes.values() for step in pairwise(route))
    to_right: dict[Place[N], list[Place[N]]] = {}
    to_left: dict[Place[N], list[Place[N]]] = {}
    for one, other in steps:
        to_right.setdefault(one, []).append(other)
        to_left.setdefault(other, []).append(one)
    for number in range(SWEEPS):
        backwards = bool(number % 2)
        _sweep(columns, to_right if backwards else to_left, backwards)
    middle = _middles(columns, to_left, to_right, height)
    return Layout(tuple(map(tuple, columns)), middle, routes)


def _route(line: Line[N], column: Mapping[N, int]) -> tuple[Place[N], ...]:
    user, used, part = line
    between = range(column[user] + 1, column[used])
    return ((user, None), *((part, number) for number in between), (used, None))


def _sweep(
    columns: list[list[Place[N]]], beside: Mapping[Place[N], list[Place[N]]], backwards: bool
) -> None:
    """Put each column in the order of the means of its neighbours on one side."""
    for column in reversed(columns) if backwards else columns:
        rank = {place: n / max(len(c) - 1, 1) for c in columns for n, place in enumerate(c)}

        def mean(place: Place[N], rank: Mapping[Place[N], float] = rank) -> float:
            some = [rank[one] for one in beside.get(place, ())]
            return sum(some) / len(some) if some else rank[place]

        column.sort(key=mean)


def _middles(
    columns: Sequence[Sequence[Place[N]]],
    to_left: Mapping[Place[N], list[Place[N]]],
    to_right: Mapping[Place[N], list[Place[N]]],
    height: Callable[[Place[N]], float],
) -> dict[Place[N], float]:
    """Return the middle of each place: near its neighbours, none over another, the top at 0."""
    middle: dict[Place[N], float] = {}
    for column in columns:
        middle |= _apart(column, [0.0] * len(column), height)
    for _ in range(SWEEPS):
        for column in columns:
            wanted = []
            for place in column:
                some = [middle[one] for one in (*to_left.get(place, ()), *to_right.get(place, ()))]
                wanted.append(sum(some) / len(some) if some else middle[place])
            middle |= _apart(column, wanted, height)
    top = min((middle[place] - height(place) / 2 for place in middle), default=0.0)
    return {place: value - top for place, value in middle.items()}


def _apart(
    column: Sequence[Place[N]], wanted: Sequence[float], height: Callable[[Place[N]], float]
) -> dict[Place[N], float]:
    """Return middles as near to what is wanted as the heights allow (least squares).

    By pooling adjacent violators: R. E. Barlow et al., Statistical Inference under Order
    Restrictions, 1972.
    """
    offsets: list[float] = []
    used = 0.0
    for place in column:
        offsets.append(used + height(place) / 2)
        used += height(place)
    pools: list[tuple[float, int]] = []  # the sum and the number of what stands close together
    for want, offset in zip(wanted, offsets, strict=True):
        pools.append((want - offset, 1))
        while len(pools) > 1 and pools[-2][0] / pools[-2][1] > pools[-1][0] / pools[-1][1]:
            (one, few), (other, more) = pools.pop(), pools.pop()
            pools.append((one + other, few + more))
    levels = [total / number for total, number in pools for _ in range(number)]
    return {
        place: level + offset for place, level, offset in zip(column, levels, offsets, strict=True)
    }
