"""Cover: a shortfall under a waiver or deviation in force; and who may give it."""

from __future__ import annotations

from dataclasses import replace

from closeout.graph import Index, acceptance
from closeout.graph.bounds import exact_in
from closeout.graph.references import DEFAULT_AUTHORITY
from closeout.judge.limits import Judgement
from closeout.measure import UnitError, Units
from closeout.model.dossier import Evidence, RequirementResult, State
from closeout.model.records import Requirement, Waiver


def covered(
    judged: list[Judgement],
    requirement: Requirement,
    index: Index,
    units: Units,
    review: str | None,
) -> list[Judgement]:
    """Return the evidence, each shortfall with the waiver or deviation that covers it, if any."""
    waivers = [
        waiver
        for waiver in index.waivers.get(requirement.id, ())
        if in_force(waiver, index, review) and may_approve(waiver.approved_by, requirement, index)
    ]
    if not waivers:
        return judged
    return [_covered(one, waivers, units) for one in judged]


def _covered(one: Judgement, waivers: list[Waiver], units: Units) -> Judgement:
    if one.evidence.state is not State.NOT_MET:
        return one
    by = next((waiver for waiver in waivers if _reaches(waiver, one, units)), None)
    if by is None:
        return one
    return one._replace(evidence=replace(one.evidence, covered_by=by.id, covered_kind=by.kind))


def in_force(waiver: Waiver, index: Index, review: str | None) -> bool:
    """Return whether a waiver is approved and not expired at a review (None: at the last one).

    Where the review has a date, a waiver of a later one was not given yet.
    """
    if waiver.date is None or waiver.approved_by is None or is_later(waiver, index, review):
        return False
    if waiver.expires is None:
        return True
    now = index.review_number(review)
    end = index.review_number(waiver.expires)
    if now is None:
        now = len(index.project.charter.reviews) - 1
    return end is not None and now <= end


def is_later(waiver: Waiver, index: Index, review: str | None) -> bool:
    """Return whether a waiver is dated after a review (None: the last one) that has a date."""
    charter = index.project.charter
    review_date = charter.review_dates.get(
        review or (charter.reviews[-1] if charter.reviews else "")
    )
    given = waiver.date or waiver.planned
    return (
        review_date is not None and given is not None and given > review_date
    )  # both as year-month-day


def may_approve(who: str | None, requirement: Requirement, index: Index) -> bool:
    """Return whether somebody is the authority of a requirement's source.

    A project that names no authorities leaves it to whoever approved.
    """
    if who is None:
        return False
    named = index.project.charter.authorities
    document = requirement.source.document if requirement.source else None
    authority = named.get(document or DEFAULT_AUTHORITY, named.get(DEFAULT_AUTHORITY))
    return not named or who == authority


def _reaches(waiver: Waiver, one: Judgement, units: Units) -> bool:
    """Return whether a waiver names the quantity and case, and accepts the judged value."""
    entry, extremes = one.evidence, one.extremes
    if waiver.quantity != entry.quantity:
        return False
    if waiver.cases is not None and entry.case not in waiver.cases:
        return False
    if entry.quantity is None:
        return True
    if extremes is None:
        return False  # an absent case has no value that could be accepted
    unit, low, high, limits, reach = extremes
    low, high = (low, high) if reach is None else reach
    try:
        accepts = acceptance(exact_in(waiver.limits, unit, units), limits.model).bounds
    except UnitError:
        return False
    bounds = limits.bounds
    short = bounds.at_least is not None and low < bounds.at_least
    if short and (accepts.at_least is None or low < accepts.at_least):
        return False
    long = bounds.at_most is not None and high > bounds.at_most
    return not (long and (accepts.at_most is None or high > accepts.at_most))


def meant_by(waiver: Waiver, result: RequirementResult) -> list[Evidence]:
    """Return the evidence of the quantity and the cases that a waiver names."""
    return [
        entry
        for entry in result.evidence
        if entry.quantity == waiver.quantity
        and (waiver.cases is None or entry.case in waiver.cases)
    ]
