"""The derivation of a result, as in a hand calculation: formula, numbers put in, value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from closeout.arithmetic.recorded.recorded import Node, Value
from closeout.arithmetic.symbol.symbolic import Stage, Symbolic, nodes_below
from closeout.arithmetic.symbol.typeset import (
    LITERAL_DIGITS,
    Laid,
    Latex,
    MathMl,
    Plain,
    Writer,
    lay,
    number,
    whole,
)
from closeout.arithmetic.symbol.unit_rules import units_of
from closeout.arithmetic.types import Key
from closeout.model.solved import Formula
from closeout.model.study import Line


def derivation(
    symbolic: Symbolic, units: Mapping[str, str], key: Key | None = None
) -> tuple[Line, ...]:
    """Return the lines from the inputs to a quantity and case, in the order of computing them.

    Numbers put in are rounded to six significant digits, constants of the formula to nine; the
    value itself is a line's ``value``. What is no field of the result has the author's name for it
    and the unit that is declared of it or follows (:mod:`.symbol.unit_rules`), else none.

    Args:
        symbolic: the symbolic form; what has none there has no lines.
        units: the unit of each field of the result.
        key: the quantity and case; None is the whole result.
    """
    stages = symbolic.stages if key is None else symbolic.stages_of(key)
    stages = tuple(
        stage
        for stage in stages
        if not stage.field or (stage.quantity, stage.case) not in symbolic.reasons
    )
    known = symbolic.made
    own = _units(symbolic, stages, units)
    return tuple(
        _line(symbolic, stage, known, unit) for stage, unit in zip(stages, own, strict=True)
    )


def _units(symbolic: Symbolic, stages: Iterable[Stage], units: Mapping[str, str]) -> Iterator[str]:
    """Yield the unit of each stage; an empty text where it has none."""
    stages = tuple(stages)
    nodes: dict[Stage, Node] = {one: one.node for one in stages if isinstance(one.node, Value)}
    fields = {
        node: units[one.quantity]
        for one, node in nodes.items()
        if one.field and one.quantity in units
    }
    known = units_of(nodes_below(nodes.values()), symbolic.units, fields)
    for one in stages:
        declared = units.get(one.quantity, "") if one.field else ""
        yield declared or (known.get(nodes[one], "") if one in nodes else "")


def _line(symbolic: Symbolic, stage: Stage, known: Mapping[Node, Stage], unit: str) -> Line:
    text = _formula_and_put_in(symbolic, stage, known, unit, Plain())
    latex = _formula_and_put_in(symbolic, stage, known, unit, Latex())
    mathml = [whole(one) for one in _formula_and_put_in(symbolic, stage, known, unit, MathMl())]
    return Line(
        stage.quantity, stage.case,
        text[0], latex[0], mathml[0], text[1], latex[1], mathml[1], stage.value, unit,
    )  # fmt: skip


def _formula_and_put_in(
    symbolic: Symbolic, stage: Stage, known: Mapping[Node, Stage], unit: str, writer: Writer
) -> tuple[str, str]:
    """Return ``x = a + b`` and ``= 1 + 2``; of a constant ``x = 3 W`` and ``= 3 W``."""
    equals = writer.sign("=")
    name = writer.name(stage.quantity, stage.case)
    if not isinstance(stage.node, Value):
        value = number(stage.value, writer).text
        ended = (equals, value) if unit in ("", "1") else (equals, value, writer.unit(unit))
        end = writer.row(*ended)
        return writer.row(name, end), end
    # A field that is an earlier value or an input by another name is only said to be it.
    is_said = known.get(stage.node) is not stage
    formula, put_in = _formula_and_numbers(
        stage.node, known, symbolic.tables, writer, is_said=is_said
    )
    return writer.row(name, equals, formula), writer.row(equals, put_in)


def written(
    left: Callable[[Writer], str],
    node: Node | float,
    known: Mapping[Node, Stage],
    tables: Mapping[Node, str],
) -> Formula:
    """Return what ``left`` writes = a formula, down to inputs and to the stages that are known."""
    lines, numbers = [], []
    for writer in (Plain(), Latex(), MathMl()):
        formula, put_in = _formula_and_numbers(node, known, tables, writer, is_said=True)
        lines.append(writer.row(left(writer), writer.sign("="), formula))
        numbers.append(writer.row(writer.sign("="), put_in))
    return Formula(lines[0], lines[1], whole(lines[2]), numbers[0], numbers[1], whole(numbers[2]))


def _formula_and_numbers(
    node: Node | float,
    known: Mapping[Node, Stage],
    tables: Mapping[Node, str],
    writer: Writer,
    *,
    is_said: bool,
) -> tuple[str, str]:
    """Return a formula, and the same with numbers; ``is_said`` where its own name stands for it."""
    if not isinstance(node, Node):
        text = number(node, writer, LITERAL_DIGITS).text
        return text, text

    def text_on(shown: _Symbols) -> str:
        laid = shown(node) if is_said else None
        return (laid or lay(node, writer, shown, tables)).text

    return text_on(_Symbols(writer, known)), text_on(_Numbers(writer, known))


class _Symbols:
    """What stands for a node: its symbol, where it is an input or a stage of its own."""

    def __init__(self, writer: Writer, known: Mapping[Node, Stage]) -> None:
        self._writer = writer
        self._known = known

    def __call__(self, node: Node) -> Laid | None:
        if node.operation == "input":
            return self._one(node, node.operands[0], None)
        stage = self._known.get(node)
        return None if stage is None else self._one(node, stage.quantity, stage.case)

    def _one(self, node: Node, quantity: str, case: str | None) -> Laid:  # noqa: ARG002
        return Laid(self._writer.name(quantity, case))


class _Numbers(_Symbols):
    """What stands for a node: its number."""

    puts_numbers = True

    def _one(self, node: Node, quantity: str, case: str | None) -> Laid:  # noqa: ARG002
        return number(node.value, self._writer)
