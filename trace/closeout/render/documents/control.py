"""The verification control document: ECSS-E-ST-10-02C Rev.1, Annex B."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.render import rows, validations, words
from closeout.render.documents.sources import CONTROL, Sources, pair
from closeout.render.page import both_pages
from closeout.render.plain import Markup
from closeout.render.rows import Entry, Line


@dataclass(frozen=True, slots=True)
class _Verification:
    """One line of the table: a method at a level, in a stage, for a review."""

    how: str
    plan: str
    evidence: tuple[str | Markup, ...]
    state: str


@dataclass(frozen=True, slots=True)
class _Requirement:
    """What the standard's ten columns say of the whole requirement, and its verifications."""

    entry: Entry
    traceability: str
    verifications: tuple[_Verification, ...]
    reason: str


def control_document(sources: Sources) -> dict[str, str]:
    """Return the document: the close-out by review, then the ten columns of the standard."""
    dossier = sources.dossier
    pages = both_pages(
        "control.md",
        dossier,
        sources.title(CONTROL),
        sources.face(CONTROL),
        requirements=[_requirement(entry, sources) for entry in sources.entries.values()],
        by_review=rows.by_review(dossier),
        statuses=words.statuses(),
    )
    return pair(CONTROL, pages)


def _requirement(entry: Entry, sources: Sources) -> _Requirement:
    traceability = entry.traceability
    if entry.derived:
        traceability += ("; " if traceability else "") + "children: " + ", ".join(entry.derived)
    return _Requirement(
        entry=entry,
        traceability=traceability,
        verifications=tuple(_verification(line, entry, sources) for line in entry.folded),
        reason="; ".join(filter(None, (entry.remark, entry.agreed, *entry.reports))),
    )


def _verification(line: Line, entry: Entry, sources: Sources) -> _Verification:
    how = ", ".join(filter(None, (line.method, line.level, line.stage, line.review)))
    if not line.method and entry.derived:
        how = "through lower-level requirements"
    return _Verification(
        how=how,
        plan=line.plan,
        evidence=tuple(_evidence(line, sources)),
        state=f"{line.state}, {line.cover_words}" if line.cover else line.state,
    )


def _evidence(line: Line, sources: Sources) -> Iterator[str | Markup]:
    if behind := sources.to_evidence(line):
        yield behind
    if line.validation and line.validation != validations.NOT_RUN:
        yield f"validation {line.validation}"
    if line.as_run:
        yield line.as_run
