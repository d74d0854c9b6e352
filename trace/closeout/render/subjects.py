"""Records, waivers, nonconformances, articles and documents as text: the answer, then what it is.

The first line names it, the second says how it stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from closeout.model.records import Nonconformance, Record, build_text
from closeout.model.subject import (
    ArticleSubject,
    DocumentSubject,
    RecordSubject,
    ReportSubject,
    Subject,
    Use,
    WaiverSubject,
)
from closeout.render import rows, words
from closeout.render.item_words import (
    deciding,
    facts_of_record,
    facts_of_report,
    facts_of_waiver,
    how_it_stands,
    match,
    reported,
    short,
)
from closeout.render.plain import flow, safe
from closeout.render.terminal import Paint, evidence_lines, wrap

Settings = Mapping[str, str]


def subject_lines(
    subject: Subject, paint: Paint, width: int, settings: Settings = rows.NO_SETTINGS
) -> Iterator[str]:
    """Yield one item with everything that is known of it; ``settings`` are those of a what-if."""
    match subject:
        case RecordSubject():
            yield from _record(subject, paint, width, settings)
        case WaiverSubject():
            yield from _waiver(subject, paint, width, settings)
        case ReportSubject():
            yield from _report(subject, paint, width)
        case ArticleSubject():
            yield from _article(subject, paint, width)
        case DocumentSubject():
            yield from _document(subject, paint, width)


def _head(kind: str, name: str, title: str | None, paint: Paint) -> str:
    return paint.strong(f"{kind} {safe(name)}" + (f": {flow(title)}" if title else ""))


def _facts(facts: Iterable[tuple[str, str | None]], width: int) -> Iterator[str]:
    for name, text in facts:
        if text:
            yield from wrap(f"{name}: {text}", width, 2)


def _section(
    title: str, lines: Iterable[str], paint: Paint, width: int, none: str = ""
) -> Iterator[str]:
    """Yield a heading with its lines; without any, what is said then, or nothing."""
    some = list(lines)
    if some or none:
        yield from ("", paint.strong(title))
        yield from (line for text in some or [none] for line in wrap(text, width, 2))


# ---- a record


def _record(subject: RecordSubject, paint: Paint, width: int, settings: Settings) -> Iterator[str]:
    record = subject.record
    yield _head("Record", record.id, record.title, paint)
    yield from wrap("; ".join(how_it_stands(subject)), width, 2)
    states = "; ".join(_state_of(use) for use in subject.uses)
    yield from wrap(states or "not used by any verification", width, 2)
    yield ""
    yield from _facts(facts_of_record(subject), width)
    if subject.uses:
        yield from ("", paint.strong("Verifications that use it"))
        for use in subject.uses:
            yield from _use(use, record, width, settings)
    inputs = [f"{safe(name)}  {flow(how)}" for name, how in subject.inputs]
    yield from _section("Parameters that it measured", inputs, paint, width)
    found = [reported(one) for one in subject.found]
    yield from _section("Nonconformances that it found", found, paint, width)
    closes = [reported(one) for one in subject.closes]
    yield from _section("Nonconformances that it closes or retests", closes, paint, width)


def _state_of(use: Use) -> str:
    """Return how a verification stands, and what decides it where that is not the record."""
    worst = min(use.entries, key=lambda entry: entry.closed, default=None)
    if worst is None:
        return f"{safe(use.requirement)} not judged"
    notes = [words.cover(worst)] if worst.covered_by else []
    notes += [deciding(use.entries)] if use.alone is not None else []
    note = f" ({', '.join(notes)})" if notes else ""
    return f"{safe(use.requirement)} {worst.state.value}{note}"


def _use(use: Use, record: Record, width: int, settings: Settings) -> Iterator[str]:
    head = f"{safe(use.requirement)} verification {use.number + 1}  {flow(use.title)}"
    yield from wrap(head, width, 2)
    for entry in use.entries:
        yield from evidence_lines(entry, width, settings)
    if not use.entries:
        yield from wrap("not judged: requirement not applicable", width, 4)
    if use.alone is not None:
        by = deciding(use.entries)
        yield from wrap(f"{by}; {safe(record.id)} alone shows:", width, 4)
        yield from ("  " + line for line in evidence_lines(use.alone, width - 2, settings))


# ---- a waiver


def _waiver(subject: WaiverSubject, paint: Paint, width: int, settings: Settings) -> Iterator[str]:
    waiver = subject.waiver
    kind = waiver.kind.capitalize()
    yield _head(kind, waiver.id, None, paint)
    if subject.not_in_force:
        why = "; ".join(map(flow, subject.not_in_force))
        yield from map(paint.open, wrap(f"not in force: {why}", width, 2))
    else:
        until = f" until {safe(waiver.expires)}" if waiver.expires else ""
        covers = ", ".join(rows.subject(entry) for entry in subject.covers)
        yield from wrap(f"in force{until}; covers {covers or 'nothing now'}", width, 2)
    yield ""
    yield from _facts(facts_of_waiver(subject), width)
    for title, entries in (
        ("Covered now", subject.covers),
        ("Not covered", subject.left),
    ):
        if entries:
            yield from ("", paint.strong(title))
            for entry in entries:
                yield from evidence_lines(entry, width, settings)


# ---- a nonconformance


def _report(subject: ReportSubject, paint: Paint, width: int) -> Iterator[str]:
    report, left = subject.reported.report, subject.reported.left
    yield _head("Nonconformance", report.id, None, paint)
    if left:
        yield from map(paint.open, wrap(f"open: {flow(left)}", width, 2))
    else:
        yield from wrap(f"closed by {safe(report.closed_by or '')}", width, 2)
    yield ""
    yield from _facts(facts_of_report(report, subject), width)
    lines = (
        f"{safe(name)}  " + ("unknown requirement" if of is None else _coded(*of))
        for name, of in subject.requirements
    )
    yield from _section("Requirements concerned", lines, paint, width, "none named")
    records = [_listed(record, report) for record in subject.records]
    yield from _section("Records", records, paint, width)
    waivers = [
        f"{safe(name)}  {'in force' if holds else 'not in force'}"
        for name, holds in subject.waivers
    ]
    yield from _section("Waivers and deviations of these requirements", waivers, paint, width)


def _coded(code: str, close_out: str, title: str) -> str:
    return f"{code}, {close_out}  {flow(title)}"


def _listed(record: Record, report: Nonconformance) -> str:
    does = [
        word
        for word, hit in (
            ("found it", record.id == report.found_by),
            ("retested it", record.id in report.retest),
            ("closes it", record.id == report.closed_by),
        )
        if hit
    ]
    return f"{short(record)}: {' and '.join(does)}"


# ---- an article


def _article(subject: ArticleSubject, paint: Paint, width: int) -> Iterator[str]:
    article = subject.article
    yield _head("Article", article.id, article.title, paint)
    build = safe(build_text(article.build)) if article.build else "no build given"
    still_open = [one.report.id for one in subject.reports if one.left]
    state = f"open nonconformances: {', '.join(map(safe, still_open))}" if still_open else (
        "no open nonconformance"
    )  # fmt: skip
    yield from wrap(f"{safe(article.model)} model, {build}; {state}", width, 2)
    if article.date:
        yield from wrap(f"exists since: {article.date}", width, 2)
    lines = [f"{short(record)}: {match(build)}" for record, build in subject.records]
    yield from _section("Records made on it", lines, paint, width, "none")
    reports = [reported(one) for one in subject.reports]
    yield from _section("Nonconformances", reports, paint, width, "none")


# ---- a document


def _document(subject: DocumentSubject, paint: Paint, width: int) -> Iterator[str]:
    document = subject.document
    yield _head("Document", subject.id, document.title if document else None, paint)
    if document is None:
        yield from wrap("cited, but not in the project's register of documents", width, 2)
    else:
        issue = f"issue {safe(document.issue)}" if document.issue else "no issue given"
        yield from wrap(f"{issue}, {document.date or 'no date'}", width, 2)
    sources = [
        f"{safe(one.id)}  {flow(one.title)}"
        + (f"  (clause {flow(one.source.clause)})" if one.source and one.source.clause else "")
        for one in subject.requirements
    ]
    yield from _section(
        "Requirements with this source", sources, paint, width, "none" if document else ""
    )
    yield from _section(
        "Requirements with this plan, report or risk assessment",
        [", ".join(map(safe, subject.plans))] if subject.plans else [],
        paint,
        width,
    )
    yield from _section("Records that cite it", map(short, subject.records), paint, width)
    waivers = [f"{safe(one.id)}  {one.kind} of {safe(one.requirement)}" for one in subject.waivers]
    yield from _section("Waivers and deviations that cite it", waivers, paint, width)
    agreements = [
        f"{safe(one.review)}, {one.date or one.planned or 'no date yet'}: "
        + ", ".join(map(safe, one.requirements))
        for one in subject.agreements
    ]
    yield from _section("Agreements that cite it", agreements, paint, width)
    parameters = [f"{safe(one.id)}  {flow(one.source or '')}" for one in subject.parameters]
    yield from _section("Parameters with this source", parameters, paint, width)
