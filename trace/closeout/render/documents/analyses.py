"""The volume of analysis reports: what each analysis is for, its verdict and its least margin."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Evidence
from closeout.model.question import AnalysisSpec
from closeout.render import rows, trail, validations, words
from closeout.render.documents.sources import ANALYSES, Sources, pair
from closeout.render.page import both_pages, link
from closeout.render.plain import Markup, flow, safe


@dataclass(frozen=True, slots=True)
class Report:
    """One analysis with the verdict that is nearest to its limit, or beyond it."""

    analysis: Markup
    purpose: str
    requirements: str
    state: str
    margin: str
    validation: str
    uncertainty: str


def analysis_reports(sources: Sources) -> dict[str, str]:
    """Return the contents of the volume; nothing where there is no analysis."""
    if not sources.dossier.analyses:
        return {}
    pages = both_pages(
        "analyses.md",
        sources.dossier,
        sources.title(ANALYSES),
        sources.face(ANALYSES),
        reports=[_report(spec, sources) for spec in sources.dossier.analyses],
    )
    return pair(ANALYSES, pages)


def _report(spec: AnalysisSpec, sources: Sources) -> Report:
    decided = [
        evidence
        for name in sources.served[spec.name]
        for evidence in sources.results[name].evidence
        if sources.links.get(safe(evidence.analysis or "")) == sources.reports[spec.name]
    ]
    worst = _worst(decided)
    return Report(
        analysis=link(safe(spec.name), sources.reports[spec.name]),
        purpose=flow(trail.doc_parts(spec.doc)[0]) or "no purpose stated",
        requirements=", ".join(map(safe, sources.served[spec.name])),
        state="" if worst is None else _state(worst),
        margin="" if worst is None else f"{rows.margin(worst)} ({rows.subject(worst)})",
        validation="; ".join(validations.of(spec, sources.dossier)),
        uncertainty=words.model_uncertainty(spec),
    )


def _worst(decided: list[Evidence]) -> Evidence | None:
    """Return the verdict that is worst, then that with the least margin as a share of its limit."""
    return min(
        decided,
        key=lambda one: (rows.BADNESS.index(one.state), rows.share_of_limit(one)),
        default=None,
    )


def _state(one: Evidence) -> str:
    cover = words.cover(one)
    return f"{one.state.value}, {cover}" if cover else one.state.value
