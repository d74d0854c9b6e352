"""Whether a failed record still counts: what took its place, and what its nonconformance says.

A failure is over once its nonconformance is closed and a later record about the same thing shows it
met. What re-opens that later record (a raised issue, a new build, age) re-opens the requirement; it
does not bring the failure back, which never judged what is new.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from closeout.graph import Index
from closeout.judge.nonconformance import NOT_MET, concerned, holds_open, why_open
from closeout.judge.validity import Validity
from closeout.model.dossier import State
from closeout.model.records import Nonconformance, Record, Requirement, Verification

# Says what a record shows of the present criterion, whatever has re-opened it since.
Shows = Callable[[Record], State]


def reports_of(
    record: Record, index: Index, requirement: str | None = None
) -> list[Nonconformance]:
    """Return the nonconformances that a record found, all of them or those of a requirement."""
    return [
        one
        for one in index.project.nonconformances
        if one.found_by == record.id
        and (requirement is None or requirement in concerned(one, index))
    ]


def is_answered(record: Record, index: Index, requirement: str | None = None) -> bool:
    """Return whether nonconformances report what a record found, and all of them are closed.

    Of a requirement that is there, only those that are about it do.
    """
    of = requirement if requirement in index.requirements else None
    reports = reports_of(record, index, of)
    return bool(reports) and not any(holds_open(report, index) for report in reports)


def is_known_failure(record: Record, requirement: Requirement, index: Index) -> bool:
    """Return whether a record found something not met, whatever the present limits are."""
    return record.outcome == NOT_MET or bool(reports_of(record, index, requirement.id))


def is_of_another_issue(record: Record, requirement: Requirement) -> bool:
    """Return whether a record says that it judged another issue of a requirement than this."""
    return dict(record.judged).get(requirement.id, requirement.issue) != requirement.issue


def why_it_counts(
    requirement: Requirement,
    verification: Verification,
    record: Record,
    validity: Validity,
    shows: Shows,
) -> str | None:
    """Return why a failed record counts though another replaces it; None where it does not.

    Its nonconformance has to be closed: one that is open, or that nobody wrote, keeps it. And what
    takes its place at last has to show that met what it found not met. An outcome of not met may be
    that of another requirement which the record judged too.
    """
    index = validity.index
    of = None if record.outcome == NOT_MET else requirement.id
    reports = reports_of(record, index, requirement.id) or reports_of(record, index, of)
    if not reports:
        return "it has no nonconformance"
    for report in reports:
        left = why_open(report, index)
        if left is not None:
            return f"{report.id} is open ({left})"
    last = validity.made_good_by(record, requirement.id)
    if last is None:
        return f"no later record of {requirement.id} has replaces: {record.id}"
    if _takes_its_place(requirement, verification, record, last, validity, shows):
        return None
    return f"{last.id}, which replaces it, does not show it met"


def _takes_its_place(
    requirement: Requirement,
    verification: Verification,
    failed: Record,
    last: Record,
    validity: Validity,
    shows: Shows,
) -> bool:
    judged = dict(last.judged)
    if judged and requirement.id not in judged:
        return False
    # A failed test that counts against an analysis is made good by a test.
    as_failed = replace(verification, method=failed.method)
    if any(validity.unfit(requirement, as_failed, last)) or not _is_as_near(
        failed, last, validity.index
    ):
        return False
    if is_of_another_issue(last, requirement):
        # What it showed, it showed of that issue; against the present one neither was judged.
        return is_of_another_issue(failed, requirement) or not failed.judged
    elsewhere = any(validity.conditions.other_conditions(requirement, verification, last))
    return not elsewhere and shows(last) is State.MET


def _is_as_near(failed: Record, last: Record, index: Index) -> bool:
    """Return whether what takes a failure's place is about the present build where that was."""
    builds = dict(last.article)
    for name, build in failed.article:
        article = index.articles.get(name)
        if article is not None and article.build == build and builds.get(name) != build:
            return False
    return True
