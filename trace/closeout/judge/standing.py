"""Whether a record still speaks of a requirement: date, issue, build of the article, conditions."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index, key_of_criterion
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.records import Record, Requirement, Side, Verification


def lack(
    requirement: Requirement, verification: Verification, record: Record, index: Index, units: Units
) -> str | None:
    """Return why a record is no evidence (yet) of a requirement as it is today, None if it is."""
    if record.date is None:
        return f"{record.id} is planned, it has no date yet"
    reasons = (
        _issue(requirement, record),
        _build(record, index),
        _conditions(requirement, verification, record, index, units),
    )
    return next((reason for reason in reasons if reason is not None), None)


def _issue(requirement: Requirement, record: Record) -> str | None:
    judged = dict(record.judged)
    was = judged.get(requirement.id)
    if not judged or was == requirement.issue:
        return None
    if was is None:
        return f"{record.id} does not say that it judged {requirement.id}"
    return f"re-opened: {record.id} judged issue {was}, the requirement is at {requirement.issue}"


def _build(record: Record, index: Index) -> str | None:
    """Compare builds, unless the record argues that the designs are the same."""
    for name, build in record.article:
        article = index.articles.get(name)
        now = None if article is None else article.build
        if now is not None and now != build and record.same_design is None:
            return f"re-opened: {record.id} was made on {name} {build}, {name} is at {now}"
    return None


def _conditions(
    requirement: Requirement, verification: Verification, record: Record, index: Index, units: Units
) -> str | None:
    """Compare the conditions of a test with those under which the criterion holds.

    Those of the verification must be in the record. Where it gives none, what the record says is
    held against the same criterion (quantity and limits) in the requirement's other verifications.
    """
    stated = dict(record.conditions)
    for name, given in verification.criterion.given:
        if name not in stated:
            return f"{record.id} does not say at which {name} it was made"
        if not _matches(stated[name], given, name, index, units):
            return _changed(record, name, stated[name], given)
    if verification.criterion.given:
        return None
    for name, amount in stated.items():
        others = list(_given_elsewhere(name, requirement, verification, units))
        if others and not any(_matches(amount, given, name, index, units) for given in others):
            return _changed(record, name, amount, others[0])
    return None


def _changed(record: Record, name: str, was: Amount, now: Amount | Side) -> str:
    text = f"{now[0]} to {now[1]}" if isinstance(now, tuple) else str(now)
    return f"re-opened: {record.id} was made at {name} = {was}, the criterion holds at {text}"


def _given_elsewhere(
    name: str, requirement: Requirement, verification: Verification, units: Units
) -> Iterator[Amount | Side]:
    key = key_of_criterion(verification.criterion, units)
    if verification.criterion.quantity is None:
        return
    for other in requirement.verification:
        given = dict(other.criterion.given).get(name)
        if given is not None and key_of_criterion(other.criterion, units) == key:
            yield given


def _matches(amount: Amount, given: Amount | Side, name: str, index: Index, units: Units) -> bool:
    """Return whether a value is the given one, or inside the given pair, exactly."""
    parameter = index.parameters.get(name)
    unit = amount.unit if parameter is None else parameter.value.unit
    ends = given if isinstance(given, tuple) else (given, given)
    try:
        low, high = sorted(units.convert(end, unit) for end in ends)
        return low <= units.convert(amount, unit) <= high
    except UnitError:
        return False
