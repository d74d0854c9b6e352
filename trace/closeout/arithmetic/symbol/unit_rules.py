"""The units of intermediate values: those that are declared, and what follows from them.

Only what no bare number can change follows. In ``3600.0 * duration`` the number may turn hours into
seconds or be a count of something, so the product has no unit, as long as none is declared; the
product of two values of which both have a unit has theirs. A value of which functions declare two
different units has none.

Rules of quantity calculus: ISO 80000-1:2009, 4 (from memory); levels and what may be added to
them: ISO 80000-15 and the practice of link budgets (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from closeout.arithmetic.recorded.recorded import CONDITIONS, Node, Value

_ONE = "1"
_FACTOR = re.compile(r"([^\W\d]+)(?:\^(-?\d+))?")
# What is added to a level and leaves it one, and is itself a level difference.
_GAINS = ("dB", "dBi", "dBic")
# A point on the scale: the difference of two is a number of kelvins.
_POINT, _STEP = "degC", "K"
_PURE = frozenset(
    ("acosh", "asinh", "atanh", "cosh", "erf", "exp", "exprel", "log", "log10", "log1prel", "log2",
     "normal_cdf", "sinh", "tanh")
)  # fmt: skip
_OF_ANGLES = frozenset(("cos", "sin", "tan"))
_TO_ANGLES = frozenset(("acos", "asin", "atan"))
_KEEPING = frozenset(("absolute", "ceil", "floor", "negative"))
_BOTH = frozenset(("atan2", "hypot", "maximum", "minimum"))

Powers = Mapping[str, int]


def units_of(
    nodes: Iterable[Node], declared: Mapping[Node, str | None], fields: Mapping[Node, str]
) -> dict[Node, str]:
    """Return the unit of each node that has one, as text.

    Args:
        nodes: in an order in which each can be computed.
        declared: what functions say of values; None where two of them differ.
        fields: the units of what the result holds.
    """
    found: dict[Node, str] = {}
    for node in nodes:
        if node in fields:
            found[node] = fields[node]
        elif node in declared:
            unit = declared[node]
            if unit is not None:
                found[node] = unit
        elif isinstance(node, Value):
            unit = _following(node, found)
            if unit is not None:
                found[node] = unit
    return found


def _following(node: Node, known: Mapping[Node, str]) -> str | None:
    """Return the unit that follows from those of the operands."""
    operation, operands = node.operation, node.operands
    rule = _RULES.get(operation)
    if rule is not None:
        return rule(known, *operands)
    units = [_of(known, operand) for operand in operands if isinstance(operand, Node)]
    if operation in _PURE or operation in _OF_ANGLES:
        fits = (_ONE, "rad") if operation in _OF_ANGLES else (_ONE,)
        return _ONE if units and units[0] in fits else None
    if operation in _TO_ANGLES:
        return "rad" if units == [_ONE] else None
    if operation in _KEEPING:
        return units[0] if units and units[0] is not None and _is_plain(units[0]) else None
    if operation == "atan2":
        return "rad" if _same(known, operands) else None
    return _same(known, operands) if operation in _BOTH else None


def _of(known: Mapping[Node, str], operand: Any) -> str | None:
    return known.get(operand) if isinstance(operand, Node) else None


def _same(known: Mapping[Node, str], operands: Iterable[Any]) -> str | None:
    """Return the unit that all operands have; a bare number among them has that of the others."""
    nodes = [one for one in operands if isinstance(one, Node)]
    units = {known.get(one) for one in nodes if one.operation not in CONDITIONS}
    return units.pop() if len(units) == 1 else None


def _where(known: Mapping[Node, str], _: Any, then: Any, otherwise: Any) -> str | None:
    return _same(known, (then, otherwise))


def _sum(known: Mapping[Node, str], a: Any, b: Any) -> str | None:
    if not (isinstance(a, Node) and isinstance(b, Node)):
        return _with_bare(_of(known, a) or _of(known, b))
    one, other = _of(known, a), _of(known, b)
    if one is None or other is None:
        return None
    if _POINT in (one, other):
        return _POINT if {one, other} == {_POINT, _STEP} else None
    return _levels(one, other) if _is_level(one) or _is_level(other) else _equal(one, other)


def _difference(known: Mapping[Node, str], a: Any, b: Any) -> str | None:
    if not (isinstance(a, Node) and isinstance(b, Node)):
        return _with_bare(_of(known, a) or _of(known, b))
    one, other = _of(known, a), _of(known, b)
    if one is None or other is None:
        return None
    if one == _POINT:
        return {_POINT: _STEP, _STEP: _POINT}.get(other)
    if _is_level(one) or _is_level(other):
        if one == other:
            return "dB"
        return one if other in _GAINS else None
    return _equal(one, other)


def _levels(one: str, other: str) -> str | None:
    """Return the unit of the sum of two levels, of which one must be a difference of levels."""
    if other in _GAINS:
        return one if one not in _GAINS or other == "dB" else other if one == "dB" else None
    return other if one in _GAINS else None


def _with_bare(unit: str | None) -> str | None:
    """Return the unit of a sum with a bare number, which shifts a scale or a level to another."""
    return unit if unit is not None and _is_plain(unit) and unit != _STEP else None


def _equal(one: str, other: str) -> str | None:
    return one if one == other else None


def _is_level(unit: str) -> bool:
    return unit.startswith("dB")


def _is_plain(unit: str) -> bool:
    return unit == "dB" or (not _is_level(unit) and unit != _POINT)


def _product(known: Mapping[Node, str], a: Any, b: Any) -> str | None:
    return _joined(_powers(_of(known, a)), _powers(_of(known, b)), 1)


def _quotient(known: Mapping[Node, str], a: Any, b: Any) -> str | None:
    above = {} if not isinstance(a, Node) and a == 1.0 else _powers(_of(known, a))
    return _joined(above, _powers(_of(known, b)), -1)


def _power(known: Mapping[Node, str], base: Any, exponent: Any) -> str | None:
    powers = _powers(_of(known, base))
    if powers is None or isinstance(exponent, Node) or exponent != int(exponent):
        return _ONE if powers == {} else None
    return _text({name: power * int(exponent) for name, power in powers.items()})


def _root(degree: int) -> Callable[..., str | None]:
    def root(known: Mapping[Node, str], x: Any) -> str | None:
        powers = _powers(_of(known, x))
        if powers is None or any(power % degree for power in powers.values()):
            return None
        return _text({name: power // degree for name, power in powers.items()})

    return root


_RULES: dict[str, Callable[..., str | None]] = {
    "add": _sum, "subtract": _difference, "multiply": _product, "divide": _quotient,
    "raise": _power, "power": _power, "sqrt": _root(2), "cbrt": _root(3), "where": _where,
}  # fmt: skip


def _joined(one: Powers | None, other: Powers | None, sign: int) -> str | None:
    if one is None or other is None:
        return None
    powers = dict(one)
    for name, power in other.items():
        powers[name] = powers.get(name, 0) + sign * power
    return _text(powers)


def _powers(unit: str | None) -> Powers | None:
    """Return the factors of a unit with their exponents; None of one that is no product.

    A count is a plain number; a share in percent is none, so it multiplies nothing here.
    """
    if unit is None or not _is_plain(unit) or unit == "dB":
        return None
    found: dict[str, int] = {}
    above, *below = unit.split("/")
    for sign, part in ((1, above), *((-1, one) for one in below)):
        inner = part.strip().removeprefix("(").removesuffix(")")
        for word in inner.split():
            match = _FACTOR.fullmatch(word)
            if word in (_ONE, "count"):
                continue
            if match is None:
                return None
            found[match[1]] = found.get(match[1], 0) + sign * int(match[2] or 1)
    return found


def _text(powers: Powers) -> str:
    def listed(sign: int) -> list[str]:
        return [
            name if abs(power) == 1 else f"{name}^{abs(power)}"
            for name, power in powers.items()
            if power * sign > 0
        ]

    above, below = listed(1), listed(-1)
    text = " ".join(above) or _ONE
    if not below:
        return text
    return f"{text}/({' '.join(below)})" if len(below) > 1 else f"{text}/{below[0]}"
