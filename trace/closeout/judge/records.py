"""Evidence by records: measured values guarded by their uncertainty, and outcomes."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

from closeout.graph import Bounds, Index
from closeout.graph.questions import bounds_in
from closeout.judge.limits import Judged, Shown, compare, unit_of
from closeout.measure import UnitError, Units
from closeout.model.amount import Measured
from closeout.model.dossier import Evidence, State
from closeout.model.records import Record, Requirement, Verification

Said = dict[str, Any]
# The worst record of a verification speaks for it.
_WORST_FIRST = (State.NOT_MET, State.ERROR, State.OPEN, State.MET)


def by_records(
    said: Said, requirement: Requirement, verification: Verification, index: Index, units: Units
) -> Evidence:
    """Return the evidence of a verification by its records; one that is replaced does not count."""
    known = [index.records[name] for name in verification.records if name in index.records]
    replaced = {record.replaces for record in known if record.date is not None}
    counted = [record for record in known if record.id not in replaced]
    if not counted:
        return Evidence(**said, state=State.OPEN, message="its records do not exist")
    entries = [_record(said, requirement, verification, record, units) for record in counted]
    return min(
        entries,
        key=lambda e: (_WORST_FIRST.index(e.state), math.inf if e.margin is None else e.margin),
    )


def _record(
    said: Said, requirement: Requirement, verification: Verification, record: Record, units: Units
) -> Evidence:
    said = {**said, "record": record.id}
    criterion = verification.criterion
    lack = _lack(requirement, record)
    if lack is not None:
        return Evidence(**said, state=State.OPEN, message=lack)
    if criterion.quantity is None or not criterion.limits:
        if record.outcome is None:
            return Evidence(**said, state=State.OPEN, message=f"{record.id} has no outcome")
        return Evidence(**said, state=State.MET if record.outcome == "met" else State.NOT_MET)
    measured = dict(record.measured).get(criterion.quantity)
    if measured is None:
        text = f"{record.id} measures no {criterion.quantity}"
        return Evidence(**said, state=State.OPEN, message=text)
    try:
        return _measured(said, verification, measured, units)
    except UnitError as wrong:
        return Evidence(**said, state=State.ERROR, message=wrong.message)


def _lack(requirement: Requirement, record: Record) -> str | None:
    """Return why a record is no evidence (yet) of this issue of a requirement."""
    if record.date is None:
        return f"{record.id} is planned, it has no date yet"
    judged = dict(record.judged)
    was = judged.get(requirement.id)
    if not judged or was == requirement.issue:
        return None
    if was is None:
        return f"{record.id} does not say that it judged {requirement.id}"
    return f"re-opened: {record.id} judged issue {was}, the requirement is at {requirement.issue}"


def _measured(said: Said, verification: Verification, measured: Measured, units: Units) -> Evidence:
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
        return Evidence(**said, state=State.ERROR, message=text)
    own = measured.value.unit
    unit = unit_of(limits) or own
    half = units.tolerance(measured.value, measured.uncertainty, own)
    shown = Shown(units, own, unit, bounds_in(limits, unit, units))
    bounds = bounds_in(limits, own, units)
    value = measured.value.number
    low, high = float(value - half), float(value + half)
    surely = compare(low, high, bounds)
    state, message = _guarded(low, high, bounds, surely)
    return Evidence(
        **said,
        state=state,
        message=message,
        value=_within(shown, value, low, high),
        low=shown.judged(low, surely),
        high=shown.judged(high, surely),
        at_least=shown.at_least,
        at_most=shown.at_most,
        margin=shown.margin(surely.margin),
    )


def _guarded(low: float, high: float, bounds: Bounds, surely: Judged) -> tuple[State, str | None]:
    if surely.state is State.MET:
        return State.MET, None
    under = bounds.at_least is not None and high < bounds.at_least
    over = bounds.at_most is not None and low > bounds.at_most
    if under or over:
        return State.NOT_MET, None
    return State.OPEN, "inconclusive: the limit lies inside the uncertainty"


def _within(shown: Shown, value: Fraction, low: float, high: float) -> float:
    return shown.value(min(max(float(value), low), high))
