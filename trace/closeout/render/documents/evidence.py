"""Test summary and evidence sheets: what was on the bench, and what came out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from closeout.model.dossier import Evidence
from closeout.model.records import Record
from closeout.model.subject import RecordSubject, Reported, Use
from closeout.render import item_words, rows, words
from closeout.render.compared_table import Table, table_of
from closeout.render.documents.sources import EVIDENCE, Sources, pair
from closeout.render.page import both_pages
from closeout.render.plain import Markup, flow, markdown, safe

_LAST = "9999-12-31"  # what is planned comes behind what was made


@dataclass(frozen=True, slots=True)
class Summary:
    """A record in one row: made on what, when, how it ended and what differed."""

    record: Markup | str
    title: str
    made_on: str
    document: str
    date: str
    outcome: str
    reports: Markup
    differs: str


@dataclass(frozen=True, slots=True)
class Group:
    """The records of one method."""

    title: str
    rows: tuple[Summary, ...]


@dataclass(frozen=True, slots=True)
class Criterion:
    """What a record shows of a criterion, and what was decided."""

    requirement: Markup | str
    quantity: str
    conditions: str
    value: str
    limit: str
    margin: str
    state: str
    remark: str


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition as it was run, beside what a requirement asks, how near, and the verdict."""

    name: str
    as_run: str
    required: str
    within: str
    verdict: str
    requirement: Markup | str


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that is known of one record."""

    name: str
    title: str
    state: str
    facts: tuple[tuple[str, str | Markup], ...]
    as_run: tuple[Condition, ...]
    criteria: tuple[Criterion, ...]
    inputs: tuple[tuple[str, str], ...]
    compared: Table | None


def evidence_document(sources: Sources) -> dict[str, str]:
    """Return the summary by method, then a sheet for each record, in the order of identifiers."""
    subjects = sorted(sources.all_of(RecordSubject), key=lambda one: one.record.id)
    if not subjects:
        return {}
    pages = both_pages(
        "evidence.md",
        sources.dossier,
        sources.title(EVIDENCE),
        sources.face(EVIDENCE),
        groups=list(_groups(subjects, sources)),
        sheets=[_sheet(one, sources) for one in subjects],
    )
    return pair(EVIDENCE, pages)


def _groups(subjects: list[RecordSubject], sources: Sources) -> Iterator[Group]:
    titles = {
        "test": "Tests",
        "inspection": "Inspections",
        "review of design": "Reviews of design",
        "similarity": "Similarity",
    }
    for kind, title in titles.items():
        some = [one for one in subjects if _kind(one.record) == kind]
        if some:
            some.sort(key=lambda one: (one.record.date or _LAST, one.record.id))
            yield Group(title, tuple(_summary(one, sources) for one in some))


def _kind(record: Record) -> str:
    return "similarity" if record.similarity else record.method.value


def _summary(subject: RecordSubject, sources: Sources) -> Summary:
    record = subject.record
    return Summary(
        record=sources.to_record(record.id),
        title=flow(record.title or ""),
        made_on=", ".join(map(item_words.build, subject.builds)),
        document=flow(record.document or ""),
        date=record.date or item_words.planned(record),
        outcome=safe(record.outcome or "") or _outcome(subject),
        reports=_joined("; ", (_reported(one, sources) for one in _reports(subject))),
        differs="; ".join(map(flow, record.differs)),
    )


def _outcome(subject: RecordSubject) -> str:
    """Return what a record that measured something shows of its requirements, the worst first."""
    found: dict[str, list[str]] = {}
    for use in subject.uses:
        entries = use.entries if use.alone is None else (use.alone,)
        if entries and subject.record.date:
            worst = min(entries, key=lambda one: rows.BADNESS.index(one.state))
            found.setdefault(worst.state.value, []).append(safe(use.requirement))
    if found:
        return "; ".join(f"{state}: {', '.join(names)}" for state, names in found.items())
    return "measured inputs" if subject.inputs and subject.record.date else ""


def _sheet(subject: RecordSubject, sources: Sources) -> Sheet:
    record = subject.record
    same = (one for one in sources.dossier.compared if one.record == record.id)
    return Sheet(
        name=safe(record.id),
        title=flow(record.title or ""),
        state="; ".join(item_words.how_it_stands(subject)),
        facts=tuple(_facts(subject, sources)),
        as_run=tuple(dict.fromkeys(_as_run(subject, sources))),
        criteria=tuple(_criteria(subject, sources)),
        inputs=tuple((safe(name), flow(how)) for name, how in subject.inputs),
        compared=table_of(same),
    )


def _facts(subject: RecordSubject, sources: Sources) -> Iterator[tuple[str, str | Markup]]:
    record = subject.record
    links = {"replaces": sources.to_record(record.replaces or "")}
    for name, text in item_words.facts_of_record(subject):
        if text:
            yield name, links.get(name, text)
    if subject.replaced_by:
        yield "replaced by", _joined(", ", map(sources.to_record, subject.replaced_by))
    if record.data:
        yield "data file today", _data_today(subject)
    for one in subject.found:
        yield "nonconformance found", _reported(one, sources)
    for one in subject.closes:
        yield "nonconformance closed or retested", _reported(one, sources)
    if record.explained is not None:
        said = record.explained
        yield (
            "why it is not what was predicted",
            f"{flow(said.text)} ({flow(said.document)}, {flow(said.by)})",
        )


def _data_today(subject: RecordSubject) -> str:
    if subject.altered:
        return "missing, or not the one that was recorded"
    if subject.record.data_sha256 is None:
        return "not known to be the one that was recorded: the record has no digest of it"
    return "the one that was recorded"


def _reports(subject: RecordSubject) -> Iterator[Reported]:
    """Yield the nonconformances that a record found, closes or retests, each once."""
    return iter({one.report.id: one for one in (*subject.found, *subject.closes)}.values())


def _reported(one: Reported, sources: Sources) -> Markup:
    name = sources.to_nonconformance(one.report.id)
    return Markup(f"{markdown(name)} {markdown(item_words.became(one))}")


def _joined(between: str, parts: Iterable[Markup | str]) -> Markup:
    return Markup(between.join(map(markdown, parts)))


def _as_run(subject: RecordSubject, sources: Sources) -> Iterator[Condition]:
    for use in subject.uses:
        for entry in (*use.entries, *([use.alone] if use.alone else [])):
            for row in entry.as_run:
                if row.record == subject.record.id:
                    yield Condition(
                        safe(row.name), flow(row.as_run), flow(row.required),
                        flow(row.within or ""), safe(row.verdict),
                        sources.to_requirement(use.requirement),
                    )  # fmt: skip


def _criteria(subject: RecordSubject, sources: Sources) -> Iterator[Criterion]:
    for use in subject.uses:
        if not use.entries and use.alone is None:
            yield _criterion(use, None, "not judged: the requirement does not apply", sources)
        for entry in use.entries if use.alone is None else ():
            yield _criterion(use, entry, "", sources)
        if use.alone is not None:
            decides = item_words.deciding(use.entries)
            yield _criterion(use, use.alone, f"shown by this record alone; {decides}", sources)


def _criterion(use: Use, entry: Evidence | None, remark: str, sources: Sources) -> Criterion:
    requirement = sources.to_requirement(use.requirement)
    if entry is None:
        return Criterion(requirement, "", "", "", "", "", "", remark)
    line = rows.line(entry)
    remarks = (line.message, words.how_sure(entry), remark)
    return Criterion(
        requirement=requirement,
        quantity=rows.subject(entry) if entry.quantity else "",
        conditions=line.conditions,
        value=f"{line.value} ({line.nominal})" if line.nominal else line.value,
        limit=line.limit,
        margin=line.margin,
        state=f"{line.state}, {line.cover_words}" if line.cover else line.state,
        remark="; ".join(filter(None, remarks)),
    )
