"""Evidence by records: measured values under the decision rule, and outcomes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from closeout.graph import acceptance
from closeout.graph.bounds import as_double, crossed, exact_in
from closeout.graph.criterion_conditions import is_same_limit
from closeout.graph.temperatures import refusal
from closeout.judge.as_run import Verdict
from closeout.judge.limits import Extremes, Judged, Judgement, compare, shown_in
from closeout.judge.nonconformance import NOT_MET
from closeout.judge.superseded import is_known_failure, is_of_another_issue, why_it_counts
from closeout.judge.uncertainty import half_width, used
from closeout.judge.validity import Validity
from closeout.measure import UnitError
from closeout.model.amount import Measured
from closeout.model.answer import Bounds
from closeout.model.dossier import AsRun, Evidence, State
from closeout.model.records import Method, Record, Requirement, Verification

Said = dict[str, Any]
SIMPLE = "simple"
_WORST_FIRST = (State.NOT_MET, State.ERROR, State.OPEN, State.MET)


def by_records(
    said: Said, requirement: Requirement, verification: Verification, validity: Validity
) -> list[Judgement]:
    """Return the evidence of each record of a verification, at least one entry where it has any.

    A record that is replaced by a dated one does not count, but a failed one as long as its
    nonconformance is open; one that does not exist is open.
    """
    index = validity.index
    judged: list[Judgement] = []
    for name in verification.records:
        record = index.records.get(name)
        if record is None:
            judged.append(_open(said, f"record {name} is missing or cannot be read"))
            continue
        one = _record(said, requirement, verification, record, validity)
        failed = one.evidence.state is State.NOT_MET
        after = validity.made_good_by(record, requirement.id) if failed else None
        if after is not None:
            by = _why_it_counts(said, requirement, verification, record, validity)
            judged += [_and(one, f"{by}, so it still counts")] if by else []
        elif validity.last(record, requirement.id) is record:
            judged.append(one)
    judged = _tested_all_over(judged, requirement, verification, validity)
    judged += unnamed_failures(said, requirement, verification, validity)
    if judged or not verification.records:
        return judged
    first = index.records[verification.records[0]]
    last = validity.last(first, requirement.id)
    return [
        _open(said, f"{first.id} is replaced by {last.id}, which is not named in this verification")
    ]


def _tested_all_over(
    judged: list[Judgement],
    requirement: Requirement,
    verification: Verification,
    validity: Validity,
) -> list[Judgement]:
    """Return what records show as open, where together they were not made all over a range."""
    if not any(one.evidence.state is State.MET for one in judged):
        return judged
    records = in_force(requirement, verification, validity)
    left = validity.conditions.untested(requirement, verification, records)
    return [_opened(one, "; ".join(left)) for one in judged] if left else judged


def _opened(one: Judgement, text: str) -> Judgement:
    if one.evidence.state is not State.MET:
        return one
    return _and(one._replace(evidence=replace(one.evidence, state=State.OPEN)), text)


def in_force(
    requirement: Requirement, verification: Verification, validity: Validity
) -> list[Record]:
    """Return the records that a verification names and that are evidence of today's state."""
    index = validity.index
    records = [index.records[name] for name in verification.records if name in index.records]
    return [
        one
        for one in records
        if validity.last(one, requirement.id) is one
        and not validity.reasons_against(requirement, verification, one)
    ]


def unnamed_failures(
    said: Said, requirement: Requirement, verification: Verification, validity: Validity
) -> list[Judgement]:
    """Return failed records that judged a requirement, and that none of its verifications names.

    Taking its name out of a list does not make a failure vanish.
    """
    judging = validity.judging(requirement.id)
    if not judging:
        return []
    named = {name for one in requirement.verification for name in one.records}
    found = []
    for record in judging:
        if record.id in named or record.date is None:
            continue
        if not is_about(record, requirement, verification) or _is_reported_by_its_method(
            record, requirement, verification, validity
        ):
            continue
        one = _record(said, requirement, verification, record, validity)
        if one.evidence.state is not State.NOT_MET:
            continue
        by = _why_it_counts(said, requirement, verification, record, validity)
        if by:
            found.append(_and(one, f"{by}, so it still counts"))
    return found


def is_about(record: Record, requirement: Requirement, verification: Verification) -> bool:
    """Return whether a record that judged a requirement speaks of what a verification is about.

    An outcome of not met that measures none of the requirement's quantities speaks of each.
    """
    quantity, measured = verification.criterion.quantity, set(dict(record.measured))
    if quantity is None or quantity in measured:
        return True
    known = {one.criterion.quantity for one in requirement.verification}
    return record.outcome == NOT_MET and not measured & known


def _is_reported_by_its_method(
    record: Record, requirement: Requirement, verification: Verification, validity: Validity
) -> bool:
    """Return whether a verification of the record's own method says what it found.

    A failed test is compared with the test of a limit; where there is none, against its analysis.
    """
    return record.method is not verification.method and any(
        one.method is record.method
        and is_about(record, requirement, one)
        and is_same_limit(one.criterion, verification.criterion, validity.units)
        for one in requirement.verification
    )


