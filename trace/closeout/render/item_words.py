"""What is said of records, waivers, nonconformances and articles, in the terminal and in documents.

Facts are pairs of a name and a text that is safe to show; a fact without a text is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from closeout.model.dossier import Evidence
from closeout.model.records import Nonconformance, Record, Waiver, build_text
from closeout.model.subject import (
    Build,
    Judged,
    RecordSubject,
    Reported,
    ReportSubject,
    WaiverSubject,
)
from closeout.render import rows
from closeout.render.plain import flow, safe

Fact = tuple[str, str | None]


def planned(item: Record | Waiver) -> str:
    """Return that an item has no date yet, or one after that of the state."""
    if item.planned is not None:
        return f"planned for {item.planned}, after the date of this state"
    return "planned, not yet performed" if isinstance(item, Record) else "no date yet"


def how_it_stands(subject: RecordSubject) -> Iterator[str]:
    """Yield what a record is: how and when it was made, its outcome, whether it still counts."""
    record = subject.record
    kind = "similarity" if record.similarity else record.method.value
    yield f"{kind} of {record.date}" if record.date else f"{kind}, {planned(record)}"
    if record.outcome:
        yield f"outcome {safe(record.outcome)}"
    if subject.replaced_by:
        yield f"replaced by {', '.join(map(safe, subject.replaced_by))}"
    if subject.altered:
        yield "its data file has changed"


def facts_of_record(subject: RecordSubject) -> Iterator[Fact]:
    """Yield what was on the bench and what came out, as it was written."""
    record = subject.record
    yield "document", flow(record.document or "")
    yield when(record, "made on"), ", ".join(build(one) for one in subject.builds)
    yield "of the same design", flow(record.same_design or "")
    yield "differs in", "; ".join(map(flow, record.differs))
    yield "as run", rows.pairs((name, str(at)) for name, at in record.conditions)
    yield "measured", measured(record)
    yield "data file", data(record)
    yield "valid for", str(record.good_for) if record.good_for else None
    yield "replaces", safe(record.replaces or "")
    yield when(record, "judged"), ", ".join(judged(one, record.date) for one in subject.judged)


def when(record: Record, done: str) -> str:
    """Return what was done, or of a planned record that it is to be done."""
    return done if record.date else f"to be {done}"


def measured(record: Record) -> str:
    """Return what a record measured, with its uncertainty, as it was written."""
    return rows.pairs(
        (name, f"{one.text} (exact: {one.exact})" if one.exact else one.text)
        for name, one in record.measured
    )


def data(record: Record) -> str:
    """Return the data file of a record with its digest."""
    if not record.data:
        return ""
    digest = f", SHA-256 {safe(record.data_sha256)}" if record.data_sha256 else ""
    return f"{safe(record.data)}{digest}"


def build(one: Build) -> str:
    """Return an article in the build that something was made on, beside its present one."""
    made = f"{safe(one.article)} {safe(build_text(one.build))}"
    if one.now is None:
        return made
    present = "its present build" if one.is_present else f"now {safe(build_text(one.now))}"
    return f"{made} ({present})"


def judged(one: Judged, made: str | None) -> str:
    """Return a requirement at the issue that a record judged, and today's where it is another.

    With the day on which it was judged anew, where that is another than that of the record.
    """
    name = safe(one.requirement)
    if one.now is None:
        return f"{name} (unknown requirement)"
    issue = f"{name} issue {safe(one.issue)}" if one.issue else f"{name}, again on {one.day}"
    notes = [f"judged anew on {one.day}"] if one.issue and one.day != made else []
    notes += [f"now at {safe(one.now)}"] if one.issue not in (None, one.now) else []
    notes += [] if one.named else ["this record is not used for it"]
    return f"{issue} ({', '.join(notes)})" if notes else issue


def deciding(entries: Sequence[Evidence]) -> str:
    """Return what decides a verification."""
    names = dict.fromkeys(entry.record or entry.analysis for entry in entries)
    known = [safe(name) for name in names if name]
    return f"decided by {', '.join(known)}" if known else "not decided"


def reported(one: Reported) -> str:
    """Return a nonconformance with what became of it."""
    return f"{safe(one.report.id)}  {became(one)}"


def became(one: Reported) -> str:
    """Return what became of a nonconformance, and which requirements it concerns."""
    text = (
        f"open: {flow(one.left)}" if one.left else f"closed by {safe(one.report.closed_by or '')}"
    )
    about = ", ".join(map(safe, one.report.requirements))
    return text + (f"; concerns {about}" if about else "")


def facts_of_waiver(subject: WaiverSubject) -> Iterator[Fact]:
    """Yield what a waiver or deviation accepts, why, until when, and who approved it."""
    waiver = subject.waiver
    named = f"{safe(waiver.requirement)}" + (f" ({flow(subject.title)})" if subject.title else "")
    cases = "all" if waiver.cases is None else ", ".join(map(safe, waiver.cases))
    yield from (
        ("requirement", named),
        ("quantity", safe(waiver.quantity or "")),
        ("accepts", flow(str(waiver.limits))),
        ("reason", flow(waiver.reason or "")),
        ("cases", cases if waiver.quantity else None),
        ("approved by", flow(waiver.approved_by or "") or "not yet approved"),
        ("date", waiver.date or planned(waiver)),
        ("expires", safe(waiver.expires or "") or "never"),
        ("document", flow(waiver.document or "")),
    )


def facts_of_report(report: Nonconformance, subject: ReportSubject) -> Iterator[Fact]:
    """Yield the facts of a nonconformance."""
    yield "article", ", ".join(build(one) for one in subject.builds)
    yield "found by", safe(report.found_by or "")
    yield "class", safe(report.klass or "")
    yield "disposition", safe(report.disposition or "") or "none yet"
    yield "cause", flow(report.cause or "")
    yield "corrective action", flow(report.corrective_action or "")
    yield "retested by", ", ".join(map(safe, report.retest))
    yield "closed by", safe(report.closed_by or "") or "nothing yet"


def short(record: Record) -> str:
    """Return a record in one line."""
    outcome = f", outcome {safe(record.outcome)}" if record.outcome else ""
    title = f" ({flow(record.title)})" if record.title else ""
    made = f"{record.method.value}, {record.date or planned(record)}"
    return f"{safe(record.id)}  {made}{outcome}{title}"


def match(build: Build) -> str:
    """Return the build that a record was made on, beside the present one."""
    made = safe(build_text(build.build))
    if build.now is None:
        return f"on {made}; the present build is not given"
    if build.is_present:
        return f"on {made}, its present build"
    return f"on {made}, present is {safe(build_text(build.now))}"
