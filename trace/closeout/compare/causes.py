"""Why a requirement is not judged as it was: what of its evidence rests on what has changed.

Nothing is evaluated for it, as it is where a margin is split (:mod:`closeout.compare.mixed`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from closeout.compare.changed_items import parameter_text
from closeout.compare.pairs import Pair, pairs_of
from closeout.model.changes import Factor
from closeout.model.dossier import Dossier, Evaluation, Evidence, RequirementResult
from closeout.model.earlier_names import Names


@dataclass(frozen=True)
class Causes:
    """Finds in two states what changed of that on which a requirement rests."""

    was: Dossier
    now: Dossier
    names: Names

    def of(self, was: RequirementResult, now: RequirementResult) -> tuple[Factor, ...]:
        """Return what changed below the evidence that is worse; of all evidence where none is."""
        pairs = list(pairs_of(was, now))
        worse = [pair for pair in pairs if any(_is_worse(*case) for case in pair.cases)]
        found = (factor for pair in worse or pairs for factor in self._of_pair(pair))
        return tuple(dict.fromkeys((*found, *self._numbers(was, now))))

    def _of_pair(self, pair: Pair) -> Iterator[Factor]:
        before, after = pair.cases[0]
        if before.limit_text != after.limit_text:
            yield Factor("limit", "limit", before.limit_text, after.limit_text)
        given = [dict(entry.given) for entry in (before, after)]
        for name in dict.fromkeys((*given[1], *given[0])):
            texts = [one.get(name, "not given") for one in given]
            if texts[0] != texts[1]:
                yield Factor("condition", name, *texts)
        if after.record is not None and before.record != after.record:
            yield Factor("record", "record", before.record or "none", after.record)
        for name in sorted(self._taken(pair.now.id, after) & self._stated.keys()):
            yield Factor("parameter", name, *self._stated[name])
        for path in sorted(self._read(pair.now.id, after) & self._changed_files):
            yield Factor("code" if path.endswith(".py") else "data", path)

    def _numbers(self, was: RequirementResult, now: RequirementResult) -> Iterator[Factor]:
        """Yield verifications that were taken out, or came: criteria of their own."""
        numbers = [len({entry.number for entry in one.evidence}) for one in (was, now)]
        if numbers[0] != numbers[1]:
            yield Factor("limit", "number of verifications", *map(str, numbers))

    def _taken(self, requirement: str, entry: Evidence) -> frozenset[str]:
        every = (one.names for one in self._evaluations(requirement, entry))
        return frozenset[str]().union(*every)

    def _read(self, requirement: str, entry: Evidence) -> frozenset[str]:
        every = (frozenset(one.read) for one in self._evaluations(requirement, entry))
        return frozenset[str]().union(*every)

    def _evaluations(self, requirement: str, entry: Evidence) -> list[Evaluation]:
        if entry.analysis is None:
            return []
        return self._serving[requirement, entry.analysis]

    @cached_property
    def _serving(self) -> dict[tuple[str, str], list[Evaluation]]:
        """The evaluations of both states, by later requirement and analysis."""
        called = self.names.get("requirements", {})
        found = defaultdict(list)
        for dossier in (self.was, self.now):
            for one in dossier.evaluations:
                for name in one.serves:
                    found[called.get(name, name), one.analysis].append(one)
        return found

    @cached_property
    def _stated(self) -> dict[str, tuple[str, str]]:
        """What is stated otherwise of parameters, by their names in the later state."""
        called = self.names.get("parameters", {})
        before = {called.get(one.name, one.name): one for one in self.was.parameters}
        after = {one.name: one for one in self.now.parameters}
        texts = {
            name: tuple(
                parameter_text(some[name]) if name in some else "none" for some in (before, after)
            )
            for name in before.keys() | after.keys()
        }
        return {name: (old, new) for name, (old, new) in texts.items() if old != new}

    @cached_property
    def _changed_files(self) -> frozenset[str]:
        before, after = self.was.contents, self.now.contents
        return frozenset(
            path for path in before.keys() | after.keys() if before.get(path) != after.get(path)
        )


def _is_worse(was: Evidence, now: Evidence) -> bool:
    return was.closed and not now.closed
