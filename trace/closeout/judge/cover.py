"""Cover: a shortfall under a waiver or deviation in force."""

from __future__ import annotations

from dataclasses import replace

from closeout.graph import Index
from closeout.graph.questions import bounds_in
from closeout.measure import UnitError, Units
from closeout.model.dossier import Evidence, State
from closeout.model.records import Requirement, Waiver

DEFAULT = "default"


def covered(
    evidence: list[Evidence],
    requirement: Requirement,
    index: Index,
    units: Units,
    review: str | None,
) -> list[Evidence]:
    """Return the evidence, each shortfall with the waiver or deviation that covers it, if any."""
    if all(entry.state is not State.NOT_MET for entry in evidence):
        return evidence
    waivers = [
        waiver
        for waiver in index.project.waivers
        if waiver.requirement == requirement.id
        and in_force(waiver, index, review)
        and waiver.approved_by in authorities(requirement, index)
    ]
    return [
        replace(entry, covered_by=next((w.id for w in waivers if _reaches(w, entry, units)), None))
        if entry.state is State.NOT_MET
        else entry
        for entry in evidence
    ]


def in_force(waiver: Waiver, index: Index, review: str | None) -> bool:
    """Return whether a waiver is approved and not expired at a review (None: at the last one)."""
    if waiver.date is None or waiver.approved_by is None:
        return False
    if waiver.expires is None:
        return True
    reviews = index.project.charter.reviews
    now = index.review_number(review)
    end = index.review_number(waiver.expires)
    if now is None:
        now = len(reviews) - 1
    return end is not None and now <= end


def authorities(requirement: Requirement, index: Index) -> set[str]:
    """Return who may cover a shortfall of a requirement: the authority of its source.

    A project that names no authorities leaves it to whoever approved.
    """
    named = index.project.charter.authorities
    if not named:
        return {w.approved_by for w in index.project.waivers if w.approved_by is not None}
    document = requirement.source.document if requirement.source else None
    authority = named.get(document or DEFAULT, named.get(DEFAULT))
    return set() if authority is None else {authority}


def _reaches(waiver: Waiver, entry: Evidence, units: Units) -> bool:
    """Return whether a waiver names the quantity and case, and accepts the judged value."""
    if waiver.quantity != entry.quantity:
        return False
    if waiver.cases is not None and entry.case not in waiver.cases:
        return False
    if entry.quantity is None:
        return True
    low = entry.value if entry.low is None else entry.low
    high = entry.value if entry.high is None else entry.high
    if low is None or high is None:
        return False  # an absent case has no value that could be accepted
    try:
        accepts = bounds_in(waiver.limits, entry.unit or "", units)
    except UnitError:
        return False
    short = entry.at_least is not None and low < entry.at_least
    long = entry.at_most is not None and high > entry.at_most
    if short and (accepts.at_least is None or low < accepts.at_least):
        return False
    return not (long and (accepts.at_most is None or high > accepts.at_most))
