"""The derivation of a studied quantity as text, with what is needed to do it again by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from closeout.model.difference_unit import difference_unit
from closeout.model.study import Line, Study
from closeout.render.hand_sum import NO_UNIT, paired
from closeout.render.numbers import show, with_unit
from closeout.render.plain import flow, safe
from closeout.render.study import because, columns_of, named
from closeout.render.terminal import Paint, wrap
from closeout.render.trace_by_hand import (
    DIGITS,
    HERE,
    RESULT,
    THERE,
    Called,
    Function,
    Points,
    Row,
    functions,
    moved,
    tables_alone,
)


def derivation_lines(
    study: Study, sums: Sequence[str], paint: Paint, width: int, *, latex: bool
) -> Iterator[str]:
    """Yield the worst case of a studied quantity, its derivation and the functions in it.

    Nothing where the study failed. ``sums`` are the steps from its value to the margin.
    """
    if study.failure is not None:
        return
    name = named(study.quantity, study.case)
    yield from ("", "    " + paint.strong(f"Worst case: {name}"))
    for text in sums:
        yield from wrap(text, width, 6)
    yield from _moved(moved(study), width)
    yield from ("", "    " + paint.strong(f"Derivation: {name}"))
    yield from _derivation(study, width, latex)
    used, alone = functions(study), tables_alone(study)
    if used or alone:
        yield from ("", "    " + paint.strong(f"Functions and tables: {name}"))
        for one in used:
            yield from _function(one, width)
        for table in alone:
            yield from _table(table, width, 6)


def _moved(rows: Sequence[Row], width: int) -> Iterator[str]:
    if rows:
        named = ((row.name, row.here, row.there) for row in rows)
        yield from columns_of([("argument", HERE, THERE), *named])
        yield from wrap("the other arguments are as at the inputs", width, 6)


def _function(one: Function, width: int) -> Iterator[str]:
    yield from wrap(f"{one.name}, {one.place}", width, 6)
    yield from wrap(flow(one.doc), width, 8)
    for call in one.calls:
        yield from wrap(f"{HERE}: {_call(call, here=True)}", width, 8)
        if any(row.moves for row in (*call.took, *call.gave)):
            yield from wrap(f"{THERE}: {_call(call, here=False)}", width, 8)
    for table in one.tables:
        yield from _table(table, width, 8)


def _call(call: Called, *, here: bool) -> str:
    return f"{_listed(call.took, here)} -> {_listed(call.gave, here)}"


def _listed(rows: Iterable[Row], here: bool) -> str:
    pairs = ((row.name, row.here if here else row.there) for row in rows)
    return ", ".join(text if name == RESULT else f"{name} = {text}" for name, text in pairs)


def _table(table: Points, width: int, indent: int) -> Iterator[str]:
    points = "; ".join(f"{x}: {y}" for x, y in table.points)
    yield from wrap(f"points of {table.name}, straight lines between: {points}", width, indent)


def _derivation(study: Study, width: int, latex: bool) -> Iterator[str]:
    yield from because(study, "derivation", width)
    if study.symbolic is not None:
        yield from wrap(f"no symbolic form: {flow(study.symbolic)}", width, 6)
    there = () if study.worst is None else study.worst.lines
    for line, other in paired(study.lines, there):
        yield from wrap(_formula(line, latex), _whole(width, latex), 6)
        differs = other is not None and other.value != line.value
        yield from _put_in(line, HERE if differs else "", width, latex)
        if other is not None and differs:
            yield from _put_in(other, THERE, width, latex)
    yield from _differentiated(study, width, latex)
    if any(not line.unit for line in study.lines):
        yield from wrap(NO_UNIT, width, 6)


def _differentiated(study: Study, width: int, latex: bool) -> Iterator[str]:
    """Yield the derivatives by the strongest drivers, as formulas with their numbers."""
    if study.slopes:
        yield from wrap("its derivatives by the strongest drivers, at the inputs", width, 6)
    for slope in study.slopes:
        of = with_unit("1", difference_unit(slope.unit))
        value = show(slope.value, difference_unit(study.unit), 6)
        value = safe(f"{value} for {of}")
        if slope.reason is not None:
            text = f"by {safe(slope.parameter)}: {value}; {flow(slope.reason)}"
            yield from wrap(text, width, 6)
            continue
        formula = slope.latex if latex else slope.text
        numbers = slope.numbers_latex if latex else slope.numbers_text
        yield from wrap(safe(formula.strip()), 10**6 if latex else width, 6)
        yield from wrap(safe(numbers.strip()), 10**6 if latex else width, 8)
        yield f"        = {value}"
    yield from because(study, "differentiated", width)


def _whole(width: int, latex: bool) -> int:
    """Return the width of a formula: one on its way to LaTeX has no break, to be taken whole."""
    return 10**6 if latex else width


def _formula(line: Line, latex: bool) -> str:
    return safe(line.latex.strip()) if latex else flow(line.text)


def _put_in(line: Line, where: str, width: int, latex: bool) -> Iterator[str]:
    """Yield the numbers put in, unless the value is only named, and the value."""
    numbers = safe(line.numbers_latex.strip()) if latex else flow(line.numbers_text)
    value = f"= {show(line.value, safe(line.unit), DIGITS)}"
    if where:
        yield f"        {where}"
    if numbers and (latex or numbers != value):
        yield from wrap(numbers, _whole(width, latex), 8)
    yield f"        {value}"
