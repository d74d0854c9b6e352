"""What changed between two states of a project, and why each margin moved."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Dossier, Evidence, RequirementResult

ADDED, REMOVED, CHANGED = "added", "removed", "changed"


@dataclass(frozen=True, slots=True)
class FieldChange:
    """What one field of an item said, and what it says; empty where it said nothing.

    ``running`` is True of running text, in which single words change.
    """

    name: str
    before: str
    after: str
    running: bool = False


@dataclass(frozen=True, slots=True)
class ItemChange:
    """An item of one section that was added, removed or changed; ``formerly`` its identifier then.

    ``section`` is that of a file (requirements, parameters, ...), or analyses.
    """

    section: str
    id: str
    kind: str
    fields: tuple[FieldChange, ...] = ()
    formerly: str | None = None


@dataclass(frozen=True, slots=True)
class VerdictChange:
    """A requirement as it was judged in the two states."""

    was: RequirementResult
    now: RequirementResult

    @property
    def formerly(self) -> str | None:
        """The identifier that it had then, where it was another."""
        return self.was.id if self.was.id != self.now.id else None


@dataclass(frozen=True, slots=True)
class Factor:
    """Something that a margin rests on and that is not as it was; texts as they were written.

    ``kind`` is parameter, condition, limit, data, code or record; together where several act as
    one, since the project cannot be evaluated with a part of them alone, and all for all there is.
    """

    kind: str
    name: str
    before: str = ""
    after: str = ""


@dataclass(frozen=True, slots=True)
class Cause:
    """A factor, and its part of the change of a margin, in the unit of the margin.

    ``error`` is the standard error of the part where it was sampled, None where it is exact.
    """

    factor: Factor
    part: float
    error: float | None = None


@dataclass(frozen=True, slots=True)
class MarginChange:
    """A margin that moved: of one verification and case, and what moved it.

    ``before`` is in the unit of ``after``, which is that of the margin. ``causes`` add up to the
    change, largest first; they are empty where ``reason`` says why it was not split.
    ``interaction`` is what of the change comes about only by several factors together, each of
    which has its share of it; None where nothing was split or it was sampled.
    """

    requirement: str
    title: str
    was: Evidence
    now: Evidence
    before: float
    after: float
    causes: tuple[Cause, ...] = ()
    interaction: float | None = None
    reason: str | None = None

    @property
    def change(self) -> float:
        """By how much the margin moved."""
        return self.after - self.before


@dataclass(frozen=True, slots=True)
class Changes:
    """What changed from one state of a project to another.

    ``verdicts`` are requirements whose code, close-out or cover changed, ``margins`` those margins
    that moved; both with what got worse first. ``items`` are in the order of sections, and of the
    project in each.
    """

    was: Dossier
    now: Dossier
    verdicts: tuple[VerdictChange, ...] = ()
    margins: tuple[MarginChange, ...] = ()
    items: tuple[ItemChange, ...] = ()
