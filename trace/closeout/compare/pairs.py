"""Which verification of a later state is which one of an earlier state."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from closeout.model.dossier import Dossier, Evidence, RequirementResult
from closeout.model.earlier_names import Names

Cases = tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """A verification in two states, with its entries of both, a case each.

    ``cases`` are those that both states have, each beside the other.
    """

    was: RequirementResult
    now: RequirementResult
    cases: tuple[tuple[Evidence, Evidence], ...]

    @property
    def keys(self) -> tuple[tuple[str, int], tuple[str, int]]:
        """Requirement and number in the earlier state, and in the later one."""
        before, after = self.cases[0]
        return (self.was.id, before.number), (self.now.id, after.number)


def both_of(
    was: Dossier, now: Dossier, names: Names
) -> Iterator[tuple[RequirementResult, RequirementResult]]:
    """Yield the requirements that both states have, as they were and as they are."""
    called = {new: old for old, new in names.get("requirements", {}).items()}
    before = {result.id: result for result in was.requirements}
    for result in now.requirements:
        earlier = before.get(called.get(result.id, result.id))
        if earlier is not None:
            yield earlier, result


def pairs(was: Dossier, now: Dossier, names: Names) -> Iterator[Pair]:
    """Yield the verifications of which both states have entries.

    One is that of the same requirement, method, level, stage and quantity; of several such the
    first is the first.
    """
    for earlier, later in both_of(was, now, names):
        yield from pairs_of(earlier, later)


def pairs_of(was: RequirementResult, now: RequirementResult) -> Iterator[Pair]:
    """Yield the verifications of one requirement of which both states have entries."""
    left = defaultdict(list)
    for cases in _verifications(was):
        left[_like(cases)].append(cases)
    for cases in _verifications(now):
        candidates = left[_like(cases)]
        both = _by_case(candidates.pop(0), cases) if candidates else ()
        if both:
            yield Pair(was, now, both)


def _verifications(result: RequirementResult) -> Iterator[Cases]:
    for _, entries in groupby(result.evidence, key=lambda entry: entry.number):
        yield tuple(entries)


def _like(cases: Cases) -> tuple[str | None, ...]:
    one = cases[0]
    return one.method, one.level, one.stage, one.quantity


def _by_case(
    was: Sequence[Evidence], now: Sequence[Evidence]
) -> tuple[tuple[Evidence, Evidence], ...]:
    """Return the entries that both have: of one case the first beside the first, and so on."""
    before = defaultdict(list)
    for entry in was:
        before[entry.case].append(entry)
    return tuple((before[entry.case].pop(0), entry) for entry in now if before[entry.case])