def shown_alone(
    said: Said,
    requirement: Requirement,
    verification: Verification,
    record: Record,
    validity: Validity,
) -> Evidence:
    """Return what a record shows of a verification by itself, whatever else that has."""
    return _record(said, requirement, verification, record, validity).evidence


def failed_by_measure(
    requirement: Requirement, verification: Verification, record: Record, validity: Validity
) -> bool:
    """Return whether what a record measured makes a verification not met, covered or not."""
    if verification.criterion.quantity not in dict(record.measured):
        return False
    said = {
        "number": 0, "method": verification.method.value, "level": None, "stage": None,
        "review": None, "due": True,
    }  # fmt: skip
    one = _record(said, requirement, verification, record, validity)
    # Without a value it is the outcome that says so.
    return one.evidence.state is State.NOT_MET and one.evidence.value is not None


def took_place(
    requirement: Requirement, verification: Verification, validity: Validity
) -> tuple[str | None, str | None]:
    """Return the record of a test that an analysis judges, and why it is no evidence yet.

    The record says that the test took place, the analysis says what it shows.
    """
    known = validity.index.records
    names = [
        name
        for name in verification.records
        if name not in known or validity.last(known[name], requirement.id) is known[name]
    ]
    for name in names:
        record = known.get(name)
        if record is None:
            return None, f"record {name} is missing or cannot be read"
        if reasons_against := validity.reasons_against(requirement, verification, record):
            return name, "; ".join(reasons_against)
        if record.outcome == NOT_MET:
            return name, f"the outcome of {name} is not met"
        if record.data is None:
            return name, f"{name} names no data file"
    records = [known[name] for name in names]
    if left := validity.conditions.untested(requirement, verification, records):
        return names[-1] if names else None, "; ".join(left)
    return (names[-1], None) if names else (None, "the test has no record")


def worst(judged: list[Judgement]) -> Judgement:
    """Return the entry that speaks for a verification by several records.

    What is not closed comes before what is, a shortfall before what is open, then the margin.
    """

    def order(one: Judgement) -> tuple[bool, int, float]:
        entry = one.evidence
        margin = math.inf if entry.margin is None else entry.margin
        return entry.closed, _WORST_FIRST.index(entry.state), margin

    found = min(judged, key=order)
    if len(judged) == 1:
        return found
    as_run = tuple(dict.fromkeys(row for one in judged for row in one.evidence.as_run))
    evidence = replace(found.evidence, as_run=as_run)
    if evidence.state is State.OPEN:
        some = [one.evidence for one in judged if one.evidence.state is State.OPEN]
        rebuilt = [name for entry in some for name in entry.rebuilt]
        evidence = replace(
            evidence,
            message="; ".join(dict.fromkeys(entry.message for entry in some if entry.message)),
            rebuilt=tuple(dict.fromkeys(rebuilt)) if all(one.rebuilt for one in some) else (),
        )
    return found._replace(evidence=evidence)


def _open(said: Said, message: str) -> Judgement:
    return Judgement(Evidence(**said, state=State.OPEN, message=message))


def _and(one: Judgement, text: str) -> Judgement:
    message = f"{one.evidence.message}; {text}" if one.evidence.message else text
    return one._replace(evidence=replace(one.evidence, message=message))


def _why_it_counts(
    said: Said,
    requirement: Requirement,
    verification: Verification,
    record: Record,
    validity: Validity,
) -> str | None:
    """Return why a failed record counts though another replaces it; None where it does not."""

    def shows(last: Record) -> State:
        return _outcome({**said, "record": last.id}, verification, last, validity).evidence.state

    by = why_it_counts(requirement, verification, record, validity, shows)
    last = validity.made_good_by(record, requirement.id)
    if by is not None or last is None or is_of_another_issue(last, requirement):
        return by
    later = [*in_force(requirement, verification, validity), last]
    return validity.conditions.untested_again(requirement, verification, record, later)


def _record(
    said: Said,
    requirement: Requirement,
    verification: Verification,
    record: Record,
    validity: Validity,
) -> Judgement:
    """Judge a record. A failure stays one, also where the record speaks of an earlier state.

    What judged another issue, and was no failure of that, is none of the present one either.
    """
    said = {**said, "record": record.id, "document": record.document}
    reasons_against = validity.reasons_against(requirement, verification, record)
    if record.date is None:
        return _open(said, reasons_against[0])
    as_run = validity.conditions.as_run(requirement, verification, record)
    said["as_run"] = as_run
    judged = _outcome(said, verification, record, validity)
    if judged.evidence.state is State.NOT_MET and (harsher := _harsher(as_run)):
        judged = _and(judged, harsher)
    if not reasons_against:
        return judged
    if judged.evidence.state is State.NOT_MET:
        if is_of_another_issue(record, requirement) and not is_known_failure(
            record, requirement, validity.index
        ):
            short = f"what it measured does not meet issue {requirement.issue}"
            return _open(said, "; ".join((*reasons_against, short)))
        # Without its numbers, since what was accepted of today's article is not this one's.
        return _and(judged, "; ".join(reasons_against))._replace(extremes=None)
    rebuilt: tuple[str, ...] = ()
    if judged.evidence.state is State.MET:
        rebuilt = validity.rebuilt(requirement, verification, record)
    return _open({**said, "rebuilt": rebuilt}, "; ".join(reasons_against))


