"""Open points: everything that is not closed, whose it is, until when, and what closes it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

from closeout.model.dossier import Evaluation, Evidence, RequirementResult, State
from closeout.model.problem import Severity
from closeout.model.records import Record
from closeout.model.subject import ReportSubject, WaiverSubject
from closeout.render import rows, trail, words
from closeout.render.documents.sources import OPEN, Sources, pair
from closeout.render.for_readers import place
from closeout.render.order import natural
from closeout.render.page import both_pages
from closeout.render.plain import Markup, flow, safe

# What a verification is, by its state; a shortfall that is accepted stands in a section of its own.
_KINDS = {State.NOT_MET: "not met", State.ERROR: "could not be evaluated", State.OPEN: "open"}


@dataclass(frozen=True, slots=True)
class Point:
    """A verification that is not closed, or a requirement that is open for another reason.

    ``late`` where it is due at the review that is judged, or the day of its review has passed.
    """

    requirement: Markup | str
    identifier: str
    title: str
    what: str
    review: str
    date: str
    owner: str
    state: str
    reason: str
    action: str
    late: bool


@dataclass(frozen=True, slots=True)
class Accepted:
    """A shortfall under a waiver or deviation in force."""

    requirement: Markup | str
    what: str
    value: str
    limit: str
    margin: str
    cover: Markup | str
    expires: str


@dataclass(frozen=True, slots=True)
class Section:
    """The points of one review."""

    title: str
    points: tuple[Point, ...]


def open_points(sources: Sources) -> dict[str, str]:
    """Return the document: late ones first, then by review; what is accepted; the findings."""
    dossier = sources.dossier
    points = list(_points(sources))
    pages = both_pages(
        "open.md",
        dossier,
        sources.title(OPEN),
        sources.face(OPEN),
        by_review=rows.by_review(dossier),
        sections=list(_sections(points, sources)),
        accepted=list(_accepted(sources)),
        errors=[one for one in dossier.problems if one.severity is Severity.ERROR],
        warnings=[one for one in dossier.problems if one.severity is Severity.WARNING],
        place=place,
        off=words.switched_off(dossier.off) if dossier.off else None,
    )
    return pair(OPEN, pages)


def _sections(points: list[Point], sources: Sources) -> Iterator[Section]:
    late = [point for point in points if point.late]
    if late:
        yield Section("Late", tuple(sorted(late, key=_by_owner)))
    order = {safe(review): place for place, review in enumerate(sources.dossier.reviews)}

    def review_of(point: Point) -> tuple[int, str]:
        return order.get(point.review, len(order)), point.review

    rest = sorted((p for p in points if not p.late), key=lambda p: (review_of(p), _by_owner(p)))
    for (_, review), some in groupby(rest, key=review_of):
        yield Section(f"For {review}" if review else "For no review", tuple(some))


def _by_owner(point: Point) -> tuple[object, ...]:
    return point.owner, natural(point.identifier)


def _points(sources: Sources) -> Iterator[Point]:
    """Yield a point for each verification that is not closed, and for what is open without one."""
    records = {record.id: record for record in sources.dossier.records}
    loose = trail.loose(sources.dossier)
    for result in sources.dossier.requirements:
        for _, some in groupby(result.evidence, lambda entry: entry.number):
            left = [entry for entry in some if not entry.closed]
            if left:
                yield _of_verification(result, rows.deciding(left), records, sources)
        if result.id in loose:
            yield _of_requirement(result, sources)


def _of_verification(
    result: RequirementResult, one: Evidence, records: Mapping[str, Record], sources: Sources
) -> Point:
    line = rows.line(one)
    date = _date_of(one.review, sources)
    day = sources.dossier.snapshot.date
    quantity = f": {rows.subject(one)}" if one.quantity else ""
    reason = line.message or (f"judged {line.value}, {line.limit}" if line.value else "")
    return Point(
        requirement=sources.to_requirement(result.id),
        identifier=result.id,
        title=safe(result.title),
        what=", ".join(filter(None, (line.method, line.level, line.stage))) + quantity,
        review=safe(one.review or ""),
        date=date,
        owner=safe(result.owner or ""),
        state=_KINDS.get(one.state, "open"),
        reason=reason,
        action=_action(result, one, records, sources),
        late=one.due or bool(date and day and date < day),
    )


def _of_requirement(result: RequirementResult, sources: Sources) -> Point:
    """Return what is due and open though no verification of it is."""
    review = sources.dossier.review
    return Point(
        requirement=sources.to_requirement(result.id),
        identifier=result.id,
        title=safe(result.title),
        what="the requirement",
        review=safe(review or ""),
        date=_date_of(review, sources),
        owner=safe(result.owner or ""),
        state="open",
        reason=flow(result.why),
        action=_of_none(result),
        late=True,
    )


def _of_none(result: RequirementResult) -> str:
    if words.is_proposed(result):
        return "agree that it does not apply"
    return "" if result.evidence else "plan a verification"


def _date_of(review: str | None, sources: Sources) -> str:
    return sources.on_file.charter.review_dates.get(review or "", "")


def _action(
    result: RequirementResult, one: Evidence, records: Mapping[str, Record], sources: Sources
) -> str:
    """Return what closes a verification, as far as what is on file tells it."""
    if one.state is State.ERROR:
        return _correction(result, one, sources)
    if one.state is State.NOT_MET:
        asked = [
            safe(subject.waiver.id)
            for subject in sources.all_of(WaiverSubject)
            if subject.waiver.requirement == result.id and subject.not_in_force
        ]
        tested = _retested(result, records, sources)
        if tested:
            return f"close {', '.join(tested)} by its retest, or correct it again"
        way = f"approve {', '.join(asked)}" if asked else "ask for a waiver"
        return f"correct it, or {way}"
    said = sources.on_file.requirements.get(result.id)
    if said is not None and said.verification[one.number].criterion.limits.undecided:
        return "decide the limit"
    if one.rebuilt:
        return f"repeat it on the present build of {', '.join(map(safe, one.rebuilt))}"
    if one.awaiting:
        return f"measure {', '.join(map(safe, one.awaiting))}"
    if any(run.failure is not None for run in _runs(result, one, sources)):
        return "correct the analysis that it rests on"
    named = [records[name] for name in one.records if name in records]
    planned = [record for record in named if record.date is None]
    if planned:
        return "perform " + ", ".join(
            safe(r.id) + (f" on {r.planned}" if r.planned else "") for r in planned
        )
    return f"perform the {safe(one.method)}" if not named else "perform it again"


def _retested(
    result: RequirementResult, records: Mapping[str, Record], sources: Sources
) -> list[str]:
    """Return the open nonconformances of a requirement of which a retest was made already."""
    reports = (
        one.reported for one in sources.all_of(ReportSubject) if one.reported.left is not None
    )
    return [
        safe(one.report.id)
        for one in reports
        if result.id in one.report.requirements
        and any(name in records and records[name].date for name in one.report.retest)
    ]


def _correction(result: RequirementResult, one: Evidence, sources: Sources) -> str:
    """Return what is to be corrected before a verification can be judged."""
    if _runs(result, one, sources):
        return "correct the analysis"
    return "correct what the findings below name" if one.analysis else "correct the record"


def _runs(result: RequirementResult, one: Evidence, sources: Sources) -> list[Evaluation]:
    """Return the evaluations that were made for a requirement by an analysis of its evidence."""
    return [
        run
        for run in sources.dossier.evaluations
        if result.id in run.serves and trail.is_named(run.analysis, one.analysis)
    ]


def _accepted(sources: Sources) -> Iterator[Accepted]:
    waivers = {subject.waiver.id: subject.waiver for subject in sources.all_of(WaiverSubject)}
    for result in sources.dossier.requirements:
        for one in result.evidence:
            if one.covered_by:
                line, waiver = rows.line(one), waivers.get(one.covered_by)
                yield Accepted(
                    requirement=sources.to_requirement(result.id),
                    what=rows.subject(one),
                    value=line.value,
                    limit=line.limit,
                    margin=line.margin,
                    cover=sources.to_waiver(one.covered_by),
                    expires=safe(waiver.expires or "never") if waiver else "",
                )
