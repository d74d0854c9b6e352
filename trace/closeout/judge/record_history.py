"""Which records have judged a requirement, from the first to the last, and which count today."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.judge.subjects import record_subject
from closeout.judge.validity import Validity
from closeout.model.dossier import Dossier, RequirementResult, State
from closeout.model.records import Record, Requirement
from closeout.model.subject import RecordSubject

_LAST = "9999-12-31"  # what has no day yet comes behind all that has one


def record_history(
    name: str, validity: Validity, dossier: Dossier
) -> tuple[tuple[RecordSubject, tuple[str, ...]], ...]:
    """Return the records of a requirement, the oldest first, each with why it does not count today.

    Those that judged it, those that its verifications name, and what these replaced, as far as that
    does not say that it judged something else. Nothing where there is no such requirement.
    """
    requirement = validity.index.requirements.get(name)
    if requirement is None:
        return ()
    results = {result.id: result for result in dossier.requirements}
    records = sorted(
        _records(requirement, validity), key=lambda one: (one.date or one.planned or _LAST, one.id)
    )
    return tuple(
        (
            record_subject(one, validity, results),
            tuple(_why_not(one, requirement, validity, results.get(name))),
        )
        for one in records
    )


def _records(requirement: Requirement, validity: Validity) -> Iterator[Record]:
    known = validity.index.records
    named = [known[n] for one in requirement.verification for n in one.records if n in known]
    left, seen = [*validity.judging(requirement.id), *named], set[str]()
    while left:
        record = left.pop()
        if record.id in seen:
            continue
        seen.add(record.id)
        yield record
        before = known.get(record.replaces or "")
        if before is not None and not before.judged:
            left.append(before)


def _why_not(
    record: Record, requirement: Requirement, validity: Validity, result: RequirementResult | None
) -> Iterator[str]:
    evidence = () if result is None else result.evidence
    if any(one.record == record.id and one.state is not State.OPEN for one in evidence):
        return
    if requirement.not_applicable is not None:
        yield "the requirement does not apply"
        return
    last = validity.last(record, requirement.id)
    if last is not record:
        yield f"replaced by {last.id}"
        return
    naming = [one for one in requirement.verification if record.id in one.records]
    if not naming:
        yield f"no verification of {requirement.id} names it"
        return
    against = [validity.reasons_against(requirement, one, record) for one in naming]
    if all(against):
        yield from dict.fromkeys(text for some in against for text in some)
