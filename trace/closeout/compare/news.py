"""What came to be known between two states of a project: new builds, and what records found.

That is no change of a requirement, a parameter or an analysis: who reports it has broken nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from closeout.compare.altered import altered
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.earlier_names import Names
from closeout.model.records import Record


@dataclass(frozen=True, slots=True)
class News:
    """Articles that have a new build, and records of which it is new what they found.

    ``reported`` are records of which a nonconformance is new: what they measured may be no input
    any more. ``altered`` are verifications with measured inputs that lose by more than a record.

    ``again`` are verifications, by requirement and number, of which a test is planned of the new
    build of such an article, and every other record speaks of an earlier one.
    """

    rebuilt: frozenset[str] = frozenset()
    found: frozenset[str] = frozenset()
    reported: frozenset[str] = frozenset()
    altered: frozenset[tuple[str, int]] = frozenset()
    again: frozenset[tuple[str, int]] = frozenset()

    def kind(self, requirement: str, entry: Evidence) -> str | None:
        """Return why evidence is not met, "found" or "rebuilt"; None where it is not by news."""
        if entry.record in self.found:
            return "found"
        if (requirement, entry.number) in self.altered:
            return None
        # A nonconformance may be about another quantity; then the input has its number still.
        news = self.found | self.reported if entry.awaiting else self.found
        if not news.isdisjoint(entry.measured_by):
            return "found"
        if entry.state is not State.OPEN:
            return None
        rebuilt = entry.rebuilt and self.rebuilt >= {*entry.rebuilt}
        return "rebuilt" if rebuilt or (requirement, entry.number) in self.again else None


def news(was: Dossier, now: Dossier, names: Names | None = None) -> News:
    """Return what a state of a project tells that an earlier one did not.

    Args:
        names: what the later state calls by another identifier, by section from the old one.
    """
    if not (was.readable and now.readable):
        return News()
    articles, records = ((names or {}).get(of, {}) for of in ("articles", "records"))
    builds = {articles.get(one.id, one.id): one.build for one in was.articles}
    found = {records.get(one.id, one.id): _found(one) for one in was.records}
    rebuilt = {one.id: one.build for one in now.articles if one.build != builds.get(one.id)}
    called = (names or {}).get("nonconformances", {})
    reports = {called.get(one.id, one.id) for one in was.nonconformances}
    return News(
        rebuilt=frozenset(rebuilt),
        altered=altered(was, now, names or {}),
        reported=frozenset(
            one.found_by
            for one in now.nonconformances
            if one.found_by is not None and one.id not in reports
        ),
        again=frozenset(_again(now, rebuilt)) if rebuilt else frozenset(),
        found=frozenset(
            one.id for one in now.records if one.date and found.get(one.id) != _found(one)
        ),
    )


def _again(now: Dossier, rebuilt: Mapping[str, str | None]) -> Iterator[tuple[str, int]]:
    """Yield the verifications of which a test is planned with the new builds of some articles.

    Where none is planned, the evidence itself says that nothing but the build re-opened it.
    """
    records = {record.id: record for record in now.records}
    for requirement in now.requirements:
        for number, names in {one.number: one.records for one in requirement.evidence}.items():
            named = [records[name] for name in names if name in records]
            planned = any(one.date is None for one in named)
            if planned and all(_is_of_earlier(one, records, rebuilt) for one in named):
                yield requirement.id, number


def _is_of_earlier(
    record: Record, records: Mapping[str, Record], rebuilt: Mapping[str, str | None]
) -> bool:
    """Return whether a record is of an earlier build, or the planned test of the new one."""
    before = records.get(record.replaces or "")
    articles = dict(record.article) or (dict(before.article) if before is not None else {})
    if record.date is None:
        return not rebuilt.keys().isdisjoint(articles)
    return any(name in rebuilt and rebuilt[name] != build for name, build in articles.items())


def _found(record: Record) -> tuple[object, ...]:
    """Return what a record found: nothing while it is planned."""
    if record.date is None:
        return ()
    return record.outcome, record.measured, record.data_sha256
