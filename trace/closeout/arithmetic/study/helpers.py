"""The functions of the author on which a derivation rests, with what they took and gave."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from closeout.arithmetic.recorded.recorded import Node, Value
from closeout.arithmetic.recorded.watched import Call, Part
from closeout.arithmetic.symbol.symbolic import Symbolic, nodes_below
from closeout.arithmetic.symbol.unit_rules import units_of
from closeout.arithmetic.types import Key
from closeout.model.study import Helper
from closeout.model.study import Part as Shown

# Of a function that is called more often, the first calls; the derivation has them all.
MOST_CALLS = 12


def helpers(symbolic: Symbolic, key: Key) -> tuple[Helper, ...]:
    """Return the calls of helper functions that a quantity and case needs, each once, in order.

    The analysis itself is none, nor is what took and gave the same as an earlier call.
    """
    last = symbolic.stage(key)
    if last is None or not isinstance(last.node, Value):
        return ()
    needed = nodes_below([last.node])
    used = set(needed)
    units = units_of(needed, symbolic.units, {})
    # The analysis itself is the last to end.
    calls = [one for one in symbolic.calls[:-1] if any(part.value in used for part in one.gave)]
    found: dict[Helper, None] = {}
    times: dict[object, int] = {}
    for call in calls:
        helper = _helper(call, units)
        if helper not in found and times.get(call.function, 0) < MOST_CALLS:
            times[call.function] = times.get(call.function, 0) + 1
            found[helper] = None
    return tuple(found)


def _helper(call: Call, units: Mapping[Node, str]) -> Helper:
    code = call.function.__code__
    return Helper(
        call.function.__qualname__,
        call.function.__doc__ or "",
        code.co_filename,
        code.co_firstlineno,
        tuple(_shown(call.took, units)),
        tuple(_shown(call.gave, units)),
    )


def _shown(parts: Iterable[Part], units: Mapping[Node, str]) -> Iterator[Shown]:
    for part in parts:
        if isinstance(part.value, Value):
            yield Shown(part.name, part.value.value, part.unit or units.get(part.value, ""))
        else:
            yield Shown(part.name, float(part.value), part.unit or "")
