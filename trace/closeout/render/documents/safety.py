"""The safety extract: what can hurt, and what stands between."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.model.dossier import RequirementResult
from closeout.model.subject import ReportSubject
from closeout.render import rows, trail, words
from closeout.render.documents.sources import SAFETY, Sources, pair
from closeout.render.order import by_identifier
from closeout.render.page import both_pages, doc_markdown, link
from closeout.render.plain import Markup, count, flow, safe


@dataclass(frozen=True, slots=True)
class Shown:
    """One verification of a safety requirement: what was counted or measured, and the limit."""

    how: str
    evidence: Markup | str
    quantity: str
    value: str
    limit: str
    margin: str
    state: str


@dataclass(frozen=True, slots=True)
class Safety:
    """A safety requirement with its state, and what stands against it."""

    requirement: Markup | str
    title: str
    kind: str
    code: str
    close_out: str
    against: Markup | str
    shown: tuple[Shown, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """What an analysis warns of."""

    analysis: Markup
    text: Markup


def safety_extract(sources: Sources) -> dict[str, str]:
    """Return every requirement that is marked for safety, those that are not closed first."""
    some = [r for r in by_identifier(sources.dossier.requirements) if r.safety]
    if not some:
        return {}
    some.sort(key=lambda result: result.closed)
    pages = both_pages(
        "safety.md",
        sources.dossier,
        sources.title(SAFETY),
        sources.face(SAFETY),
        rows=[_row(result, sources) for result in some],
        said=_said(some),
        work=words.CAUTION_WORK,
        cautions=list(_cautions(some, sources)),
    )
    return pair(SAFETY, pages)


def _said(some: list[RequirementResult]) -> str:
    left = sum(not result.closed for result in some)
    return f"{count(len(some), 'requirement')} marked for safety, {left} of them not closed."


def _row(result: RequirementResult, sources: Sources) -> Safety:
    entry = sources.entries[result.id]
    return Safety(
        requirement=sources.to_requirement(result.id),
        title=f"{entry.title}: {entry.text}",
        kind=entry.safety,
        code=entry.compliance,
        close_out=entry.close_out,
        against=Markup(", ".join(_against(result, sources))),
        shown=tuple(_shown(line, sources) for line in entry.folded),
    )


def _against(result: RequirementResult, sources: Sources) -> Iterator[str]:
    """Yield waivers and deviations in force, and nonconformances that are open."""
    for name in dict.fromkeys(e.covered_by for e in result.evidence if e.covered_by):
        yield f"{sources.to_waiver(name)} in force"
    for report in sources.all_of(ReportSubject):
        about = {name for name, _ in report.requirements}
        if report.reported.left and result.id in about:
            yield f"{sources.to_nonconformance(report.reported.report.id)} open"


def _shown(line: rows.Line, sources: Sources) -> Shown:
    return Shown(
        how=", ".join(filter(None, (line.method, line.level, line.stage, line.review))),
        evidence=sources.to_evidence(line),
        quantity=line.quantity,
        value=line.value,
        limit=line.limit,
        margin=line.margin,
        state=f"{line.state}, {line.cover_words}" if line.cover else line.state,
    )


def _cautions(some: list[RequirementResult], sources: Sources) -> Iterator[Caution]:
    """Yield the cautions of the analyses that serve these requirements, each once."""
    serving = {entry.analysis for result in some for entry in result.evidence if entry.analysis}
    for spec in sources.dossier.analyses:
        cautions = trail.doc_parts(spec.doc)[2]
        if cautions and serving & set(_names(spec.name, sources)):
            yield Caution(link(safe(spec.name), sources.reports[spec.name]), doc_markdown(cautions))


def _names(analysis: str, sources: Sources) -> Iterator[str]:
    """Yield the names under which evidence knows an analysis."""
    yield analysis
    path = sources.reports[analysis]
    yield from (flow(name) for name, where in sources.links.items() if where == path)
