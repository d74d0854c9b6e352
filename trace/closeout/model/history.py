"""What git knows of a project's earlier states, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from closeout.model.records import Document, Record, Requirement, Verification


@dataclass(frozen=True, slots=True)
class Base:
    """The state that the present one is held against: HEAD, or the first parent of a commit.

    Only what stood in files that differ is here; ``paths`` are the files of the present state that
    are new or changed. Of a requirement only issue, source, statement and the criteria of its
    verifications are known.
    """

    commit: str
    paths: frozenset[str] = frozenset()
    requirements: Mapping[str, Requirement] = field(default_factory=dict)
    documents: Mapping[str, Document] = field(default_factory=dict)
    records: Mapping[str, Record] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Version:
    """A requirement as a commit left it, and the day of that commit (year-month-day).

    ``later`` is what later commits first asked of quantities that it did not name yet.
    """

    day: str
    requirement: Requirement
    later: tuple[Verification, ...] = ()

    @property
    def grown(self) -> Requirement:
        """The requirement with what was asked of further quantities."""
        verification = (*self.requirement.verification, *self.later)
        return replace(self.requirement, verification=verification)


@dataclass(frozen=True, slots=True)
class Reused:
    """An identifier that a commit took away and that stands for something else by now.

    ``kind`` is requirement, record, nonconformance or waiver; ``meant`` what it stood for, on the
    last day before it was gone.
    """

    kind: str
    id: str
    meant: str
    day: str


@dataclass(frozen=True, slots=True)
class Unnamed:
    """A requirement that a nonconformance named on a day, and does not name any more."""

    report: str
    requirement: str
    day: str


@dataclass(frozen=True, slots=True)
class LostRecord:
    """A dated record that some commit held and the present state does not, and where it stood.

    ``changed`` is what it said and the record of today does not, "result" for what came out.
    """

    record: Record
    path: str
    day: str
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class History:
    """The earlier states of a project.

    ``versions`` are the different texts of a requirement in the order of the commits, for those
    that a dated record speaks of. ``began`` is the earliest text of a requirement since which its
    issue was not raised, ``followed`` the one that it was first given under the present issue of
    the document that it comes from, each for those that may differ today.

    ``lost`` holds each version of each lost record, ``edited`` each that said something that the
    record of today does not; ``gone`` are nonconformances that are not there any more, ``unnamed``
    what those that are named once.
    """

    base: Base | None = None
    versions: Mapping[str, tuple[Version, ...]] = field(default_factory=dict)
    began: Mapping[str, Version] = field(default_factory=dict)
    followed: Mapping[str, Version] = field(default_factory=dict)
    reused: tuple[Reused, ...] = ()
    lost: tuple[LostRecord, ...] = ()
    edited: tuple[LostRecord, ...] = ()
    gone: tuple[Reused, ...] = ()
    unnamed: tuple[Unnamed, ...] = ()
