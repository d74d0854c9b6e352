"""Nonconformances: which are open, and which requirements they keep open."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.judge.cover import in_force, may_approve
from closeout.judge.planned import not_yet
from closeout.model.records import Nonconformance, Record, Requirement

NOT_MET = "not met"
# Dispositions that leave the article as it is, against the requirement.
AGAINST = ("use as is", "repair")


def holds_open(report: Nonconformance, index: Index) -> bool:
    """Return whether a nonconformance is open: nothing closes it, or what closes it is not done."""
    return why_open(report, index) is not None


def why_open(report: Nonconformance, index: Index) -> str | None:
    """Return what is left to be done before a nonconformance is closed; None where it is."""
    return next(_left(report, index), None)


def open_nonconformance(requirement: Requirement, index: Index, review: str | None) -> str | None:
    """Return why a requirement cannot be closed for its nonconformances; None where it can."""
    for report in index.project.nonconformances:
        if requirement.id not in concerned(report, index):
            continue
        left = why_open(report, index)
        if left is not None:
            return f"{report.id} is open: {left}"
        if report.disposition in AGAINST and not _accepted(report, requirement, index, review):
            return f"{report.id} has disposition {report.disposition}, and no waiver is in force"
    return None


def reported(requirement: str, index: Index) -> tuple[tuple[str, str], ...]:
    """Return the nonconformances of a requirement, with what became of each."""
    return tuple(
        (report.id, _became(report, requirement, index))
        for report in index.project.nonconformances
        if requirement in concerned(report, index)
    )


def concerned(report: Nonconformance, index: Index) -> tuple[str, ...]:
    """Return the requirements of a nonconformance: those it names, else those its record judged.

    A record that does not say what it judged speaks of what names it.
    """
    found_by = index.records.get(report.found_by or "")
    if report.requirements or found_by is None:
        return report.requirements
    if found_by.judged:
        return tuple(name for name, _ in found_by.judged)
    verifications = index.project.verifications()
    return tuple(
        dict.fromkeys(one.id for one, _, v in verifications if report.found_by in v.records)
    )


def _became(report: Nonconformance, requirement: str, index: Index) -> str:
    left = why_open(report, index)
    accepted = [
        f"{waiver.id} ({waiver.document})" if waiver.document else waiver.id
        for waiver in index.waivers.get(requirement, ())
        if report.disposition in AGAINST
    ]
    parts = [
        f"found by {report.found_by}" if report.found_by else "",
        report.disposition or "",
        f"accepted by {' and '.join(accepted)}" if accepted else "",
        f"open: {left}" if left else f"closed by {report.closed_by}",
    ]
    return ", ".join(filter(None, parts))


def _left(report: Nonconformance, index: Index) -> Iterator[str]:
    """Yield what is left to be done before a nonconformance is closed."""
    found = report.found_by or ""
    if report.disposition is None:
        yield "it has no disposition"
    if report.closed_by is None:
        yield "no record closes it"
    if report.found_by is not None and report.found_by in (report.closed_by, *report.retest):
        yield f"it cannot be closed by {report.found_by}, which found it"
    for name in dict.fromkeys(filter(None, (report.closed_by, *report.retest))):
        record = index.records.get(name)
        if record is None:
            yield f"there is no record {name}"
        elif record.date is None:
            yield not_yet(record)
        elif _is_before(record, index.records.get(found)):
            yield f"{name} is dated {record.date}, before the finding"
        elif record.outcome == NOT_MET:
            yield f"the outcome of {name} is not met"
        elif record.outcome is None and not _measures_again(record, index.records.get(found)):
            yield f"{name} does not measure what was found"
    yield from _is_of_another(report, index)


def _is_of_another(report: Nonconformance, index: Index) -> Iterator[str]:
    """Yield where what closes a nonconformance is about other requirements, or another article.

    Its requirements may be shown by the records of its retest together, each on its article.
    """
    found_by = index.records.get(report.found_by or "")
    articles = _articles(report, found_by)
    names = dict.fromkeys(filter(None, (report.closed_by, *report.retest)))
    again = [index.records[name] for name in names if name in index.records]
    about = [record for record in again if articles <= set(dict(record.article))]
    closing = index.records.get(report.closed_by or "")
    if closing is not None and closing not in about:
        missing = ", ".join(sorted(articles - set(dict(closing.article))))
        yield f"{closing.id} was not made on {missing}"
    wanted = concerned(report, index)
    left = [name for name in wanted if not any(_speaks_of(one, name, index) for one in about)]
    if left and again:
        yield f"no closing record judged {', '.join(left)}"
    elif not wanted and closing and found_by and found_by.measured:
        if not _measures_again(closing, found_by):
            yield f"it names no requirement, and {closing.id} does not measure what was found"
    elif wanted and closing and not any(_speaks_of(closing, name, index) for name in wanted):
        yield f"{closing.id} judged none of its requirements"


def _articles(report: Nonconformance, found_by: Record | None) -> set[str]:
    """Return on what a nonconformance is closed: of what failed, what it names, else all of it."""
    named = set(dict(report.article))
    failed = set(dict(found_by.article)) if found_by is not None else set()
    return named & failed or failed or named


def _speaks_of(record: Record, requirement: str, index: Index) -> bool:
    """Return whether a record judged a requirement; one that does not say is asked by who names it.

    A requirement that is not there any more can be judged by nobody, and keeps nothing open.
    """
    if record.judged:
        return requirement in dict(record.judged)
    known = index.requirements.get(requirement)
    return known is None or any(record.id in one.records for one in known.verification)


def _measures_again(record: Record, found_by: Record | None) -> bool:
    """Return whether a record shows numbers or data about what another found."""
    wanted = set(dict(found_by.measured)) if found_by is not None else set()
    if not wanted or not record.measured:
        return bool(record.measured) or record.data is not None
    return bool(wanted & set(dict(record.measured)))


def _is_before(record: Record, found_by: Record | None) -> bool:
    if found_by is None or found_by.date is None or record.date is None:
        return False
    return record.date < found_by.date  # both as year-month-day


def _accepted(
    report: Nonconformance, requirement: Requirement, index: Index, review: str | None
) -> bool:
    """Return whether a waiver in force is about what was found.

    One of a quantity is about that quantity only, where the record that found it measured some.
    """
    found_by = index.records.get(report.found_by or "")
    about = {name for name, _ in found_by.measured} if found_by is not None else set()
    return any(
        in_force(waiver, index, review)
        and may_approve(waiver.approved_by, requirement, index)
        and (waiver.quantity is None or not about or waiver.quantity in about)
        for waiver in index.waivers.get(requirement.id, ())
    )
