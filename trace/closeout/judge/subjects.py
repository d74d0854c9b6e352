"""Records, waivers, nonconformances, articles and documents, beside what was judged of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from closeout.graph import Index
from closeout.graph.cites import citing, is_source
from closeout.judge.cover import in_force, may_approve, meant_by
from closeout.judge.findings.waivers import void
from closeout.judge.nonconformance import concerned, why_open
from closeout.judge.records import shown_alone
from closeout.judge.requirement import said_of
from closeout.judge.validity import Validity
from closeout.model.dossier import Dossier, Evidence, RequirementResult, State
from closeout.model.records import Nonconformance, Record, Requirement, Verification, Waiver
from closeout.model.subject import (
    ArticleSubject,
    Build,
    DocumentSubject,
    Judged,
    RecordSubject,
    Reported,
    ReportSubject,
    Subject,
    Use,
    WaiverSubject,
)


def identifiers(index: Index) -> list[str]:
    """Return the identifiers of everything that can be a subject."""
    project = index.project
    found = [
        *(one.id for one in project.records),
        *(one.id for one in project.waivers),
        *(one.id for one in project.nonconformances),
        *(one.id for one in project.articles),
        *(one.id for one in project.documents),
    ]
    return list(dict.fromkeys(found))


def concerns(identifier: str, index: Index) -> set[str]:
    """Return the requirements whose verdicts tell of the items with an identifier.

    With all that is derived from them, where their codes are shown.
    """
    found: set[str] = set()
    whole: set[str] = set()
    if identifier in index.records:
        found |= {one.id for one, _, _ in _naming(identifier, index)}
    for waiver in index.project.waivers:
        found |= {waiver.requirement} if waiver.id == identifier else set()
    for report in index.project.nonconformances:
        whole |= set(concerned(report, index)) if report.id == identifier else set()
    return found | index.below(whole)


def subjects(identifier: str, validity: Validity, dossier: Dossier) -> tuple[Subject, ...]:
    """Return every item with an identifier; one that only texts cite is a document."""
    index = validity.index
    results = {result.id: result for result in dossier.requirements}
    found: list[Subject] = []
    if (record := index.records.get(identifier)) is not None:
        found.append(record_subject(record, validity, results))
    waivers = [one for one in index.project.waivers if one.id == identifier]
    found += [_waiver(one, index, dossier.review, results) for one in waivers[:1]]
    reports = [one for one in index.project.nonconformances if one.id == identifier]
    found += [_report(one, index, dossier.review, results) for one in reports[:1]]
    if identifier in index.articles:
        found.append(_article(identifier, index))
    if identifier in index.documents or (not found and _is_cited(identifier, index)):
        found.append(_document(identifier, index))
    return tuple(found)


# ---- a record


def _naming(name: str, index: Index) -> Iterator[tuple[Requirement, int, Verification]]:
    """Yield the verifications of a record: that name it, or are of a requirement that it judged."""
    record = index.records[name]
    for requirement, number, verification in index.project.verifications():
        named = name in verification.records
        if named or requirement.id in dict(record.judged):
            yield requirement, number, verification


def record_subject(
    record: Record, validity: Validity, results: Mapping[str, RequirementResult]
) -> RecordSubject:
    """Return a record with what was judged of it; ``results`` are by identifier."""
    index = validity.index
    uses = list(_uses(record, validity, results))
    named = {use.requirement for use in uses}
    reports = index.project.nonconformances
    return RecordSubject(
        record=record,
        uses=tuple(uses),
        judged=tuple(
            Judged(
                name, issue,
                index.requirements[name].issue if name in index.requirements else None,
                record.day_of(name), name in named,
            )
            for name, issue in record.judged
        ),
        builds=_builds(record.article, index),
        replaced_by=index.replaced.get(record.id, ()),
        altered=record.id in validity.altered,
        found=_reported([one for one in reports if one.found_by == record.id], index),
        closes=_reported(
            [one for one in reports if record.id in (one.closed_by, *one.retest)], index
        ),
        inputs=tuple(_inputs(record, index)),
    )  # fmt: skip


def _inputs(record: Record, index: Index) -> Iterator[tuple[str, str]]:
    """Yield the parameters that are found in a record, or that name it as their source."""
    for one in index.project.linked:
        now = index.parameters.get(one.id)
        if now is not None and now.record == record.id:
            yield one.id, f"{now.value}, from {one.link}"
        elif any(text.rpartition(".")[0] == record.id for text in one.link.quantities):
            awaited = index.waiting.get(one.id)
            by = f", now by {now.record}" if now is not None else ""
            yield one.id, f"from {one.link}{by}" if awaited is None else awaited.reason
    for stated in index.project.parameters:
        if record.id in (stated.record, stated.source):
            yield stated.id, f"{stated.value}, source"


def _uses(
    record: Record, validity: Validity, results: Mapping[str, RequirementResult]
) -> Iterator[Use]:
    """Yield the verifications that name a record, and those that it decides all the same."""
    for requirement, number, verification in _naming(record.id, validity.index):
        result = results.get(requirement.id)
        evidence = () if result is None else result.evidence
        entries = tuple(entry for entry in evidence if entry.number == number)
        decides = any(entry.record == record.id for entry in entries)
        if not decides and record.id not in verification.records:
            continue
        alone = None
        if not decides:
            said = said_of(number, verification, True, validity.units)
            alone = shown_alone(said, requirement, verification, record, validity)
        yield Use(requirement.id, requirement.title, number, entries, alone)


def _builds(article: tuple[tuple[str, str], ...], index: Index) -> tuple[Build, ...]:
    return tuple(
        Build(name, build, index.articles[name].build if name in index.articles else None)
        for name, build in article
    )


def _reported(reports: list[Nonconformance], index: Index) -> tuple[Reported, ...]:
    return tuple(Reported(one, why_open(one, index)) for one in reports)


# ---- a waiver, a nonconformance, an article


def _waiver(
    waiver: Waiver, index: Index, review: str | None, results: dict[str, RequirementResult]
) -> WaiverSubject:
    result = results.get(waiver.requirement)
    why: list[str] = []
    covers: list[Evidence] = []
    left: list[Evidence] = []
    if result is None:
        why.append(f"there is no requirement {waiver.requirement}")
    else:
        why += [finding.message for finding in void(waiver, result, index, review)]
        covers = [entry for entry in result.evidence if entry.covered_by == waiver.id]
        left = [
            entry
            for entry in meant_by(waiver, result)
            if entry.state is State.NOT_MET and entry.covered_by != waiver.id
        ]
    title = None if result is None else result.title
    return WaiverSubject(waiver, title, tuple(why), tuple(covers), tuple(left))


def _report(
    report: Nonconformance,
    index: Index,
    review: str | None,
    results: dict[str, RequirementResult],
) -> ReportSubject:
    about = concerned(report, index)
    names = dict.fromkeys(filter(None, (report.found_by, *report.retest, report.closed_by)))
    return ReportSubject(
        reported=Reported(report, why_open(report, index)),
        builds=_builds(report.article, index),
        requirements=tuple((name, _validity_of(results.get(name))) for name in about),
        records=tuple(index.records[name] for name in names if name in index.records),
        waivers=tuple(
            (waiver.id, _holds(waiver, index, review))
            for name in about
            for waiver in index.waivers.get(name, ())
        ),
    )


def _holds(waiver: Waiver, index: Index, review: str | None) -> bool:
    requirement = index.requirements.get(waiver.requirement)
    return (
        requirement is not None
        and in_force(waiver, index, review)
        and may_approve(waiver.approved_by, requirement, index)
    )


def _validity_of(result: RequirementResult | None) -> tuple[str, str, str] | None:
    if result is None:
        return None
    return result.compliance.value, "closed" if result.closed else "open", result.title


def _article(name: str, index: Index) -> ArticleSubject:
    """Return an article; a nonconformance without one is about what its record was made on."""
    article = index.articles[name]
    records = [record for record in index.records.values() if name in dict(record.article)]
    stood = {record.id for record in records}
    reports = [
        report
        for report in index.project.nonconformances
        if (name in dict(report.article) if report.article else report.found_by in stood)
    ]
    return ArticleSubject(
        article,
        tuple(
            (record, Build(name, dict(record.article)[name], article.build)) for record in records
        ),
        _reported(reports, index),
    )


# ---- a document


def _is_cited(identifier: str, index: Index) -> bool:
    """Return whether a record, waiver or agreement names a document by this identifier."""
    project = index.project
    texts = [
        *(one.document for one in project.records),
        *(one.document for one in project.waivers),
        *(one.document for one in project.agreements),
    ]
    return any(text and (text == identifier or text.startswith(f"{identifier} ")) for text in texts)


def _document(name: str, index: Index) -> DocumentSubject:
    cites, project = citing(name), index.project
    plans = dict.fromkeys(
        requirement.id
        for requirement, _, verification in project.verifications()
        if cites(verification.plan) or cites(verification.risk) or cites(requirement.report)
    )
    return DocumentSubject(
        id=name,
        document=index.documents.get(name),
        requirements=tuple(
            one for one in index.requirements.values() if is_source(name, one, cites)
        ),
        plans=tuple(plans),
        records=tuple(one for one in index.records.values() if cites(one.document)),
        waivers=tuple(one for one in project.waivers if cites(one.document)),
        agreements=tuple(one for one in project.agreements if cites(one.document)),
        parameters=tuple(one for one in index.parameters.values() if cites(one.source)),
    )  # fmt: skip
