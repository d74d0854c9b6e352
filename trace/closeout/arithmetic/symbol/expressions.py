"""The symbolic form of a quantity as SymPy expressions, stage by stage.

SymPy is imported here, so import this module where it is needed, never at the top of another one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from closeout.arithmetic.recorded.recorded import Node, Value
from closeout.arithmetic.symbol import symbol
from closeout.arithmetic.symbol.symbolic import Symbolic, nodes_below
from closeout.arithmetic.types import Key


class Forms(NamedTuple):
    """The stages that a quantity needs, on symbols.

    ``symbols`` are those of the arguments and of the nodes that a stage writes out; ``forms`` are
    what these nodes are in terms of them, in an order in which each can be computed.
    """

    symbols: Mapping[Node, Any]
    forms: Mapping[Node, Any]

    def whole(self, node: Node) -> Any:
        """Return a node in terms of the arguments alone.

        It can be long: a stage that is used twice is written out twice.
        """
        found: dict[Any, Any] = {}
        for one, form in self.forms.items():
            found[self.symbols[one]] = form.xreplace(found)
        return found.get(self.symbols[node], self.symbols[node])


def forms(symbolic: Symbolic, key: Key) -> Forms:
    """Return the stages that a quantity and case needs as expressions; none without a form."""
    symbols: dict[Node, Any] = {
        node: symbol.real_symbol(name) for name, node in symbolic.inputs.items()
    }
    written: dict[Node, Any] = {}
    for stage in symbolic.stages_of(key):
        if not isinstance(stage.node, Value) or stage.node in symbols:
            continue
        found = dict(symbols)
        for node in nodes_below([stage.node], stop=symbols):
            if node not in found:
                operands = (found[one] if isinstance(one, Node) else one for one in node.operands)
                found[node] = symbol.apply(node.operation, *operands)
        written[stage.node] = found[stage.node]
        name = stage.quantity if stage.case is None else f"{stage.quantity}[{stage.case}]"
        symbols[stage.node] = symbol.own_symbol(name)
    return Forms(symbols, written)
