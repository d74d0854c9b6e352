"""What a project has on file beside its verdicts, as the documents of a review show it.

Only :mod:`closeout.judge` makes one, only :mod:`closeout.render` formats one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from closeout.model.problem import Pointer
from closeout.model.records import Agreement, Charter, Document, Requirement
from closeout.model.subject import Subject


@dataclass(frozen=True, slots=True)
class RequiredText:
    """A margin that the project's policy requires of a verification at a review.

    ``amount`` is as it was written, ``of`` says of what it is a share (limit or value).
    ``at_least`` and ``at_most`` are the limits with the margin on them, in the unit in which
    evidence shows the limits; None where there is no such limit, or where the margin does not fit.
    ``enforced`` says whether it decides.
    """

    review: str
    amount: str
    of: str
    at_least: float | None
    at_most: float | None
    enforced: bool


@dataclass(frozen=True, slots=True)
class Undecided:
    """A TBD or TBC: whose text has it, in which of its keys, and who owns that."""

    name: str
    place: str
    term: str
    owner: str | None


@dataclass(frozen=True, slots=True)
class OnFile:
    """The project's items as its files have them, each subject beside what was judged of it.

    ``requirements`` are by identifier, ``subjects`` by identifier too: an identifier that a record
    and a document share has both. ``required`` are the margins that the policy requires, by
    requirement and number of the verification; ``undecided`` are the TBDs and TBCs.
    """

    charter: Charter
    documents: tuple[Document, ...] = ()
    agreements: tuple[Agreement, ...] = ()
    requirements: Mapping[str, Requirement] = field(default_factory=dict)
    subjects: Mapping[str, tuple[Subject, ...]] = field(default_factory=dict)
    required: Mapping[tuple[str, int], tuple[RequiredText, ...]] = field(default_factory=dict)
    undecided: tuple[Undecided, ...] = ()

    @classmethod
    def nothing(cls, project: str) -> OnFile:
        """Return that of a project of which no file could be read."""
        return cls(Charter(Pointer("", ()), project))
