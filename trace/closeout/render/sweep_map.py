"""A sweep over two parameters as a map of characters: which requirements do not hold, and where."""

from __future__ import annotations

from collections.abc import Iterator
from string import ascii_lowercase, ascii_uppercase

from closeout.model.sweep import BETWEEN, Sweep
from closeout.render.numbers import show_margin
from closeout.render.plain import flow, safe
from closeout.render.sweep_cells import (
    Cell,
    at,
    label,
    named,
    nominal_only,
    smallest,
    subject,
)
from closeout.render.terminal import Paint, wrap

ALL_HOLD = "+"
_MOST_LETTERS = 3


def letters(sweep: Sweep) -> dict[int, str]:
    """Return a letter for each verification that does not hold at some point, by its place."""
    failing = [i for i, row in enumerate(sweep.found) if not all(one.holds for one in row)]
    known = ascii_uppercase + ascii_lowercase
    return {place: known[n] if n < len(known) else f"({n + 1})" for n, place in enumerate(failing)}


def map_lines(sweep: Sweep, cells: list[list[Cell]], paint: Paint, width: int) -> Iterator[str]:
    """Yield the map, its answer first, and below it what the letters stand for."""
    marks, holding = letters(sweep), sweep.holding()
    number = len(sweep.requirements)
    who = f"All {number} requirements hold" if number > 1 else "The one requirement holds"
    nominal = nominal_only(sweep)
    text = f"{who} at {sum(holding)} of {len(holding)} points tried ({ALL_HOLD}){nominal}"
    yield from map(paint.strong, wrap(f"{text}; {BETWEEN}.", width, 0))
    yield ""
    yield from _grid(sweep, marks, paint, width)
    yield ""
    for place, row in enumerate(cells):
        yield from wrap(f"{marks.get(place, ' ')}  {_about(sweep, place, row)}", width, 2)


def _grid(sweep: Sweep, marks: dict[int, str], paint: Paint, width: int) -> Iterator[str]:
    across, up = sweep.axes
    heads = [label(across, tried) for tried in across.tried]
    sides = [label(up, tried) for tried in up.tried]
    texts = [_marked(sweep, marks, point) for point in range(len(sweep.points))]
    column = 1 + max(len(text) for text in (*heads, *texts))
    left = max(map(len, sides))
    fit = max(1, (width - left - 5) // column)
    for first in range(0, len(heads), fit):
        part = range(first, min(first + fit, len(heads)))
        yield f"  {named(up)}"
        for row in reversed(range(len(sides))):
            places = [place * len(sides) + row for place in part]
            shown = "".join(_painted(texts[place], column, paint) for place in places)
            yield f"  {sides[row].rjust(left)} |{shown}"
        yield f"  {' ' * left} +{'-' * (column * len(part))}"
        below = "".join(heads[place].rjust(column) for place in part)
        yield f"  {' ' * left}  {below}"
        yield f"  {' ' * left}  {named(across)}"


def _marked(sweep: Sweep, marks: dict[int, str], point: int) -> str:
    failing = [mark for place, mark in marks.items() if not sweep.found[place][point].holds]
    if len(failing) > _MOST_LETTERS:
        return "".join(failing[: _MOST_LETTERS - 1]) + f"+{len(failing) - _MOST_LETTERS + 1}"
    return "".join(failing) or ALL_HOLD


def _painted(text: str, column: int, paint: Paint) -> str:
    shown = text.rjust(column)
    return shown if text == ALL_HOLD else paint.bad(shown)


def _about(sweep: Sweep, place: int, row: list[Cell]) -> str:
    followed = sweep.followed[place]
    holding_points = sum(cell.holds for cell in row)
    where = f"holds at {holding_points} of {len(row)} points"
    parts = [f"{subject(followed)}, {flow(followed.limit)}: {where}"]
    least = smallest(row)
    if least is not None and (margin := row[least].margin) is not None:
        shown = show_margin(margin, row[least].unit or None)
        sure = row[least].assurance
        how = "" if sure is None else f" ({sure.value})"
        parts.append(f"smallest margin {shown}{how} at {at(sweep, sweep.points[least])}")
    reasons = dict.fromkeys(cell.reason for cell in row if cell.reason)
    parts += [_where(sweep, row, reason) for reason in reasons]
    return "; ".join(parts)


def _where(sweep: Sweep, row: list[Cell], reason: str) -> str:
    places = [n for n, cell in enumerate(row) if cell.reason == reason]
    first = at(sweep, sweep.points[places[0]])
    more = f" and {len(places) - 1} more points" if len(places) > 1 else ""
    return f"{row[places[0]].state.value} at {safe(first)}{more}: {reason}"
