"""A project as it stands on a day: what is dated later is planned, and no evidence yet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import TypeVar

from closeout.model.records import Agreement, Project, Record, Requirement, Waiver

T = TypeVar("T", Record, Waiver, Agreement)


def as_of(project: Project, day: str) -> Project:
    """Return a project as it stands on a day, year-month-day.

    A record, waiver or agreement of a later day has no date then, and says under ``planned`` for
    when it is meant; so has what was agreed in a document of a later day. Of what a record judges
    anew on a later day no issue is judged yet. That one place decides it: whoever asks for a date
    finds none.
    """
    later = {one.id: one.date for one in project.documents if one.date and one.date > day}
    if not later and all(one <= day for one in dates(project)):
        return project
    return replace(
        project,
        requirements=tuple(_requirement(one, later) for one in project.requirements),
        records=tuple(_judged(_dated(one, day), day) for one in project.records),
        waivers=tuple(_dated(one, day) for one in project.waivers),
        agreements=tuple(_dated(one, day) for one in project.agreements),
    )


def dates(project: Project) -> Iterator[str]:
    """Yield every date that decides on what is planned; also of what is planned already."""
    yield from (day for one in project.records if (day := one.date or one.planned))
    yield from (day for one in project.records for _, day in one.judged_on)
    yield from (day for one in project.waivers if (day := one.date or one.planned))
    yield from (day for one in project.agreements if (day := one.date or one.planned))
    yield from (document.date for document in project.documents if document.date)


def span(project: Project, day: str) -> tuple[str | None, str | None]:
    """Return the last date up to a day, and the first one after it; None where there is none.

    On each day from the one on and before the other a project stands as it does on this.
    """
    known = set(dates(project))
    if day in _judged_on(project):
        # A change is later than what was judged on the day itself from the next one on.
        known.add((date.fromisoformat(day) + timedelta(1)).isoformat())
    before = max((one for one in known if one <= day), default=None)
    return before, min((one for one in known if one > day), default=None)


def _judged_on(project: Project) -> Iterator[str | None]:
    for one in project.records:
        yield one.date
        yield from (day for _, day in one.judged_on)


def _dated(one: T, day: str) -> T:
    # All dates are written as year-month-day.
    if one.date is None or one.date <= day:
        return one
    return replace(one, date=None, planned=one.date)


def _judged(one: Record, day: str) -> Record:
    later = {name for name, its in one.judged_on if its > day}
    if not later:
        return one
    judged = tuple((name, None if name in later else issue) for name, issue in one.judged)
    return replace(one, judged=judged)


def _requirement(one: Requirement, later: Mapping[str, str]) -> Requirement:
    said = one.not_applicable
    day = None if said is None else later.get(said.document or "")
    if said is None or day is None:
        return one
    return replace(one, not_applicable=replace(said, planned=day))
