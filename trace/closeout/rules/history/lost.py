"""Rules over what stood in an earlier state and does not now: records, reports, identifiers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from closeout.graph import Index
from closeout.graph.new_findings import warning
from closeout.measure import Units
from closeout.model.history import ANEW, History, LostRecord
from closeout.model.problem import Finding, Pointer
from closeout.model.records import Nonconformance, Record, Requirement, Waiver
from closeout.rules.record_findings import failing

_MOST_TEXT = 70


def lost(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """Yield what was deleted, edited or given another meaning, and must not be."""
    yield from _identifier_reused(index, history)
    yield from _record_edited(index, history, units)
    if index.whole:  # else it may stand in what could not be read
        yield from _failed_record_deleted(index, history, units)
        yield from _report_deleted(index, history)
    yield from _report_edited(index, history)


def _identifier_reused(index: Index, history: History) -> Iterator[Finding]:
    project = index.project
    kinds: Mapping[str, Iterable[Requirement | Record | Nonconformance | Waiver]] = {
        "requirement": project.requirements,
        "record": project.records,
        "nonconformance": project.nonconformances,
        "waiver": project.waivers,
    }
    places = {(kind, item.id): item.where for kind, items in kinds.items() for item in items}
    for one in history.reused:
        where = places.get((one.kind, one.id))
        if where is not None:
            yield warning(
                "identifier-reused",
                where / "id",
                f"until {one.day} the {one.kind} {one.id} was something else: {_cut(one.meant)}",
                "use a new identifier; documents still refer to the old meaning",
            )


def _failed_record_deleted(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """A failed record counts until another replaces it; to delete it makes no test good."""
    reported: set[str] = set()
    paths = {item.where.path for item in index.project.requirements}
    paths |= {item.where.path for item in index.project.records}
    for earlier in history.lost:
        record = earlier.record
        why = None if record.id in reported else _failure(earlier, index, history, units)
        if why is None and record.data is not None and record.id not in reported:
            why = f"what {record.data} shows, which is no longer judged"
        if why is None:
            continue
        reported.add(record.id)
        where = Pointer(earlier.path) if earlier.path in paths else index.project.charter.where
        found = warning(
            "failed-record-deleted",
            where,
            f"the record {record.id} of {record.date} found {why}, and is deleted: it was in"
            f" {earlier.path} on {earlier.day}",
            "restore it; a later record may replace it (replaces:) when its nonconformance is"
            " closed",
        )
        yield replace(found, item=record.id)


def _record_edited(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """A failed test is no slip of the pen, and what a record stands on is not what fits today."""
    reported: set[str] = set()
    for earlier in history.edited:
        name = earlier.record.id
        if name in reported or name not in index.records:
            continue
        why = _failure(earlier, index, history, units)
        stands_on = [one for one in earlier.changed if one not in ("result", ANEW)]
        has_report = any(one.found_by == name for one in index.project.nonconformances)
        if why is not None and not (has_report and {*earlier.changed} == {ANEW}):
            reported.add(name)
            yield warning(
                "failed-record-edited",
                index.records[name].where,
                f"the record {name} found {why} on {earlier.day}, and has another result now",
                "restore it; a later record may replace it (replaces:) when its nonconformance is"
                " closed",
            )
        elif stands_on:
            reported.add(name)
            yield warning(
                "record-edited",
                index.records[name].where,
                f"the record {name} stated {', '.join(stands_on)} on {earlier.day}, and does not"
                " now",
                "restore it; a repeated test needs its own record, an old measurement that is"
                " judged against a raised issue the date: judged: {...: {issue: ..., date: ...}}."
                " If it"
                " was a mistake, switch this rule off with that reason",
            )


def _report_deleted(index: Index, history: History) -> Iterator[Finding]:
    """A nonconformance is closed by a record, not by taking it out of the file."""
    for one in history.gone:
        found = warning(
            "nonconformance-deleted",
            index.project.charter.where,
            f"the nonconformance {one.id} is deleted: it existed until {one.day}"
            f" ({_cut(one.meant)})",
            "restore it; close it by disposition, closed_by and retest",
        )
        yield replace(found, item=one.id)


def _report_edited(index: Index, history: History) -> Iterator[Finding]:
    """What a nonconformance names cannot be closed; so nothing is taken out of it."""
    places = {report.id: report.where for report in index.project.nonconformances}
    for one in history.unnamed:
        yield warning(
            "nonconformance-edited",
            places[one.report],
            f"the nonconformance {one.report} named {one.requirement} on {one.day}, and does not"
            " now",
            f"name it again, and close the nonconformance; if {one.requirement} was named by"
            " mistake,"
            " switch this rule off for the nonconformance with that reason",
        )


def _failure(earlier: LostRecord, index: Index, history: History, units: Units) -> str | None:
    """Return what a record found not met, None where it found nothing."""
    record = earlier.record
    if record.outcome == "not met":
        names = ", ".join(name for name, _ in record.judged)
        return f"{names} not met" if names else "what it judged not met"
    for name, issue in record.judged or [(name, None) for name in index.requirements]:
        states = [version.requirement for version in history.versions.get(name, ())]
        base = None if history.base is None else history.base.requirements.get(name)
        states += [one for one in (base, index.requirements.get(name)) if one is not None]
        # Limits of another issue are not those that it spoke of.
        for requirement in (one for one in states if issue is None or one.issue == issue):
            quantity = failing(record, requirement, units)
            if quantity is not None:
                return f"{quantity} of {name} at {dict(record.measured)[quantity].text}, not met"
    return None


def _cut(text: str) -> str:
    return text if len(text) <= _MOST_TEXT else f"{text[: _MOST_TEXT - 3]}..."
