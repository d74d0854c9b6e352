"""Which texts of a requirement the present one is held against: those of the commits before it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from closeout.load.facts import KINDS, Item, typed
from closeout.load.line import Line, Row, document_of
from closeout.model.history import Base, Version
from closeout.model.issue import is_raised
from closeout.model.records import Project, Requirement


def began(line: Line, project: Project, base: Base | None) -> Iterator[tuple[str, Version]]:
    """Yield the earliest text of a requirement since which its issue was not raised.

    A requirement of which the text is that of its last commit, letter by letter, is passed over,
    and one that took another's identifier, of which that is told.
    """
    kind = KINDS["requirements"]
    others = line.gone.keys() | line.returned.keys()
    for requirement in project.requirements:
        if (kind, requirement.id) in others:
            continue
        rows = line.versions.get(requirement.id, [])
        number = len(rows)
        while number and not is_raised(rows[number - 1][0].get("issue", "A"), requirement.issue):
            number -= 1
        yield from _first(rows[number:], requirement, base)


def _first(
    rows: list[Row], requirement: Requirement, base: Base | None
) -> Iterator[tuple[str, Version]]:
    """Yield the first of some texts, and what was first asked beside it, if it may differ."""
    if not rows:
        return
    texts = [item for item, _, _ in rows]
    later = _asked_later([item.get("verification", []) for item in texts])
    asked = [*texts[0].get("verification", []), *later]
    alike = texts[0]["statement"] == texts[-1]["statement"]
    changed = base is not None and requirement.id in base.requirements
    if changed or not alike or asked != texts[-1].get("verification", []):
        first, more = (
            typed("requirements", {**texts[0], "verification": part}, "")
            for part in (texts[0].get("verification", []), later)
        )
        yield requirement.id, Version(rows[0][1], first, more.verification)


def _asked_later(texts: Sequence[Sequence[Item]]) -> list[Item]:
    """Return what was first asked of each quantity of the last text that the first has not."""
    seen = {part.get("quantity") for part in texts[0]}
    counted = {part.get("quantity") for part in texts[-1]}
    found: list[Item] = []
    for text in texts:
        found += [part for part in text if part.get("quantity") in counted - seen]
        seen |= {part.get("quantity") for part in text}
    return found


def followed(line: Line, project: Project, base: Base | None) -> Iterator[tuple[str, Version]]:
    """Yield the text that a requirement was first given under its document's present issue.

    The document's first issue reaches back to the first text that cites it. A text that is older
    than the present issue has not followed it yet: its next change may.
    """
    documents = {document.id: document for document in project.documents}
    for requirement in project.requirements:
        name = None if requirement.source is None else requirement.source.document
        issues = line.issues.get(name or "", [])
        if name not in documents or not issues or issues[-1][0] != documents[name].issue:
            continue
        since = issues[-1][1] if len(issues) > 1 else -1
        rows = [r for r in line.versions.get(requirement.id, []) if document_of(r[0]) == name]
        yield from _first([row for row in rows if row[2] >= since], requirement, base)
        if not rows and base is not None and requirement.id in base.requirements:
            was = base.requirements[requirement.id]
            cited = None if was.source is None else was.source.document
            if cited == name and line.since.get(requirement.id, since) >= since:
                yield requirement.id, Version("", was)


def versions(rows: list[Row], base: Base | None, name: str) -> tuple[Version, ...]:
    """Return the texts of a requirement; where it never changed in a commit, that of the base."""
    if not rows and base is not None and name in base.requirements:
        return (Version("", base.requirements[name]),)
    return tuple(Version(day, typed("requirements", item, "")) for item, day, _ in rows)
