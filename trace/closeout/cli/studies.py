"""Studies of verifications by analysis: each asked at the case with the least margin."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from closeout.arithmetic.break_even import worst_corner
from closeout.evaluate.engine import Evaluator, Reply
from closeout.graph import Asked, Bounds, Index, Plan
from closeout.measure import UnitError, Units
from closeout.model.answer import Answer, Extent
from closeout.model.dossier import InputUsed
from closeout.model.question import AnalysisSpec, Failure, Question
from closeout.model.study import Driver, Edge, Line, Study

Key = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Of which requirements studies are wanted (None: all), and whether with break-even values.

    Break-even values take most of the evaluations of a study.
    """

    requirements: Collection[str] | None
    break_even: bool


def studies(
    wanted: Wanted,
    plan: Plan,
    index: Index,
    units: Units,
    evaluator: Evaluator,
    replies: Mapping[Question, Reply],
) -> tuple[Study, ...]:
    """Return a study of each wanted verification that asks something and has an answer.

    ``replies`` are those that are known already. Whatever the basis, the worst case of the box
    says where the others are worst.
    """
    specs = {spec.name: spec for spec in index.specs}
    asking = plan.of(wanted.requirements).asked.items()
    worst = {key: _worst_case(one) for key, one in asking if one.question is not None}
    missing = [question for question in worst.values() if question not in replies]
    known = {**replies, **evaluator.answer(dict.fromkeys(missing), specs)}
    ready: dict[Key, tuple[Asked, AnalysisSpec, Question, str | None]] = {}
    for key, question in worst.items():
        asked, answer = plan.asked[key], known[question].result
        if asked.spec is not None and isinstance(answer, Answer):
            found = _question(asked, asked.spec, question, answer, wanted.break_even)
            if found is not None:
                ready[key] = (asked, asked.spec, *found)
    told = evaluator.study(dict.fromkeys(question for *_, question, _ in ready.values()), specs)
    return tuple(
        _study(key, asked, spec, case, told[question], index, units)
        for key, (asked, spec, question, case) in ready.items()
    )


def _worst_case(asked: Asked) -> Question:
    assert asked.question is not None
    return replace(asked.question, kind="worst case", detail="")


def _question(
    asked: Asked, spec: AnalysisSpec, worst: Question, answer: Answer, break_even: bool
) -> tuple[Question, str | None] | None:
    """Return the question of a study and the case that it is of; None where none has a value."""
    quantity, bounds = asked.verification.criterion.quantity or "", asked.tightened
    cases = [
        (_margin(extent, bounds), number, case, extent)
        for number, (case, extent) in enumerate(answer.of(quantity))
        if extent.value is not None and extent.absent is None
    ]
    if not cases:
        return None
    _, _, case, extent = min(cases, key=lambda one: one[:2])
    limits = (bounds.at_least, bounds.at_most) if break_even else (None, None)
    detail = {
        "quantity": quantity,
        "case": case,
        "at_least": limits[0],
        "at_most": limits[1],
        "corner": worst_corner(extent, limits) if break_even else (),
        "units": {field.name: field.unit for field in spec.fields},
    }
    text = json.dumps(detail, separators=(",", ":"))
    return replace(worst, kind="study", detail=text), case


def _margin(extent: Extent, bounds: Bounds) -> float:
    assert extent.value is not None
    low = extent.value if extent.low is None else extent.low
    high = extent.value if extent.high is None else extent.high
    under = float("inf") if bounds.at_least is None else low - bounds.at_least
    over = float("inf") if bounds.at_most is None else bounds.at_most - high
    return min(under, over)


def _study(
    key: Key,
    asked: Asked,
    spec: AnalysisSpec,
    case: str | None,
    told: dict[str, Any] | Failure,
    index: Index,
    units: Units,
) -> Study:
    quantity = asked.verification.criterion.quantity or ""
    field = spec.field(quantity)
    study = Study(*key, spec.name, quantity, case, "" if field is None else field.unit)
    if isinstance(told, Failure):
        return replace(study, failure=told)
    inputs = {used.name: used for used in asked.inputs}
    return replace(
        study,
        symbolic=told["symbolic"],
        drivers=tuple(Driver(*row) for row in told["sensitivities"]),
        edges=tuple(_edge(row, inputs, index, units) for row in told["break_even"]),
        lines=tuple(Line(*row) for row in told["derivation"]),
        reasons=dict(told["reasons"]),
    )


def _edge(row: list[Any], inputs: Mapping[str, InputUsed], index: Index, units: Units) -> Edge:
    """Return a break-even value in the unit in which the project gives the parameter."""
    name, value, *rest = row
    used = inputs[name]
    own = index.parameters[name].value.unit
    now, shown = _in(own, used.value, used.unit, units), _in(own, value, used.unit, units)
    if now is None or (shown is None and value is not None):  # beyond the doubles in that unit
        own, now, shown = used.unit, used.value, value
    return Edge(name, own, now, shown, *rest)


def _in(own: str, value: float | None, unit: str, units: Units) -> float | None:
    if value is None or own == unit:
        return value
    try:
        return float(units.convert_number(Fraction(value), unit, own))
    except (UnitError, OverflowError):
        return None
