"""The records of a requirement from the first to the last, as text and for programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from closeout.model.dossier import Evidence, State
from closeout.model.subject import RecordSubject, Use
from closeout.render import item_words
from closeout.render.jsonform import evidence_json
from closeout.render.plain import flow, safe
from closeout.render.terminal import Paint, judged_text, wrap

# A record, and why it is no evidence of the requirement today: nothing where it is.
Past = tuple[RecordSubject, tuple[str, ...]]


def record_history_lines(
    name: str, history: Iterable[Past], paint: Paint, width: int
) -> Iterator[str]:
    """Yield the records of a requirement with a heading, nothing where it has none."""
    some = list(history)
    if some:
        yield from ("", paint.strong("Tests and other records, the oldest first"))
    for subject, why_not in some:
        record = subject.record
        title = f"  {flow(record.title)}" if record.title else ""
        yield from wrap(f"{safe(record.id)}{title}", width, 2)
        yield from wrap("; ".join(item_words.how_it_stands(subject)), width, 4)
        for fact, text in _facts(name, subject):
            if text:
                yield from wrap(f"{fact}: {text}", width, 4)
        for number, entry, alone in _shown(name, subject):
            by_itself = ", by itself" if alone else ""
            yield from wrap(f"verification {number + 1}{by_itself}: {judged_text(entry)}", width, 4)
            if entry.message and entry.state is not State.MET and not why_not:
                yield from wrap(flow(entry.message), width, 6)
        counts = f"does not count today: {flow('; '.join(why_not))}" if why_not else "counts today"
        yield from wrap(counts, width, 4)


def _facts(name: str, subject: RecordSubject) -> Iterator[tuple[str, str]]:
    """Yield what is needed to know one record from another: the sheet of each has the rest."""
    record = subject.record
    yield "document", flow(record.document or "")
    builds = map(item_words.build, subject.builds)
    yield item_words.when(record, "made on"), ", ".join(builds)
    own = (one for one in subject.judged if one.requirement == name)
    said = (item_words.judged(one, record.date) for one in own)
    yield item_words.when(record, "judged"), ", ".join(said)
    yield "measured", item_words.measured(record)


def _shown(name: str, subject: RecordSubject) -> Iterator[tuple[int, Evidence, bool]]:
    """Yield what a record shows of each verification, and whether something else decides that."""
    for use in subject.uses:
        if use.requirement == name and subject.record.date is not None:
            for entry in _entries(use, subject.record.id):
                yield use.number, entry, use.alone is not None


def _entries(use: Use, record: str) -> tuple[Evidence, ...]:
    if use.alone is not None:
        return (use.alone,)
    return tuple(entry for entry in use.entries if entry.record == record)


def record_history_json(name: str, history: Iterable[Past]) -> list[dict[str, Any]]:
    """Return the records of a requirement for programs, the oldest first."""
    return [_record(name, subject, why_not) for subject, why_not in history]


def _record(name: str, subject: RecordSubject, why_not: tuple[str, ...]) -> dict[str, Any]:
    record = subject.record
    said = next((one for one in subject.judged if one.requirement == name), None)
    return {
        "record": record.id,
        "title": record.title,
        "method": record.method.value,
        "similarity": record.similarity,
        "document": record.document,
        "date": record.date,
        "planned": record.planned,
        "articles": [
            {"article": one.article, "build": one.build, "build_now": one.now}
            for one in subject.builds
        ],
        "issue": None if said is None else said.issue,
        "issue_now": None if said is None else said.now,
        "judged_on": None if said is None else said.day,
        "measured": {quantity: one.text for quantity, one in record.measured},
        "outcome": record.outcome,
        "counts": not why_not,
        "does_not_count": list(why_not),
        "replaced_by": list(subject.replaced_by),
        "shows": [
            {"verification": number + 1, "decides": not alone, **evidence_json(entry)}
            for number, entry, alone in _shown(name, subject)
        ],
    }
