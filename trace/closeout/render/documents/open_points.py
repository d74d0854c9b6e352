"""Open points: what is not closed."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import State
from closeout.render import trail, words
from closeout.render.documents.sources import OPEN, Sources, pair
from closeout.render.page import both_pages
from closeout.render.plain import safe
from closeout.render.rows import Entry, Line


@dataclass(frozen=True, slots=True)
class _Section:
    title: str
    points: list[tuple[Entry, Line]]


def open_points(sources: Sources) -> dict[str, str]:
    """Return the document: what is not closed and due, and the findings."""
    dossier = sources.dossier
    points = [(entry, line) for entry in sources.entries.values() for line in entry.lines]
    failed = [(e, line) for e, line in points if line.failed]
    sections = [
        _Section(
            "Non-compliances without waiver or deviation", [p for p in failed if not p[1].cover]
        ),
        _Section("Non-compliances under waiver or deviation", [p for p in failed if p[1].cover]),
        _Section("Could not be evaluated", _in_state(points, State.ERROR)),
        _Section("Due and open", _due_and_open(points, frozenset(map(safe, trail.loose(dossier))))),
    ]
    pages = both_pages(
        "open.md", dossier, sources.title(OPEN), sources.face(OPEN), sections=sections,
        problems=dossier.problems,
        off=words.switched_off(dossier.off) if dossier.off else None,
    )  # fmt: skip
    return pair(OPEN, pages)


def _in_state(points: list[tuple[Entry, Line]], state: State) -> list[tuple[Entry, Line]]:
    return [(entry, line) for entry, line in points if line.state == state]


def _due_and_open(
    points: list[tuple[Entry, Line]], loose: frozenset[str]
) -> list[tuple[Entry, Line]]:
    """Return what is due and open, also what has nothing that could close it."""
    return [
        (entry, line)
        for entry, line in points
        if (line.due and line.state == State.OPEN) or entry.id in loose
    ]
