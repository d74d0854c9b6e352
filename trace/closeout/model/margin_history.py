"""How a requirement stood in each state of its project in which what it rests on was another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from closeout.model.dossier import Evidence, RequirementResult

# A verification over all states: method, level, stage and quantity.
Line = tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class Moment:
    """A requirement from one commit on: the one that changed what it rests on.

    ``commit`` is None for what is in no commit yet. ``tags`` are those of this commit and of later
    ones up to the next moment. ``result`` is None where the state could not be judged, as
    ``problem`` says; ``required`` are the margins that a policy requires, in the unit of each.
    """

    commit: str | None
    day: str | None
    subject: str
    tags: tuple[str, ...]
    result: RequirementResult | None
    problem: str = ""
    required: Mapping[Line, float] = field(default_factory=dict)

    @property
    def lines(self) -> dict[Line, Evidence]:
        """The entry with the smallest margin of each verification, else the first."""
        found: dict[Line, Evidence] = {}
        for entry in self.result.evidence if self.result is not None else ():
            key = line_of(entry)
            known = found.get(key)
            if known is None or _margin(entry) < _margin(known):
                found[key] = entry
        return found


def line_of(entry: Evidence) -> Line:
    """Return what stays of a verification over all states."""
    return entry.method, entry.level, entry.stage, entry.quantity


def _margin(entry: Evidence) -> float:
    return float("inf") if entry.margin is None else entry.margin


@dataclass(frozen=True, slots=True)
class MarginHistory:
    """The moments of a requirement, the oldest first.

    ``whole`` is False where older commits were not fetched, so that it may have begun before.
    """

    identifier: str
    project: str
    moments: tuple[Moment, ...]
    whole: bool = True
