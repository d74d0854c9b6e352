"""Circles: requirements that are derived from each other, and whatever else comes back to itself.

The standard library tells the order and whether there is a circle; only to spell circles out is
networkx imported.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from closeout.graph.index import Index
from closeout.graph.new_findings import error
from closeout.model.problem import Finding

if TYPE_CHECKING:
    import networkx

# A knot of many requirements holds more circles than anyone reads; cutting these opens most.
MOST_IN_A_COMPONENT = 20
MOST_NAMES = 12

Edges = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Order:
    """Identifiers so that each stands before those it is derived from.

    ``cyclic`` are those that are derived, over however many steps, from themselves.
    """

    names: tuple[str, ...]
    cyclic: frozenset[str]


@lru_cache(maxsize=1)  # checked first, judged later
def from_below(index: Index) -> Order:
    """Return the order in which requirements are judged; in a circle it is that of the names."""
    graph = _downward(index)
    try:
        return Order(tuple(TopologicalSorter(graph).static_order()), frozenset())
    except CycleError:
        pass
    number = {name: n for n, component in enumerate(_components(graph)) for name in component}
    opened = {
        name: [child for child in below if name not in number or number.get(child) != number[name]]
        for name, below in graph.items()
    }
    return Order(tuple(TopologicalSorter(opened).static_order()), frozenset(number))


def cycles(index: Index) -> Iterator[Finding]:
    """Yield a finding for each circle, with its path from above to below."""
    if not from_below(index).cyclic:
        return
    for path in cycles_of(_downward(index)):
        above, first = path[-1], index.requirements[path[0]]
        where = first.where / "derived_from" / first.derived_from.index(above)
        names = [*path, path[0]]
        if len(names) > MOST_NAMES:
            names[MOST_NAMES // 2 : -MOST_NAMES // 2] = [f"({len(names) - MOST_NAMES} more)"]
        shown = " <- ".join(names)
        yield error(
            "cycle",
            where,
            f"these requirements are derived from each other: {shown}",
            "remove one of the references",
        )


def cycles_of(graph: Edges) -> Iterator[list[str]]:
    """Yield the circles of a graph, each from its least name on; of a knot a limited number.

    Args:
        graph: where each name leads, all of them names of it.
    """
    try:
        TopologicalSorter(graph).prepare()
    except CycleError:
        for component in _components(graph):
            yield from _paths(graph, component)


def _downward(index: Index) -> Edges:
    """Return what is derived from each requirement, sorted, so that no order of files shows."""
    return {name: tuple(sorted(index.derived.get(name, ()))) for name in sorted(index.requirements)}


def _graph_of(edges: Iterable[tuple[str, str]]) -> networkx.DiGraph[str]:
    """Return a graph of edges; of a list that it is made from it would first guess the form."""
    import networkx

    graph: networkx.DiGraph[str] = networkx.DiGraph()
    graph.add_edges_from(edges)
    return graph


def _components(graph: Edges) -> list[list[str]]:
    """Return the groups in which each is derived from each, and those derived from themselves."""
    import networkx

    whole = _graph_of((name, child) for name, below in graph.items() for child in below)
    found = [sorted(component) for component in networkx.strongly_connected_components(whole)]
    return sorted(
        component
        for component in found
        if len(component) > 1 or component[0] in graph[component[0]]
    )


def _paths(graph: Edges, component: list[str]) -> Iterator[list[str]]:
    """Yield circles of a knot, from their least name on, until none or too many are left."""
    import networkx

    members = set(component)
    left = _graph_of(
        (name, child) for name in component for child in graph[name] if child in members
    )
    for _ in range(MOST_IN_A_COMPONENT):
        try:
            edges = networkx.find_cycle(left)
        except networkx.NetworkXNoCycle:
            return
        path = [edge[0] for edge in edges]
        start = path.index(min(path))
        path = path[start:] + path[:start]
        yield path
        left.remove_edge(path[-1], path[0])
