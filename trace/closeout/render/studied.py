"""A study of a verification for a page: rows of what drives it, formulas of its derivation."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.model.difference_unit import difference_unit
from closeout.model.study import Driver, Line, Study
from closeout.render.hand_sum import paired
from closeout.render.numbers import show, show_margin
from closeout.render.page import Formula
from closeout.render.picture import bars, boundary_svg
from closeout.render.plain import flow, safe
from closeout.render.study import (
    edge_row,
    ends_row,
    has_no_effect,
    how,
    named,
    not_turning,
    quantile_words,
    searched_row,
    sobol_rows,
)
from closeout.render.trace_by_hand import (
    DIGITS,
    HERE,
    THERE,
    Function,
    Points,
    functions,
    tables_alone,
)

# Characters of a formula that a printed page takes in one line.
WIDEST = 80
# So many parameters that turn nothing stand in a sentence; more are a table in an annex.
IN_A_SENTENCE = 6


@dataclass(frozen=True, slots=True)
class Step:
    """A line of a hand calculation: its formula, numbers put in with their value, at each point.

    A formula that is too long for a page is plain text, which breaks.
    """

    formula: Formula | str
    points: tuple[tuple[str, Formula | str, str], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """What one input does to a quantity, as texts."""

    name: str
    share: str
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class EdgeRow:
    """Where the criterion turns along one parameter, as texts."""

    others: str
    name: str
    now: str
    turns: str
    away: str


@dataclass(frozen=True, slots=True)
class Studied:
    """A study as texts, formulas and pictures; ``note`` says why a part of it is missing.

    ``idle`` are inputs without an effect, ``unturned`` rows of those that alone turn nothing: other
    parameters, input, from where to where it was searched.
    """

    name: str
    how: str
    note: str
    ends: tuple[tuple[str, ...], ...]
    quantiles: str
    drivers: tuple[Row, ...]
    idle: str
    bars: str
    indices: tuple[tuple[str, str, str], ...]
    edges: tuple[EdgeRow, ...]
    turns: str
    unturned: tuple[tuple[str, str, str, str], ...]
    boundary: str
    symbolic: str
    steps: tuple[Step, ...]
    functions: tuple[Function, ...]
    tables: tuple[Points, ...]
    without_unit: bool


def studied(study: Study, of: str = "") -> Studied:
    """Return a study as a page shows it; ``of`` tells it from another one of the same quantity."""
    notes = [f"{part}: {reason}" for part, reason in study.reasons.items()]
    if study.failure is not None:
        notes.append(flow(study.failure.message))
    elif not study.drivers and not notes:
        notes.append("no input has a tolerance here")
    unit = difference_unit(study.unit)
    return Studied(
        name=f"{named(study.quantity, study.case)}{of}",
        how=how(study.drivers),
        note="; ".join(notes),
        ends=tuple(ends_row(one, study.unit) for one in study.ends),
        quantiles="" if study.quantiles is None else quantile_words(study),
        drivers=tuple(_row(one, unit) for one in study.drivers if not has_no_effect(one)),
        idle=", ".join(safe(one.parameter) for one in study.drivers if has_no_effect(one)),
        bars=bars(study.drivers, unit) or "",
        indices=tuple(sobol_rows(study)),
        edges=tuple(
            EdgeRow(one.other_inputs, *edge_row(one))
            for one in study.edges
            if one.value is not None
        ),
        turns=_turns(study),
        unturned=_unturned(study),
        boundary=boundary_svg(study.boundary) if study.boundary and study.boundary.turns else "",
        symbolic=study.symbolic or "",
        steps=tuple(_steps(study)),
        functions=tuple(functions(study)),
        tables=tuple(tables_alone(study)),
        without_unit=any(not line.unit for line in study.lines),
    )


def _unturned(study: Study) -> tuple[tuple[str, str, str, str], ...]:
    """Return the parameters that alone turn nothing, where they are too many for a sentence."""
    idle = [one for one in study.edges if one.value is None]
    if len(idle) <= IN_A_SENTENCE:
        return ()
    return tuple((one.other_inputs, *searched_row(one)) for one in idle)


def _turns(study: Study) -> str:
    """Return what is said where no parameter alone turns the verdict, nor the two together."""
    said = []
    for others in () if _unturned(study) else ("nominal", "worst"):
        message = not_turning([one for one in study.edges if one.other_inputs == others])
        if message:
            said.append(f"Other parameters at {others}: {message}.")
    if study.boundary is not None and not study.boundary.turns:
        names = (
            f"{safe(study.boundary.first.parameter)} and {safe(study.boundary.second.parameter)}"
        )
        said.append(f"Together: no break-even within four tolerances of {names}.")
    return " ".join(said)


def _row(one: Driver, unit: str | None) -> Row:
    if one.share is None or one.effect_low is None or one.effect_high is None:
        return Row(one.parameter, "", "no value near the inputs", "")
    ends = (show_margin(effect, unit) for effect in (one.effect_low, one.effect_high))
    return Row(one.parameter, f"{one.share:.1f} %", *ends)


def _steps(study: Study) -> Iterator[Step]:
    """Yield the steps with the numbers at the inputs, then those where the box decides."""
    there = () if study.worst is None else study.worst.lines
    for line, other in paired(study.lines, there):
        points = [_put_in(HERE, line)]
        if other is not None and other.value != line.value:
            points.append(_put_in(THERE, other))
        yield Step(_fitting(line.latex, line.mathml, line.text), tuple(points))


def _put_in(where: str, line: Line) -> tuple[str, Formula | str, str]:
    value = f"{named(line.quantity, line.case)} = {show(line.value, line.unit, DIGITS)}"
    put_in = _fitting(line.numbers_latex, line.numbers_mathml, line.numbers_text)
    return where, put_in, value


def _fitting(latex: str, mathml: str, text: str) -> Formula | str:
    """Return a formula as it is typeset, or as plain text where no page is wide enough for it."""
    return Formula(latex, mathml) if len(text) <= WIDEST else flow(text)