def _harsher(as_run: Sequence[AsRun]) -> str:
    """Return at which conditions a record was made that are harsher than what is required."""
    return "; ".join(
        f"{one.record} was made at {one.name} = {one.as_run}, harsher than the"
        f" {one.required} required"
        for one in as_run
        if one.verdict == Verdict.HARSHER
    )


def _outcome(
    said: Said, verification: Verification, record: Record, validity: Validity
) -> Judgement:
    criterion = verification.criterion
    if criterion.quantity is None or not criterion.limits:
        if record.outcome is None:
            return _open(said, f"{record.id} has no outcome")
        state = State.NOT_MET if record.outcome == NOT_MET else State.MET
        return Judgement(Evidence(**said, state=state, message=_analogue(record)))
    judged = _of_quantity(said, verification, record, validity)
    if record.outcome == NOT_MET and judged.evidence.state is not State.NOT_MET:
        # Bad news is never hidden: by a number beside it no more than by anything else.
        text = f"the outcome of {record.id} is not met, whatever was measured"
        return Judgement(Evidence(**said, state=State.NOT_MET, message=text))
    return judged


def _analogue(record: Record) -> str | None:
    """Return in what a non-flight article differs from the flight article, and what is alike."""
    if not record.differs:
        return None
    done = "tested" if record.method is Method.TEST else "verified"
    text = f"{done} on a non-flight article; differences: {', '.join(record.differs)}"
    if record.same_design is None:
        return text
    return f"{text}; of the same design: {record.same_design.rstrip('.')}"


def _of_quantity(
    said: Said, verification: Verification, record: Record, validity: Validity
) -> Judgement:
    quantity = verification.criterion.quantity
    measured = dict(record.measured).get(quantity or "")
    if measured is None:
        return _open(said, f"{record.id} measures no {quantity}")
    try:
        judged = _measured(said, verification, measured, validity)
    except UnitError as wrong:
        return Judgement(Evidence(**said, state=State.ERROR, message=wrong.message))
    text = _analogue(record)
    return judged if text is None else _and(judged, text)


def _measured(
    said: Said, verification: Verification, measured: Measured, validity: Validity
) -> Judgement:
    """Judge a measured value by the project's decision rule (JCGM 106:2012).

    Guarded acceptance: met where the value less its expanded uncertainty reaches the limit, not met
    where the value plus it does not; between the two it is open. Simple acceptance (8.2 there): the
    value alone decides.
    """
    units, limits = validity.units, verification.criterion.limits
    simple = validity.index.project.charter.policy.acceptance == SIMPLE
    if measured.uncertainty is None and not simple:
        text = (
            f"{said['record']} gives no uncertainty of {verification.criterion.quantity},"
            " which guarded acceptance needs"
        )
        return Judgement(Evidence(**said, state=State.ERROR, message=text))
    quantity = verification.criterion.quantity or ""
    for _, limit in limits.amounts:
        refused = refusal(quantity, measured.value, limit.unit, validity.index, units)
        if refused is not None:
            return Judgement(Evidence(**said, state=State.ERROR, message=refused))
    contradiction = crossed(limits, units)
    if contradiction is not None:
        return Judgement(Evidence(**said, state=State.ERROR, message=contradiction))
    own, number = measured.value.unit, measured.value.number
    least_k = validity.index.project.charter.policy.coverage_factor
    half = half_width(measured, own, units, least_k)
    value = as_double(number, own)
    low, high = value, value
    if half is not None and not simple:
        low, high = as_double(number - half, own), as_double(number + half, own)
    tightened, shown = acceptance(exact_in(limits, own, units)), shown_in(units, own, limits)
    surely = compare(low, high, tightened)
    state, message = _guarded(low, high, tightened.bounds, surely)
    evidence = Evidence(
        **{**said, "unit": shown.unit},
        state=state,
        message="simple acceptance: the value alone decides" if simple else message,
        value=shown.value(min(max(value, low), high)),
        low=None if simple else shown.value(low),
        high=None if simple else shown.value(high),
        margin=shown.margin(surely.margin),
        uncertainty=used(measured, least_k),
    )
    return Judgement(evidence, Extremes(own, low, high, tightened))


def _guarded(low: float, high: float, bounds: Bounds, surely: Judged) -> tuple[State, str | None]:
    if surely.state is not State.NOT_MET:
        return surely.state, None
    if min(bounds.margins(high, low)) < 0.0:  # not even with the uncertainty in its favour
        return State.NOT_MET, None
    return State.OPEN, "inconclusive: the limit lies inside the uncertainty"
