"""What rests on a node, upward, and what it rests on, downward: reach and layers of a graph.

The only place where the graph of a project is walked by networkx.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

import networkx

from closeout.graph.impact_edges import (
    Trail,
    edges,
    file_node,
    limit_links,
    mentioned,
    quantity_edges,
    targets,
)
from closeout.model.impact import FILES, Edge, Idle, Kind, Node, Reading, told


class Network:
    """A project as a graph, in which an edge leads from what rests to what it rests on."""

    def __init__(self, every: Iterable[Edge]) -> None:
        self._graph: networkx.DiGraph[Node] = networkx.DiGraph()
        self._certain: networkx.DiGraph[Node] = networkx.DiGraph()
        self.add(every)

    def add(self, more: Iterable[Edge]) -> None:
        """Add edges; what is certain once stays certain."""
        for user, used, certain in more:
            self._graph.add_edge(user, used)
            if certain:
                self._certain.add_edge(user, used)

    def __contains__(self, node: object) -> bool:
        return node in self._graph

    @property
    def nodes(self) -> tuple[Node, ...]:
        """Every node."""
        return told(list(self._graph))

    def above(self, roots: Iterable[Node]) -> frozenset[Node]:
        """Return all that rests on some nodes; one of them only if it rests on one of them."""
        return self._reached(self._graph.reverse(copy=False), roots)

    def surely_above(self, roots: Iterable[Node]) -> frozenset[Node]:
        """Return the part of the same that is known to."""
        return self._reached(self._certain.reverse(copy=False), roots)

    def below(self, roots: Iterable[Node]) -> frozenset[Node]:
        """Return all that some nodes rest on; one of them only if one of them rests on it."""
        return self._reached(self._graph, roots)

    @staticmethod
    def _reached(graph: networkx.DiGraph[Node], roots: Iterable[Node]) -> frozenset[Node]:
        found: set[Node] = set()
        left = [one for root in roots if root in graph for one in graph.successors(root)]
        while left:
            node = left.pop()
            if node not in found:
                found.add(node)
                left += graph.successors(node)
        return frozenset(found)

    def users(self, node: Node) -> tuple[Node, ...]:
        """Return what rests on a node itself."""
        return told(list(self._graph.predecessors(node))) if node in self._graph else ()

    def among(self, nodes: Collection[Node]) -> tuple[Edge, ...]:
        """Return the edges among some nodes, in the order in which they are told."""
        part = self._graph.subgraph(nodes)
        ends = ((u, v) for u in told(list(part)) for v in told(list(part.successors(u))))
        return tuple(Edge(u, v, self._certain.has_edge(u, v)) for u, v in ends)

    def layers(self, nodes: Collection[Node]) -> tuple[tuple[Node, ...], ...]:
        """Return nodes in layers, what rests on others before them; a circle is in one layer.

        A quantity is in the layer of its analysis.
        """
        part: networkx.DiGraph[Node] = networkx.DiGraph()
        with_them: dict[Node, list[Node]] = {}
        for node in told(nodes):
            with_them.setdefault(self.box(node, nodes), []).append(node)
        part.add_nodes_from(told(list(with_them)))
        ends = ((self.box(e.user, nodes), self.box(e.used, nodes)) for e in self.among(nodes))
        part.add_edges_from((one, other) for one, other in ends if one != other)
        knots = networkx.condensation(part)
        return tuple(
            told(
                [n for knot in one for box in knots.nodes[knot]["members"] for n in with_them[box]]
            )
            for one in networkx.topological_generations(knots)
        )

    def box(self, node: Node, nodes: Collection[Node]) -> Node:
        """Return the analysis of a quantity, where it is among some nodes; else the node."""
        if node.kind is not Kind.QUANTITY:
            return node
        used = self._graph.successors(node) if node in self._graph else ()
        return next((one for one in used if one in nodes), node)


def network(trail: Trail) -> Network:
    """Return the graph of a project."""
    return Network(edges(trail))


def may_rest(roots: Iterable[Node], net: Network, readings: Iterable[Reading]) -> list[Edge]:
    """Return from which analyses an edge may lead to a file, since not all that they read is known.

    None from one that is known to rest on it.
    """
    files = [root for root in roots if root.kind in FILES]
    unread = [Node(Kind.ANALYSIS, one.analysis) for one in readings if one.unread is not None]
    found = []
    for file in files:
        known = net.surely_above([file])
        found += [Edge(one, file, certain=False) for one in unread if one not in known]
    return found


def widened(root: Node, trail: Trail) -> tuple[Node, ...]:
    """Return a node with what changes with it: of a requirement, the limits that others take."""
    if root.kind is not Kind.REQUIREMENT:
        return (root,)
    limits = [
        limit
        for limit in limit_links(trail.index)
        if limit.rpartition(".")[0].rpartition(".")[0] == root.name
    ]
    return (root, *(Node(Kind.LIMIT, name) for name in sorted(limits)))


def with_quantity(root: Node, trail: Trail) -> list[Edge]:
    """Return the edges of a quantity that nothing takes, which is in no graph else."""
    return list(quantity_edges(root.name, trail.index)) if root.kind is Kind.QUANTITY else []


def concerned(
    reached: Collection[Node], roots: Collection[Node], trail: Trail, net: Network
) -> Mapping[str, tuple[int, ...]]:
    """Return the verifications that rest on some nodes, by requirement and number.

    All of a requirement that is a root, or that comes from a document that is one; none of one
    that only has derived requirements among the nodes.
    """
    every, index = {*reached, *roots}, trail.index
    whole = {one for one in roots if one.kind is Kind.REQUIREMENT}
    for root in roots:
        if root.kind is Kind.DOCUMENT:
            whole |= {one for one in net.users(root) if one.kind is Kind.REQUIREMENT}
    found = {}
    for node in told(every):
        if node.kind is Kind.REQUIREMENT and node.name in index.requirements:
            requirement = index.requirements[node.name]
            found[node.name] = tuple(
                number
                for number in range(len(requirement.verification))
                if node in whole or not every.isdisjoint(targets(requirement, number, trail))
            )
    return found


def idle(trail: Trail, net: Network, paths: Iterable[str]) -> tuple[Idle, ...]:
    """Return what no requirement rests on, by kind; ``paths`` are the files to be looked at.

    Not quantities: a result has more lines than a verification judges.
    """
    index, used = trail.index, mentioned(trail.index)
    nodes = [
        *(Node(Kind.ANALYSIS, spec.name) for spec in index.specs),
        *(Node(Kind.PARAMETER, name) for name in (*index.parameters, *index.linked)),
        *(Node(Kind.RECORD, name) for name in index.records),
        *(Node(Kind.ARTICLE, name) for name in index.articles),
        *(Node(Kind.DOCUMENT, name) for name in index.documents),
        *map(file_node, paths),
    ]
    resting = net.below(one for one in net.nodes if one.kind is Kind.REQUIREMENT)
    left = told([node for node in dict.fromkeys(nodes) if node not in used | resting])
    return tuple(Idle(node, net.users(node)) for node in left)
