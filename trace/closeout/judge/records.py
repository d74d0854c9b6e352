"""Evidence by records: measured values guarded by their uncertainty, and outcomes."""

from __future__ import annotations

import math
from typing import Any

from closeout.graph import Bounds, Index, bounds_in
from closeout.graph.bounds import as_double
from closeout.judge.limits import Extremes, Judged, Judgement, compare, shown_in
from closeout.judge.standing import lack
from closeout.measure import UnitError, Units
from closeout.model.amount import Measured
from closeout.model.dossier import Evidence, State
from closeout.model.records import Record, Requirement, Verification

Said = dict[str, Any]
NOT_MET = "not met"
_WORST_FIRST = (State.NOT_MET, State.ERROR, State.OPEN, State.MET)


def by_records(
    said: Said, requirement: Requirement, verification: Verification, index: Index, units: Units
) -> list[Judgement]:
    """Return the evidence of each record of a verification, at least one entry.

    A record that is replaced by a dated one does not count; one that does not exist is open.
    """
    judged: list[Judgement] = []
    for name in verification.records:
        record = index.records.get(name)
        if record is None:
            judged.append(_open(said, f"there is no record {name} that could be read"))
        elif name not in index.replaced:
            judged.append(_record(said, requirement, verification, record, index, units))
    if judged:
        return judged
    name = verification.records[0]
    return [_open(said, f"{name} is replaced by {index.replaced[name]}, which is not named here")]


def worst(judged: list[Judgement]) -> Judgement:
    """Return the entry that speaks for a verification by several records.

    What is not closed comes before what is, a shortfall before what is open, then the margin.
    """

    def order(one: Judgement) -> tuple[bool, int, float]:
        entry = one.evidence
        margin = math.inf if entry.margin is None else entry.margin
        return entry.closed, _WORST_FIRST.index(entry.state), margin

    return min(judged, key=order)


def _open(said: Said, message: str) -> Judgement:
    return Judgement(Evidence(**said, state=State.OPEN, message=message))


def _record(
    said: Said,
    requirement: Requirement,
    verification: Verification,
    record: Record,
    index: Index,
    units: Units,
) -> Judgement:
    said = {**said, "record": record.id}
    criterion = verification.criterion
    why_not = lack(requirement, verification, record, index, units)
    if why_not is not None:
        return _open(said, why_not)
    if criterion.quantity is None or not criterion.limits:
        if record.outcome is None:
            return _open(said, f"{record.id} has no outcome")
        state = State.NOT_MET if record.outcome == NOT_MET else State.MET
        return Judgement(Evidence(**said, state=state))
    judged = _of_quantity(said, verification, record, units)
    if record.outcome == NOT_MET and judged.evidence.state is not State.NOT_MET:
        # Bad news is never hidden: by a number beside it no more than by anything else.
        text = f"the outcome of {record.id} is not met, whatever it measures"
        return Judgement(Evidence(**said, state=State.NOT_MET, message=text))
    return judged


def _of_quantity(said: Said, verification: Verification, record: Record, units: Units) -> Judgement:
    quantity = verification.criterion.quantity
    measured = dict(record.measured).get(quantity or "")
    if measured is None:
        return _open(said, f"{record.id} measures no {quantity}")
    try:
        return _measured(said, verification, measured, units)
    except UnitError as wrong:
        return Judgement(Evidence(**said, state=State.ERROR, message=wrong.message))


def _measured(
    said: Said, verification: Verification, measured: Measured, units: Units
) -> Judgement:
    """Judge a measured value guarded by its uncertainty (JCGM 106:2012, guarded acceptance).

    Met where the value less its expanded uncertainty reaches the limit, not met where the value
    plus it does not; between the two it is open.
    """
    limits = verification.criterion.limits
    if measured.uncertainty is None:
        text = (
            f"{said['record']} gives no uncertainty of {verification.criterion.quantity},"
            " and acceptance is guarded by it"
        )
        return Judgement(Evidence(**said, state=State.ERROR, message=text))
    own, value = measured.value.unit, measured.value.number
    half = units.tolerance(measured.value, measured.uncertainty, own)
    low, high = as_double(value - half, own), as_double(value + half, own)
    bounds, shown = bounds_in(limits, own, units), shown_in(units, own, limits)
    surely = compare(low, high, bounds)
    state, message = _guarded(low, high, bounds, surely)
    evidence = Evidence(
        **{**said, "unit": shown.unit},
        state=state,
        message=message,
        value=shown.value(min(max(as_double(value, own), low), high)),
        low=shown.value(low),
        high=shown.value(high),
        margin=shown.margin(surely.margin),
    )
    return Judgement(evidence, Extremes(own, low, high, bounds))


def _guarded(low: float, high: float, bounds: Bounds, surely: Judged) -> tuple[State, str | None]:
    if surely.state is State.MET:
        return State.MET, None
    under = bounds.at_least is not None and high < bounds.at_least
    over = bounds.at_most is not None and low > bounds.at_most
    if under or over:
        return State.NOT_MET, None
    return State.OPEN, "inconclusive: the limit lies inside the uncertainty"
