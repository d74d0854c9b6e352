"""Evidence by analysis: extents against limits, one entry for each case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from closeout.graph import Asked, Bounds
from closeout.graph.questions import bounds_in
from closeout.judge.limits import Shown, compare, unit_of
from closeout.measure import Units
from closeout.model.answer import Answer, Extent
from closeout.model.dossier import Evidence, State
from closeout.model.question import Failure, Question

Said = dict[str, Any]


def by_analysis(
    said: Said, asked: Asked, replies: Mapping[Question, Answer | Failure], units: Units
) -> list[Evidence]:
    """Return the evidence of a verification by analysis; ``said`` is what is known before."""
    verification, spec, question = asked.verification, asked.spec, asked.question
    said["analysis"] = verification.analysis if spec is None else spec.name
    said["basis"] = str(verification.basis)
    if asked.fault is not None:
        return [Evidence(**said, state=State.ERROR, message=asked.fault)]
    if spec is None or question is None:
        return [Evidence(**said, state=State.OPEN, message=asked.pending)]
    reply = replies[question]
    if isinstance(reply, Failure):
        return [Evidence(**said, state=State.ERROR, message=_told(reply))]
    field = spec.field(verification.criterion.quantity or "")
    assert field is not None
    limits = verification.criterion.limits
    unit = unit_of(limits) or field.unit
    bounds = bounds_in(limits, unit, units) if limits else Bounds()
    shown = Shown(units, field.unit, unit, bounds)
    said |= {
        "assurance": reply.assurance,
        "unit": unit,
        "at_least": shown.at_least,
        "at_most": shown.at_most,
    }
    entries = [
        _case({**said, "case": case}, extent, asked, shown) for case, extent in reply.of(field.name)
    ]
    return _count_cases(entries, verification.criterion.cases_at_least)


def _case(said: Said, extent: Extent, asked: Asked, shown: Shown) -> Evidence:
    if extent.absent is not None or extent.value is None:
        return Evidence(
            **said,
            state=State.NOT_MET,
            value=None if extent.value is None else shown.value(extent.value),
            message=f"no value: {extent.absent}",
            counterexample=_point(extent.low_at, asked),
        )
    if extent.low is None or extent.high is None:
        judged = compare(extent.value, extent.value, asked.bounds)
        value, low, high = shown.judged(extent.value, judged), None, None
    else:
        judged = compare(extent.low, extent.high, asked.bounds)
        value = shown.value(extent.value)
        low, high = shown.judged(extent.low, judged), shown.judged(extent.high, judged)
        low, high = min(low, value), max(high, value)
    failed = judged.state is State.NOT_MET
    at = extent.low_at if judged.margin == judged.under else extent.high_at
    return Evidence(
        **said,
        state=judged.state,
        value=value,
        low=low,
        high=high,
        margin=shown.margin(judged.margin),
        counterexample=_point(at, asked) if failed else (),
    )


def _count_cases(entries: list[Evidence], wanted: int | None) -> list[Evidence]:
    """Apply ``cases: at least N``: where enough cases are met, the others do no harm."""
    if wanted is None:
        return entries
    met = sum(entry.state is State.MET for entry in entries)
    text = f"{met} of {len(entries)} cases meet the limit, {wanted} asked"
    return [
        replace(
            entry,
            state=State.MET if met >= wanted else entry.state,
            message=f"{entry.message}; {text}" if entry.message else text,
        )
        for entry in entries
    ]


def _point(at: tuple[tuple[str, float], ...], asked: Asked) -> tuple[tuple[str, str], ...]:
    """Return a point of the box as texts that ``--set`` reads, with every digit."""
    units = {used.name: used.unit for used in asked.inputs}
    return tuple((name, f"{value!r} {units[name]}".strip()) for name, value in at)


def _told(failure: Failure) -> str:
    first = failure.message.strip().partition("\n")[0] or failure.kind
    return first if failure.kind in ("raised", "timed out") else f"{failure.kind}: {first}"
