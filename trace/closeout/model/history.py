"""What git knows of a project's earlier states, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from closeout.model.records import Document, Record, Requirement

ANEW = "judged anew"


@dataclass(frozen=True, slots=True)
class Base:
    """The state that the present one is compared with: HEAD, or the first parent of a commit.

    ``day`` is that of the present one (year-month-day), on which all became as it is. Only what
    stood in files that differ is here; ``paths`` are the files of the present state that are new or
    changed. Of a requirement only issue, source, statement and the criteria of its verifications
    are known.
    """

    commit: str
    day: str
    paths: frozenset[str] = frozenset()
    requirements: Mapping[str, Requirement] = field(default_factory=dict)
    documents: Mapping[str, Document] = field(default_factory=dict)
    records: Mapping[str, Record] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Version:
    """A requirement as a commit left it, and the day of that commit (year-month-day)."""

    day: str
    requirement: Requirement


@dataclass(frozen=True, slots=True)
class Reference:
    """What a requirement has to go on saying: its statement, and the criteria of each quantity.

    Each is as it was first said; ``first`` is the first text as a whole, ``day`` that of its commit
    (empty where that is the one that the present state is compared with).
    """

    day: str
    requirement: Requirement
    first: Requirement


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
class NotRenamed:
    """An old identifier that the item of a section names, and that git does not bear out.

    It stood beside an ``other`` identifier of the item on a ``day``, so both were items of their
    own; or it never stood anywhere, and both are empty.
    """

    section: str
    id: str
    formerly: str
    other: str = ""
    day: str = ""


@dataclass(frozen=True, slots=True)
class LostRecord:
    """A dated record that is in some commit and not in the present state, and where it stood.

    ``changed`` is what it said and the record of today does not, "result" for what came out, ANEW
    for an issue in place of which it judged a later one on a day that it gives.
    """

    record: Record
    path: str
    day: str
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class History:
    """The earlier states of a project, in which everything has its identifier of today.

    ``versions`` are the different texts of a requirement in the order of the commits, for those
    that a dated record speaks of. ``began`` is what a requirement said first under its present
    issue, ``followed`` what under the present issue of the document that it comes from, each for
    those that may say something else today.

    ``lost`` holds each version of each lost record, ``edited`` each that said something that the
    record of today does not; ``gone`` are nonconformances that are not there any more, ``unnamed``
    what those that are named once. ``not_renamed`` are old identifiers that are none. ``cut_off``
    where not all of the history is here to be read.
    """

    base: Base | None = None
    versions: Mapping[str, tuple[Version, ...]] = field(default_factory=dict)
    began: Mapping[str, Reference] = field(default_factory=dict)
    followed: Mapping[str, Reference] = field(default_factory=dict)
    reused: tuple[Reused, ...] = ()
    lost: tuple[LostRecord, ...] = ()
    edited: tuple[LostRecord, ...] = ()
    gone: tuple[Reused, ...] = ()
    unnamed: tuple[Unnamed, ...] = ()
    not_renamed: tuple[NotRenamed, ...] = ()
    cut_off: bool = False
