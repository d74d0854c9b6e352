"""What earlier texts of a requirement say that its present one has to go on saying."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from closeout.model.history import Base, Reference, Version
from closeout.model.issue import is_raised
from closeout.model.records import Project, Requirement
from closeout.rules.history.facts import KINDS, Item, typed
from closeout.rules.history.line import Line, Row, document_of

# What of a verification is no part of its criterion.
_APART = ("method", "records")


def began(line: Line, project: Project, base: Base | None) -> Iterator[tuple[str, Reference]]:
    """Yield what each requirement said first under its present issue, or under a later one.

    One that says the same in its last commit, letter by letter, is passed over, and one that took
    another's identifier, which is reported.
    """
    kind = KINDS["requirements"]
    reused = line.gone.keys() | line.returned.keys()
    for requirement in project.requirements:
        if (kind, requirement.id) not in reused:
            rows = line.versions.get(requirement.id, [])
            issue = requirement.issue
            own = [row for row in rows if not is_raised(row[0].get("issue", "A"), issue)]
            yield from _reference(own, -1, requirement, base)


def followed(line: Line, project: Project, base: Base | None) -> Iterator[tuple[str, Reference]]:
    """Yield what each requirement said first under the present issue of its document.

    The document's first issue reaches back to the first text that cites it. What is older than the
    present issue has not followed it yet: its next change may.
    """
    documents = {document.id: document for document in project.documents}
    for requirement in project.requirements:
        name = None if requirement.source is None else requirement.source.document
        if name not in documents:
            continue
        since = _since(line.issues.get(name, ()), documents[name].issue)
        if since is None:
            continue
        rows = [r for r in line.versions.get(requirement.id, []) if document_of(r[0]) == name]
        yield from _reference(rows, since, requirement, base)
        if not rows and base is not None and requirement.id in base.requirements:
            was = base.requirements[requirement.id]
            cited = None if was.source is None else was.source.document
            if cited == name and line.since.get(requirement.id, since) >= since:
                yield requirement.id, Reference("", was, was)


def _since(issues: Sequence[tuple[str | None, int]], issue: str | None) -> int | None:
    """Return the commit since which a document has its present issue, or had a later one.

    None where that is raised above all that was committed, -1 where it was never raised to it.
    """
    for place, (was, number) in enumerate(issues):
        if not is_raised(was or "", issue or ""):
            return number if place else -1
    return None


def _reference(
    rows: Sequence[Row], since: int, requirement: Requirement, base: Base | None
) -> Iterator[tuple[str, Reference]]:
    """Yield what some texts said first of each thing since a commit, if the present one may differ.

    The things are the statement, and the criteria of each quantity.
    """
    if not rows:
        return
    said = _said_first(rows, since)
    last, (first, day, _) = _things(rows[-1][0]), rows[0]
    changed = base is not None and requirement.where.path in base.paths
    if changed or any(_meant(value) != _meant(last.get(key)) for key, value in said.items()):
        statement = said.pop(None, None)
        item = {
            **first,
            "statement": statement or requirement.statement,
            "verification": [part for parts in said.values() for part in parts],
        }
        whole, all_of_first = (typed("requirements", text, "") for text in (item, first))
        yield requirement.id, Reference(day, whole, all_of_first)


def _said_first(rows: Sequence[Row], since: int) -> dict[str | None, Any]:
    """Return what was first said of each thing from a commit on, left out what is older."""
    found: dict[str | None, Any] = {}
    before: Mapping[str | None, Any] = {}
    came: dict[str | None, int] = {}
    for item, _, number in rows:
        now = _things(item)
        for key, value in now.items():
            if _meant(value) != _meant(before.get(key)):
                came[key] = number
            if came[key] >= since:
                found.setdefault(key, value)
        before = now
    return found


def _things(item: Item) -> dict[str | None, Any]:
    """Return the statement (under None) and the parts of the verification by quantity."""
    found: dict[str | None, Any] = {None: item["statement"]}
    for part in item.get("verification", ()):
        if "quantity" in part:
            found.setdefault(part["quantity"], []).append(part)
    return found


def _meant(value: Any) -> Any:
    """Return what of a thing is meant, whatever the line breaks, the methods and the records."""
    if isinstance(value, str):
        return value.split()
    return [{k: v for k, v in part.items() if k not in _APART} for part in value or ()]


def versions(rows: Sequence[Row], base: Base | None, name: str) -> tuple[Version, ...]:
    """Return the texts of a requirement; where it never changed in a commit, that of the base."""
    if not rows and base is not None and name in base.requirements:
        return (Version("", base.requirements[name]),)
    return tuple(Version(day, typed("requirements", item, "")) for item, day, _ in rows)
