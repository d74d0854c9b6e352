"""A study of a verification for a page: rows of what drives it, formulas of its derivation."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.study import Driver, Line, Study
from closeout.render.numbers import difference_unit, show, show_margin
from closeout.render.page import Formula
from closeout.render.study import how, named


@dataclass(frozen=True, slots=True)
class Step:
    """A line of a hand calculation: formula and numbers put in, then the value with its unit."""

    formulas: tuple[Formula, ...]
    value: str


@dataclass(frozen=True, slots=True)
class Row:
    """What one input does to a quantity, as texts."""

    name: str
    share: str
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class Studied:
    """A study as texts and formulas; ``note`` says why a part of it is missing."""

    name: str
    how: str
    note: str
    drivers: tuple[Row, ...]
    symbolic: str
    steps: tuple[Step, ...]


def studied(study: Study) -> Studied:
    """Return a study as a page shows it."""
    notes = [study.reasons[part] for part in ("sensitivities", "derivation")
             if part in study.reasons]  # fmt: skip
    if study.failure is not None:
        notes.append(f"no study ({study.failure.kind}): {study.failure.message}")
    elif not study.drivers and not notes:
        notes.append("no input has a tolerance here")
    unit = difference_unit(study.unit)
    return Studied(
        name=named(study.quantity, study.case),
        how=how(study.drivers),
        note="; ".join(notes),
        drivers=tuple(_row(one, unit) for one in study.drivers),
        symbolic=study.symbolic or "",
        steps=tuple(_step(line) for line in study.lines),
    )


def _row(one: Driver, unit: str | None) -> Row:
    if one.share is None or one.effect_low is None or one.effect_high is None:
        return Row(one.parameter, "", "no value beside the inputs", "")
    ends = (show_margin(effect, unit) for effect in (one.effect_low, one.effect_high))
    return Row(one.parameter, f"{one.share:.1f} %", *ends)


def _step(line: Line) -> Step:
    formulas = [Formula(line.latex, line.mathml)]
    if line.numbers_latex:
        formulas.append(Formula(line.numbers_latex, line.numbers_mathml))
    value = f"{named(line.quantity, line.case)} = {show(line.value, line.unit, 6)}"
    return Step(tuple(formulas), value)
