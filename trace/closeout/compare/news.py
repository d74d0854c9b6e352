"""What came to be known between two states of a project: new builds, and what records found.

That is no change of a requirement, a parameter or an analysis: who reports it has broken nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Evidence, State
from closeout.model.formerly import Names
from closeout.model.records import Project, Record


@dataclass(frozen=True, slots=True)
class News:
    """Articles that have a new build, and records of which it is new what they found."""

    rebuilt: frozenset[str] = frozenset()
    found: frozenset[str] = frozenset()

    def kind(self, entry: Evidence) -> str | None:
        """Return why evidence is not met, "found" or "rebuilt"; None where it is not by news."""
        if entry.record in self.found:
            return "found"
        rebuilt = entry.state is State.OPEN and entry.rebuilt and self.rebuilt >= {*entry.rebuilt}
        return "rebuilt" if rebuilt else None


def news(was: Project, now: Project, names: Names | None = None) -> News:
    """Return what a state of a project tells that an earlier one did not.

    Args:
        names: what the later state calls by another identifier, by section from the old one.
    """
    articles, records = ((names or {}).get(of, {}) for of in ("articles", "records"))
    builds = {articles.get(one.id, one.id): one.build for one in was.articles}
    found = {records.get(one.id, one.id): _found(one) for one in was.records}
    return News(
        rebuilt=frozenset(one.id for one in now.articles if one.build != builds.get(one.id)),
        found=frozenset(
            one.id for one in now.records if one.date and found.get(one.id) != _found(one)
        ),
    )


def _found(record: Record) -> tuple[object, ...]:
    """Return what a record found: nothing while it is planned."""
    if record.date is None:
        return ()
    return record.outcome, record.measured, record.data_sha256
