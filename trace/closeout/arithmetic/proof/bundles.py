"""Inputs that act on a quantity through one value only, and so can move together in a search.

Where a formula takes capacity and fade as nothing but their product, each value of the product
counts once, however the two make it. If the value runs one way along each of its inputs, and
without jumps, then on the straight way from the corner where it is least to the one where it is
greatest it takes every value that it has in the box (intermediate value theorem), and the extremes
of the quantity over the box are those over this path. A search over one side instead of several
does not have to distinguish what makes no difference: the parts of a box in which an extreme lies
grow with the power of the sides along which it may lie (the cluster effect; R. B. Kearfott and
K. Du, Journal of Global Optimization 5 (1994) 253).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any

from closeout.arithmetic.gradient.gradient import Gradient
from closeout.arithmetic.recorded.recorded import Node

# Operations that may stand between the inputs and their value: those whose rounding is a share of
# what they give, wherever in the box.
_PLAIN = ("add", "subtract", "multiply", "divide", "negative", "sqrt", "exp", "log")
# How much of a rounding, in shares, they may make of it together: a difference of nearly equal
# numbers makes much, and then the path would not have the rounding of the box.
MOST_AMPLIFIED = 4.0


def bundles(
    nodes: Sequence[Node], values: Mapping[int, Any], names: Sequence[str]
) -> tuple[dict[str, bool], ...]:
    """Return groups of two inputs or more, with whether each raises the value of its group.

    Args:
        nodes: what a quantity is made of, in order; the last is the quantity itself.
        values: what each is over the box, by its place on the tape, with slopes where it varies.
        names: the inputs that vary; slopes are by the place of an input there.
    """
    below = _inputs_below(nodes, frozenset(names))
    ways = _ways_up(nodes)
    grown = _rounding(nodes, below, values)
    found: list[dict[str, bool]] = []
    taken: set[str] = set()
    for node in reversed(nodes[:-1]):
        inputs = below[node.index]
        if len(inputs) < 2 or inputs & taken or grown[node.index] > MOST_AMPLIFIED:
            continue
        alone = all(node.index in ways[name] for name in inputs)
        rises = _directions(values.get(node.index), names, inputs) if alone else None
        if rises is not None:
            found.append(rises)
            taken |= inputs
    return tuple(found)


def _name(node: Node) -> str | None:
    return node.operands[0] if node.operation == "input" else None


def _inputs_below(nodes: Sequence[Node], names: frozenset[str]) -> dict[int, frozenset[str]]:
    """Return which of the inputs that vary each node is made of."""
    found: dict[int, frozenset[str]] = {}
    for node in nodes:
        own = frozenset((_name(node) or "",)) & names
        found[node.index] = own.union(*(found[operand.index] for operand in node.nodes))
    return found


def _ways_up(nodes: Sequence[Node]) -> dict[str | None, frozenset[int]]:
    """Return for each input, by name, the nodes that every way from it to the top goes through.

    Those are its dominators, seen from the quantity (K. D. Cooper, T. J. Harvey, K. Kennedy, A
    Simple, Fast Dominance Algorithm, 2001): next above a node stands what its users have in common.
    """
    users: dict[int, list[int]] = {node.index: [] for node in nodes}
    for node in nodes:
        for operand in node.nodes:
            users[operand.index].append(node.index)
    top = nodes[-1].index
    above: dict[int, int] = {top: top}
    for node in reversed(nodes[:-1]):
        common, *more = users[node.index]
        for other in more:
            while common != other:  # what is made later has the greater index
                if common < other:
                    common = above[common]
                else:
                    other = above[other]
        above[node.index] = common
    return {_name(one): _chain(one.index, above) for one in nodes if one.operation == "input"}


def _chain(place: int, above: Mapping[int, int]) -> frozenset[int]:
    found = []
    while above[place] != place:
        place = above[place]
        found.append(place)
    return frozenset(found)


def _directions(value: Any, names: Sequence[str], inputs: frozenset[str]) -> dict[str, bool] | None:
    """Return whether the value rises along each input; None where it turns, or may jump."""
    if not isinstance(value, Gradient):
        return None
    rises = {}
    for place, name in enumerate(names):
        if name not in inputs:
            continue
        low, high = value.slopes.get(place, (0.0, 0.0))
        if low < 0.0 < high or not (-inf < low and high < inf):
            return None
        rises[name] = low >= 0.0
    return rises


def _rounding(
    nodes: Sequence[Node], below: Mapping[int, frozenset[str]], values: Mapping[int, Any]
) -> dict[int, float]:
    """Return by how much a rounding may have grown on its way to each node, wherever in the box."""
    grown: dict[int, float] = {}
    for node in nodes:
        most = max((grown[one.index] for one in node.nodes if below[one.index]), default=1.0)
        moves = node.operation != "input" and below[node.index]
        grown[node.index] = most * _amplified(node, values) if moves else most
    return grown


def _amplified(node: Node, values: Mapping[int, Any]) -> float:
    """Return by how much an operand's rounding, in shares, grows in a result, at least by 1."""
    if node.operation not in _PLAIN:
        return inf
    if node.operation == "exp":
        return max(_most(values, node.operands[0]), 1.0)
    if node.operation in ("add", "subtract", "log"):
        most = max(_most(values, operand) for operand in node.operands)
        least = _least(values[node.index])
        grown = (1.0 if node.operation == "log" else most) / least if least else inf
        return max(grown, 1.0)
    return 1.0


def _most(values: Mapping[int, Any], operand: Any) -> float:
    value = values[operand.index] if isinstance(operand, Node) else operand
    low, high = _ends(value)
    return max(abs(low), abs(high))


def _least(value: Any) -> float:
    low, high = _ends(value)
    return 0.0 if low <= 0.0 <= high else min(abs(low), abs(high))


def _ends(value: Any) -> tuple[float, float]:
    if isinstance(value, Gradient):
        return value.value.low, value.value.high
    return (value.low, value.high) if hasattr(value, "low") else (value, value)
