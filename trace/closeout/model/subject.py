"""What a project's items other than requirements come to: records, waivers, nonconformances,
articles and documents, each beside what was judged of it.

Only :mod:`closeout.judge` makes one, only :mod:`closeout.render` formats one.
"""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Evidence
from closeout.model.records import (
    Agreement,
    Article,
    Document,
    Nonconformance,
    Parameter,
    Record,
    Requirement,
    Waiver,
)


@dataclass(frozen=True, slots=True)
class Use:
    """A verification that names a record, and what was judged of it.

    ``entries`` are the evidence of the whole verification. ``alone`` is what the record shows by
    itself where something else decides, else None.
    """

    requirement: str
    title: str
    number: int
    entries: tuple[Evidence, ...]
    alone: Evidence | None = None


@dataclass(frozen=True, slots=True)
class Build:
    """An article in the build that something was made on, and its present one (None: unknown)."""

    article: str
    build: str
    now: str | None

    @property
    def is_present(self) -> bool:
        """Whether it is the article's present build, as far as that is known."""
        return self.now is None or self.now == self.build


@dataclass(frozen=True, slots=True)
class Reported:
    """A nonconformance; ``left`` is what is left to be done, None where it is closed."""

    report: Nonconformance
    left: str | None


@dataclass(frozen=True, slots=True)
class Judged:
    """A requirement at the issue that a record judged (None: not yet), and its present one.

    ``day`` is when it was judged, ``named`` whether a verification of it names the record. ``now``
    is None where there is no such requirement.
    """

    requirement: str
    issue: str | None
    now: str | None
    day: str | None
    named: bool


@dataclass(frozen=True, slots=True)
class RecordSubject:
    """A record: which verifications use it, what replaced it, what it found or closes.

    ``inputs`` are the parameters that name it, each with how: as its link, or as its source.
    """

    record: Record
    uses: tuple[Use, ...]
    judged: tuple[Judged, ...]
    builds: tuple[Build, ...]
    replaced_by: tuple[str, ...]
    altered: bool
    found: tuple[Reported, ...]
    closes: tuple[Reported, ...]
    inputs: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class WaiverSubject:
    """A waiver or deviation: why it is not in force (nothing where it is), and what it covers.

    ``left`` are shortfalls of its quantity that it does not cover.
    """

    waiver: Waiver
    title: str | None
    not_in_force: tuple[str, ...]
    covers: tuple[Evidence, ...]
    left: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class ReportSubject:
    """A nonconformance: what it is about, what is left to be done, and the waivers of it.

    ``requirements`` are those that it is about, with code, close-out status and title, None where
    there is no such requirement.
    """

    reported: Reported
    builds: tuple[Build, ...]
    requirements: tuple[tuple[str, tuple[str, str, str] | None], ...]
    records: tuple[Record, ...]
    waivers: tuple[tuple[str, bool], ...]


@dataclass(frozen=True, slots=True)
class ArticleSubject:
    """An article: the records of it, each with the build that it was made on, nonconformances."""

    article: Article
    records: tuple[tuple[Record, Build], ...]
    reports: tuple[Reported, ...]


@dataclass(frozen=True, slots=True)
class DocumentSubject:
    """A document (None: not in the register), whose requirements it is the source of, who cites it.

    ``plans`` are requirements of which a verification names it as plan, report or risk.
    """

    id: str
    document: Document | None
    requirements: tuple[Requirement, ...]
    plans: tuple[str, ...]
    records: tuple[Record, ...]
    waivers: tuple[Waiver, ...]
    agreements: tuple[Agreement, ...]
    parameters: tuple[Parameter, ...]


Subject = RecordSubject | WaiverSubject | ReportSubject | ArticleSubject | DocumentSubject
