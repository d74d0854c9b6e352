"""A sweep as text: first where all requirements hold and what ends that, then the margins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from closeout.model.answer import Assurance
from closeout.model.sweep import BETWEEN, Followed, Sweep, Window, runs
from closeout.render import words
from closeout.render.numbers import show_margin
from closeout.render.plain import count, cut, flow, safe
from closeout.render.sweep_cells import (
    Cell,
    at,
    cells_of,
    label,
    named,
    nominal_only,
    smallest,
    span,
    subject,
    value,
)
from closeout.render.sweep_map import map_lines
from closeout.render.terminal import Paint, wrap

SMALLEST = "*"
_LEAST_COLUMN = 7


def sweep_text(sweep: Sweep, *, colour: bool, width: int) -> str:
    """Return a sweep for a terminal of so many columns."""
    paint, cells = Paint(colour), cells_of(sweep)
    lines = [*_head(sweep, paint, width), ""]
    if len(sweep.axes) == 1:
        lines += [*_answer(sweep, cells, paint, width), "", *_table(sweep, cells, paint, width)]
    else:
        lines += map_lines(sweep, cells, paint, width)
    notes = [*_notes(sweep, cells)]
    lines += ["", *(line for note in notes for line in wrap(note, width, 0))]
    return "\n".join([*lines, words.CAUTION_LINE]) + "\n"


def _head(sweep: Sweep, paint: Paint, width: int) -> Iterator[str]:
    dossier = sweep.dossier
    for axis in sweep.axes:
        ends = f"{value(axis, 0)} to {value(axis, len(axis.tried) - 1)}"
        text = f"Sweep of {safe(axis.parameter)} from {ends}, {len(axis.tried)} points; declared"
        yield paint.strong(cut(f"{text} {flow(axis.declared)}", width))
    said = f"{safe(dossier.project)}: {words.judged(dossier)}, {words.snapshot(dossier)}"
    yield from wrap(said, width, 0)
    for text in words.banners(dossier):
        yield from wrap(text, width, 0)
    if dossier.only:
        asked = " ".join(f"--only {safe(text)}" for text in dossier.only)
        yield from wrap(f"of the requirements {asked}; others may end the window sooner", width, 0)


def _answer(sweep: Sweep, cells: list[list[Cell]], paint: Paint, width: int) -> Iterator[str]:
    """Yield the windows in which all hold, and what ends each of them."""
    axis, nowhere = sweep.axes[0], sweep.nowhere
    windows = sweep.windows()
    who = all_of(sweep)
    for place in nowhere:
        text = f"{subject(sweep.followed[place])} holds at no value tried{_because(cells[place])}"
        yield from map(paint.bad, wrap(text, width, 0))
    if len(nowhere) == len(sweep.followed):
        return
    if not windows:
        text = f"At no value tried do {who} hold together; {BETWEEN}."
        yield from map(paint.strong, wrap(text, width, 0))
        yield from _each(sweep, width)
    for window in windows:
        tried = window.last - window.first + 1
        where = span(axis, window.first, window.last, "from ")
        text = f"{who[0].upper()}{who[1:]} {'hold' if _many(sweep) else 'holds'} {where}"
        points = f"{tried} of {len(axis.tried)} points tried{nominal_only(sweep)}"
        yield from map(paint.strong, wrap(f"{text}: {points}; {BETWEEN}.", width, 0))
        yield from _ends(sweep, window, cells, width)


def _each(sweep: Sweep, width: int) -> Iterator[str]:
    """Yield where each of them holds that does not hold everywhere."""
    axis = sweep.axes[0]
    for followed, row in zip(sweep.followed, sweep.found, strict=True):
        flags = tuple(found.holds for found in row)
        if any(flags) and not all(flags):
            parts = [span(axis, first, last) for first, last in runs(flags)]
            yield from wrap(f"{subject(followed)} holds at {' and '.join(parts)}", width, 2)


def _many(sweep: Sweep) -> bool:
    return _left(sweep) != 1


def _left(sweep: Sweep) -> int:
    nowhere = {sweep.followed[place].key for place in sweep.nowhere}
    left = [one.requirement for one in sweep.followed if one.key not in nowhere]
    return len(dict.fromkeys(left))


def all_of(sweep: Sweep) -> str:
    """Return ``all 9 requirements``, less those verifications that hold nowhere."""
    number, names = _left(sweep), " and ".join(safe(axis.parameter) for axis in sweep.axes)
    if number == 1:
        return f"the one requirement that rests on {names}"
    others = "the other" if sweep.nowhere else "all"
    return f"{others} {number} requirements that rest on {names}"


def _because(cells: Sequence[Cell]) -> str:
    reasons = dict.fromkeys(cell.reason for cell in cells if cell.reason)
    if len(reasons) == 1:
        return f": {next(iter(reasons))}"
    place = smallest(list(cells))
    best = max((c.margin for c in cells if c.margin is not None), default=None)
    return (
        "" if place is None or best is None else f": best margin {_with_unit(best, cells[place])}"
    )


def _with_unit(margin: float, cell: Cell) -> str:
    return show_margin(margin, cell.unit or None)


def _ends(sweep: Sweep, window: Window, cells: list[list[Cell]], width: int) -> Iterator[str]:
    axis = sweep.axes[0]
    sides = (
        ("below", window.first - 1, window.below, value(axis, 0)),
        ("above", window.last + 1, window.above, value(axis, len(axis.tried) - 1)),
    )
    for side, point, ending, edge in sides:
        if not ending:
            yield f"  {side}: nothing ends it up to the end of the sweep, {edge}"
            continue
        ended_by = "; ".join(
            f"{subject(sweep.followed[place])} {_said(cells[place][point])}" for place in ending
        )
        yield from wrap(f"{side}: ended at {value(axis, point)} by {ended_by}", width, 2)


def _said(cell: Cell) -> str:
    text = cell.state.value
    if cell.margin is not None:
        text += f", margin {_with_unit(cell.margin, cell)}"
    if cell.case:
        text += f" ({safe(cell.case)})"
    return f"{text}: {cell.reason}" if cell.reason else text


def _table(sweep: Sweep, cells: list[list[Cell]], paint: Paint, width: int) -> Iterator[str]:
    """Yield the margins: a verification takes a line of words, and one of figures below it."""
    axis = sweep.axes[0]
    heads = [label(axis, tried) for tried in axis.tried]
    figures = [[cell.text + _mark(cell, row) for cell in row] for row in cells]
    for texts, marked in zip(figures, map(smallest, cells), strict=True):
        if marked is not None and len({*texts}) > 1:
            texts[marked] += SMALLEST
    column = 1 + max(_LEAST_COLUMN, *(len(text) for row in (heads, *figures) for text in row))
    fit = max(1, (width - 2) // column)
    for first in range(0, len(heads), fit):
        part = slice(first, first + fit)
        yield paint.strong(f"Margins over {named(axis)}")
        yield "  " + "".join(head.rjust(column) for head in heads[part])
        for followed, row, texts in zip(sweep.followed, cells, figures, strict=True):
            yield cut(f"  {_described(followed, row)}", width)
            shown = zip(row[part], texts[part], strict=True)
            yield "  " + "".join(_painted(c, text.rjust(column), paint) for c, text in shown)
            if first + fit >= len(heads):
                yield from _reasons(sweep, row, width)


def _painted(cell: Cell, text: str, paint: Paint) -> str:
    return text if cell.holds else paint.bad(text)


def _described(followed: Followed, row: Sequence[Cell]) -> str:
    unit = next((cell.unit for cell in row if cell.unit), "")
    parts = [f"{subject(followed)}: {flow(followed.limit)}"]
    parts.append(f"in {unit}" if unit not in ("", "1") else "margin")
    parts.append(how_sure(row))
    if followed.review:
        parts.append(f"due at {safe(followed.review)}")
    return ", ".join(part for part in parts if part)


def how_sure(row: Sequence[Cell]) -> str:
    """Return how surely the margins of a row are known; with marks where not all are alike."""
    first, *others = kinds_of(row) or ("",)
    return ", ".join((first, *(f"{kind[0]} {kind}" for kind in others)))


def kinds_of(row: Sequence[Cell]) -> tuple[str, ...]:
    """Return how surely the margins of a row are known, the surest first."""
    used = {cell.assurance for cell in row if cell.assurance is not None}
    return tuple(one.value for one in Assurance if one in used)


def _mark(cell: Cell, row: Sequence[Cell]) -> str:
    """Return the letter of a margin that is known less surely than others of its row."""
    others = kinds_of(row)[1:]
    kind = "" if cell.assurance is None or cell.margin is None else cell.assurance.value
    return kind[0] if kind in others else ""


def _reasons(sweep: Sweep, row: Sequence[Cell], width: int) -> Iterator[str]:
    """Yield why there is no margin, for points one after another with one reason."""
    place = 0
    for reason, some in groupby(row, lambda cell: (cell.state.value, cell.reason)):
        number = len([*some])
        points = [at(sweep, point) for point in sweep.points[place : place + number]]
        place += number
        if reason[1]:
            where = points[0] if number == 1 else f"{points[0]} to {points[-1]}"
            yield from wrap(f"at {where} {reason[0]}: {reason[1]}", width, 4)


def _notes(sweep: Sweep, cells: list[list[Cell]]) -> Iterator[str]:
    marked = any(cell.covered_by for row in cells for cell in row)
    if len(sweep.axes) == 1:
        yield f"{SMALLEST} smallest margin of the row" + ("; w under waiver" if marked else "")
    used = {cell.assurance for row in cells for cell in row if cell.assurance is not None}
    for one in Assurance:
        if one in used:
            text = words.ASSURANCE[one]
            yield text if text.startswith(one.value) else f"{one.value}: {text}"
    yield from notes(sweep)


def notes(sweep: Sweep) -> Iterator[str]:
    """Yield what has to be known to read a sweep rightly, in any form."""
    if any(one.nominal for one in sweep.followed):
        yield (
            "at nominal values: the worst case can only be searched; conditions that are given as a"
            " range are at their worse end; --whole searches at each point"
        )
    for axis in sweep.axes:
        replaced = [one for one in sweep.followed if axis.parameter in one.replaced]
        given = list(dict.fromkeys(safe(one.requirement) for one in replaced))
        if given:
            yield (
                f"{safe(axis.parameter)} is a condition that {', '.join(given)}"
                f" {'gives' if len(given) == 1 else 'give'}: the values of the sweep stand in"
                " its place, as with --set"
            )
        if axis.whole:
            yield f"{safe(axis.parameter)}: whole numbers only"
    yield f"at each point the value moves and the declared spread stays, as with --set; {BETWEEN}"


def estimate_text(seconds: float, evaluations: int) -> str:
    """Return what a sweep will take, as the first point says."""
    if seconds < 1.0:
        text = "less than 1 s"
    elif seconds < 120.0:
        text = f"about {seconds:.0f} s"
    else:
        text = f"about {seconds / 60.0:.0f} min"
    left = count(evaluations, "evaluation")
    return f"{left} to go, {text} of processor time by the first point; what is kept takes none"
