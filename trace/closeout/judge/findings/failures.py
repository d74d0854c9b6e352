"""Findings about failures: those that nobody reports, and those that nobody sees any more.

A record fails by its outcome, or by what it measured against the limits of what it judged. It must
not fall out of sight with a verification that is dropped, a quantity that is renamed, an issue that
is raised, a requirement that is deleted or said not to apply: only a nonconformance closes it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from closeout.graph import Index
from closeout.graph.new_findings import error, warning
from closeout.graph.report_text import report_text
from closeout.graph.reports import unreported
from closeout.judge.nonconformance import NOT_MET
from closeout.judge.records import failed_by_measure, is_about
from closeout.judge.superseded import is_answered, reports_of
from closeout.judge.validity import Validity
from closeout.measure import Units
from closeout.model.dossier import Dossier, State
from closeout.model.history import History
from closeout.model.problem import Finding
from closeout.model.records import Record, Requirement, Verification
from closeout.rules.record_findings import beyond

_PUT = "add this to a file in requirements/, and complete it: "


def failures(
    index: Index, units: Units, validity: Validity, history: History | None
) -> Iterator[Finding]:
    """Yield what can be said of failed records without running an analysis."""
    if not any(record.date for record in index.records.values()):
        return
    yield from _unreported(index, validity, history)
    yield from _of_no_known_issue(index, validity, history)
    yield from _out_of_sight(index, units, history)
    yield from _set_aside(index, units)


def unreported_logs(dossier: Dossier, index: Index) -> Iterator[Finding]:
    """Yield tests that an analysis of their log found not met, and that nobody reports."""
    found: dict[str, list[tuple[str, str]]] = {}
    for result in dossier.requirements:
        for entry in result.evidence:
            name = entry.record
            if name is not None and entry.analysis and entry.state is State.NOT_MET:
                found.setdefault(name, []).append((result.id, entry.quantity or "it"))
    for name, rows in found.items():
        record = index.records[name]
        if index.complete and record.outcome != NOT_MET and not reports_of(record, index):
            yield _missing(record, dict(rows), index)


def _unreported(index: Index, validity: Validity, history: History | None) -> Iterator[Finding]:
    """A failure that nobody reports is forgotten with the next test, under a waiver too."""
    found: dict[str, dict[str, str]] = {}
    judged = (*_judged_today(index, validity), *_judged_under_another_issue(index, history))
    for requirement, verification, record in judged:
        if record.date is None or reports_of(record, index, requirement.id):
            continue
        if record.outcome == NOT_MET and not reports_of(record, index):
            continue  # one that says itself that it is not met is reported where it is read
        if failed_by_measure(requirement, verification, record, validity):
            quantity = str(verification.criterion.quantity)
            found.setdefault(record.id, {})[requirement.id] = quantity
    for number, (name, quantities) in enumerate(found.items(), len(unreported(index))):
        # A report may stand in what could not be read.
        if index.complete:
            yield _missing(index.records[name], quantities, index, number)


_Judged = tuple[Requirement, Verification, Record]


def _judged_today(index: Index, validity: Validity) -> Iterator[_Judged]:
    """Yield records with what they are compared with today."""
    for requirement, _, verification in index.project.verifications():
        if requirement.not_applicable is None:
            for record in _judges(requirement, verification, validity):
                yield requirement, verification, record


def _judged_under_another_issue(index: Index, history: History | None) -> Iterator[_Judged]:
    """Yield records that judged another issue than today's, with what it said on their day.

    An issue that is raised, with a limit that is relaxed or not, does not make a failure another.
    """
    for record in index.records.values():
        for name, issue in record.judged if history is not None else ():
            now = index.requirements.get(name)
            if now is None or issue in (None, now.issue) or now.not_applicable is not None:
                continue
            then = _on_its_day(record, name, issue, history)
            if then is None:
                continue
            for verification in then.verification:
                if verification.method is record.method:
                    yield then, verification, record


def _on_its_day(
    record: Record, name: str, issue: str | None, history: History | None
) -> Requirement | None:
    """Return an issue of a requirement as it stood when judged, else as it came first."""
    if history is None or issue is None:
        return None
    all_of_it = history.versions.get(name, ())
    texts = [(one.day, one.requirement) for one in all_of_it if one.requirement.issue == issue]
    base = None if history.base is None else history.base.requirements.get(name)
    if not texts:
        return base if base is not None and base.issue == issue else None
    judged = record.day_of(name)
    before = [text for day, text in texts if judged is not None and day <= judged]
    return before[-1] if before else texts[0][1]


def _of_no_known_issue(
    index: Index, validity: Validity, history: History | None
) -> Iterator[Finding]:
    """What judged an issue that never was is compared with nothing, so bad news must not say so."""
    if history is None or history.cut_off:
        return
    for requirement, verification, record in _judged_today(index, validity):
        issue = dict(record.judged).get(requirement.id, requirement.issue)
        if issue in (None, requirement.issue) or reports_of(record, index, requirement.id):
            continue
        if record.date is None or _on_its_day(record, requirement.id, issue, history) is not None:
            continue
        if failed_by_measure(requirement, verification, replace(record, judged=()), validity):
            yield warning(
                "failed-at-unknown-issue",
                record.where / "judged",
                f"{record.id} judged issue {issue} of {requirement.id}, which is in no commit of"
                f" this history, and does not meet issue {requirement.issue}",
                f"correct the issue, or {_PUT}{report_text(record, [requirement.id], index)}",
            )


def _missing(record: Record, quantities: dict[str, str], index: Index, before: int = 0) -> Finding:
    what = ", ".join(f"{quantity} of {name}" for name, quantity in quantities.items())
    return error(
        "nonconformance-missing",
        record.where / "measured" if record.measured else record.where,
        f"{record.id} found {what} not met, and has no nonconformance",
        _PUT + report_text(record, quantities, index, before),
    )


def _judges(
    requirement: Requirement, verification: Verification, validity: Validity
) -> Iterator[Record]:
    """Yield the records that are evidence of a verification, named or not."""
    named = {name for one in requirement.verification for name in one.records}
    for name in verification.records:
        if name in validity.index.records:
            yield validity.index.records[name]
    for record in validity.judging(requirement.id):
        if record.id not in named and is_about(record, requirement, verification):
            yield record


@dataclass(frozen=True, slots=True)
class _Failed:
    """What a record found not met: a quantity with what it was of, or by its outcome alone."""

    quantity: str | None
    text: str
    requirement: str | None = None


def _out_of_sight(index: Index, units: Units, history: History | None) -> Iterator[Finding]:
    for record in index.records.values():
        if record.date is None:
            continue
        hidden = [
            one
            for one in _failed(record, index, units, history)
            if not _seen(record, one, index) and not is_answered(record, index, one.requirement)
        ]
        if hidden:
            yield warning(
                "failure-out-of-sight",
                record.where,
                f"{record.id} found {', '.join(one.text for one in hidden)} not met, and no"
                " present verification covers it",
                _cure(record, index),
            )


def _cure(record: Record, index: Index) -> str:
    reports = [report.id for report in reports_of(record, index)]
    if reports:
        return f"close {', '.join(reports)}, or name {record.id} in a verification again"
    known = [name for name, _ in record.judged if name in index.requirements]
    text = report_text(record, known, index)
    return f"{_PUT}{text}; the finding ends when it is closed"


def _failed(
    record: Record, index: Index, units: Units, history: History | None
) -> Iterator[_Failed]:
    """Yield what a record found not met: by its outcome, its report, or the limits of its day."""
    found: dict[str, str] = {}
    for requirement in _judged_states(record, history):
        for quantity in beyond(record, requirement, units):
            found.setdefault(quantity, requirement.id)
    yield from (_Failed(what, f"{what} of {name}", name) for what, name in found.items())
    if found:
        return
    reports = reports_of(record, index)
    if record.outcome == NOT_MET:
        yield _Failed(None, ", ".join(name for name, _ in record.judged) or "what it judged")
    elif reports:
        yield _Failed(None, f"what {', '.join(report.id for report in reports)} reports")


def _judged_states(record: Record, history: History | None) -> Iterator[Requirement]:
    """Yield the earlier states of requirements of which a record speaks, at the issue it judged.

    One that does not say what it judged speaks of what named it.
    """
    if history is None:
        return
    judged = dict(record.judged)
    for name in judged or history.versions:
        states = [version.requirement for version in history.versions.get(name, ())]
        if history.base is not None and name in history.base.requirements:
            states.append(history.base.requirements[name])
        for state in states:
            names = any(record.id in one.records for one in state.verification)
            if judged.get(name) == state.issue if judged else names:
                yield state


def _seen(record: Record, failed: _Failed, index: Index) -> bool:
    """Return whether a verification of the present state speaks of what a record found not met.

    Of a requirement that is said not to apply that is reported separately.
    """
    for requirement, _, verification in index.project.verifications():
        named = record.id in verification.records
        if not named and requirement.id not in dict(record.judged):
            continue
        if requirement.not_applicable is not None:
            return True
        if failed.quantity is not None and record.outcome != NOT_MET:
            if verification.criterion.quantity == failed.quantity:
                return True
        elif named or is_about(record, requirement, verification):
            return True
    return False


def _set_aside(index: Index, units: Units) -> Iterator[Finding]:
    """That a requirement does not apply does not undo what a test of it has found."""
    for requirement in index.requirements.values():
        if requirement.not_applicable is None:
            continue
        named = {name for one in requirement.verification for name in one.records}
        for record in index.records.values():
            about = requirement.id in dict(record.judged) or record.id in named
            if record.date is None or not about or is_answered(record, index, requirement.id):
                continue
            quantity = next(beyond(record, requirement, units), None)
            if quantity is not None or record.outcome == NOT_MET:
                yield warning(
                    "failed-and-set-aside",
                    requirement.where / "not_applicable",
                    f"{requirement.id} is declared not applicable, and {record.id} found"
                    f" {quantity or 'it'} not met",
                    f"close a nonconformance about {record.id}, or say in its reason why the"
                    " failure does not matter, have its authority agree, and switch this rule off"
                    " with that reason",
                )
