"""The verification control document: ECSS-E-ST-10-02C Rev.1, Annex B."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from closeout.render.documents.sources import CONTROL, Sources, pair
from closeout.render.page import both_pages, link
from closeout.render.rows import Entry, Line


@dataclass(frozen=True, slots=True)
class _ControlRow:
    """The ten columns of ECSS-E-ST-10-02C Rev.1, Annex B."""

    id: str
    title: str
    text: str
    traceability: str
    levels: str
    methods: str
    plans: str
    evidence: tuple[str, ...]
    status: str
    close_out: str
    reason: str


def control_document(sources: Sources) -> dict[str, str]:
    """Return the document: the ten columns of the standard for each requirement."""
    dossier, entries = sources.dossier, sources.entries.values()
    pages = both_pages(
        "control.md",
        dossier,
        sources.title(CONTROL),
        sources.face(CONTROL),
        entries=[_control_row(entry, sources.links) for entry in entries],
    )
    return pair(CONTROL, pages)


def _control_row(entry: Entry, reports: Mapping[str, str]) -> _ControlRow:
    lines = entry.lines
    traceability = entry.traceability
    if entry.derived:
        traceability += ("; " if traceability else "") + "children: " + ", ".join(entry.derived)
    return _ControlRow(
        id=entry.id,
        title=entry.title,
        text=entry.text,
        traceability=traceability,
        levels=_distinct(", ".join(filter(None, (line.level, line.stage))) for line in lines),
        methods=_distinct(line.method for line in lines)
        or ("through lower-level requirements" if entry.derived else ""),
        plans=_distinct(line.plan for line in lines),
        evidence=tuple(dict.fromkeys([*_references(lines, reports), *entry.reports])),
        status=entry.status,
        close_out=entry.close_out,
        reason="; ".join(filter(None, (entry.reason, entry.agreed))),
    )


def _distinct(texts: Iterator[str]) -> str:
    return "; ".join(dict.fromkeys(text for text in texts if text))


def _references(lines: tuple[Line, ...], reports: Mapping[str, str]) -> Iterator[str]:
    for line in lines:
        path = reports.get(line.analysis)
        if path is not None:
            yield link(line.analysis, path)
        elif line.analysis:
            yield line.analysis
        if line.validation:
            yield f"validation of {line.analysis} {line.validation}"
        if line.record:
            yield line.record + (f": {line.as_run}" if line.as_run else "")
        if line.cover:
            yield line.cover
