"""One dossier, and what the documents of a review look up in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

from closeout.model.attachment import Attachment
from closeout.model.changes import Changes
from closeout.model.dossier import Dossier, Evaluation, RequirementResult
from closeout.model.on_file import OnFile
from closeout.model.study import Study
from closeout.model.subject import (
    ArticleSubject,
    RecordSubject,
    ReportSubject,
    Subject,
    WaiverSubject,
)
from closeout.render import rows, trail
from closeout.render.page import Face, anchor_id, link
from closeout.render.plain import Markup, markdown, safe
from closeout.render.rows import Entry, Line

S = TypeVar("S", bound=Subject)


@dataclass(frozen=True, slots=True)
class Kind:
    """One document of a package: its own number in it, its file, and its title.

    ``tall`` is printed upright, ``signed`` has lines for signatures.
    """

    number: str
    path: str
    title: str
    tall: bool = False
    signed: bool = False


INDEX = Kind("", "index.md", "Review package", signed=True)
MATRIX = Kind("01", "compliance-matrix.md", "Compliance matrix")
CONTROL = Kind("02", "verification-control.md", "Verification control document", signed=True)
STATEMENT = Kind("03", "statement-of-compliance.md", "Statement of compliance", signed=True)
SAFETY = Kind("04", "safety-extract.md", "Safety extract", signed=True)
REPORT = Kind("05", "verification-report.md", "Verification report", signed=True)
ANALYSES = Kind("06", "analysis-reports.md", "Analysis reports")
EVIDENCE = Kind("07", "evidence.md", "Test summary and evidence sheets")
OPEN = Kind("08", "open-points.md", "Open points")
SPECIFICATION = Kind("09", "requirement-specification.md", "Requirement specification")
CHANGES = Kind("10", "changes.md", "Changes")


@dataclass(frozen=True, slots=True)
class Sources:
    """One dossier with what is on file, studies and attachments, each by what it is asked for.

    ``entries`` and ``results`` are by identifier of the requirement, ``reports`` leads from an
    analysis to its report, ``links`` from a name of one as it is shown, ``served`` from an analysis
    to its requirements.
    """

    dossier: Dossier
    on_file: OnFile
    entries: Mapping[str, Entry]
    results: Mapping[str, RequirementResult]
    reports: Mapping[str, str]
    links: Mapping[str, str]
    served: Mapping[str, list[str]]
    evaluations: Mapping[str, list[Evaluation]]
    studies: Mapping[tuple[str, int], Study]
    attachments: Mapping[int, list[Attachment]]
    changes: Changes | None = None

    def face(self, kind: Kind, within: str = "") -> Face:
        """Return what stands on the cover of a document; ``within`` is its number in a volume."""
        package = self.on_file.charter.package
        applicable = tuple(self._applicable()) if kind.signed else ()
        # Nobody signs a what-if.
        signed = kind.signed and not self.dossier.settings
        if package is None:
            return Face(
                tall=kind.tall,
                signed=signed,
                applicable=applicable,
            )
        number = "/".join(safe(part) for part in (package.number, kind.number, within) if part)
        return Face(
            number=number,
            issue=safe(package.issue) if package.issue else None,
            date=package.date or self.dossier.snapshot.date,
            author=safe(package.author) if package.author else None,
            approver=safe(package.approver) if package.approver else None,
            tall=kind.tall,
            signed=signed,
            applicable=applicable,
        )

    def _applicable(self) -> Iterator[str]:
        """Yield the documents that requirements cite as their source, each with its issue."""
        cited = {one.source.document for one in self.on_file.requirements.values() if one.source}
        for document in self.on_file.documents:
            if document.id in cited:
                issue = f" issue {safe(document.issue)}" if document.issue else ""
                yield f"{safe(document.id)}{issue}"

    def title(self, kind: Kind) -> str:
        """Return the title of a document, with the review."""
        return self.titled(kind.title)

    def titled(self, title: str) -> str:
        """Return a title with the review, so that CDR is told from AR."""
        review = self.dossier.review
        return title if review is None else f"{title}, {safe(review)}"

    def to_requirement(self, identifier: str, up: str = "") -> Markup | str:
        """Return a link to a requirement in the control document; its text where it has none."""
        name = safe(identifier)
        if identifier not in self.results:
            return name
        return link(name, f"{up}{CONTROL.path}#{anchor_id('R', name)}")

    def all_of(self, kind: type[S]) -> list[S]:
        """Return every item of a kind, as records, with what was judged of it."""
        return [
            one for some in self.on_file.subjects.values() for one in some if isinstance(one, kind)
        ]

    def to_record(self, identifier: str, up: str = "") -> Markup | str:
        """Return a link to the sheet of a record; its text where it has none."""
        return self._to("E", EVIDENCE, identifier, up, RecordSubject)

    def sheets(self) -> dict[str, str]:
        """Return the way from each record to its sheet."""
        names = (safe(one.record.id) for one in self.all_of(RecordSubject))
        return {name: f"{EVIDENCE.path}#{anchor_id('E', name)}" for name in names}

    def to_waiver(self, identifier: str, up: str = "") -> Markup | str:
        """Return a link to a waiver or deviation in the lists."""
        return self._to("W", REPORT, identifier, up, WaiverSubject)

    def to_nonconformance(self, identifier: str, up: str = "") -> Markup | str:
        """Return a link to a nonconformance in the lists."""
        return self._to("N", REPORT, identifier, up, ReportSubject)

    def to_article(self, identifier: str, up: str = "") -> Markup | str:
        """Return a link to an article in the lists."""
        return self._to("A", REPORT, identifier, up, ArticleSubject)

    def to_evidence(self, line: Line) -> Markup | str:
        """Return what stands behind a verification: a link to the report or the sheet, or nothing.

        A record has its document, issue and date beside it.
        """
        if line.record:
            name, _, behind = line.record.partition(" (")
            rest = f" ({behind}" if behind else ""
            return Markup(f"{markdown(self.to_record(name))}{markdown(rest)}")
        path = self.links.get(line.analysis)
        return line.analysis if path is None else link(line.analysis, path)

    def _to(
        self, letter: str, kind: Kind, identifier: str, up: str, wanted: type[Subject]
    ) -> Markup | str:
        name = safe(identifier)
        some = self.on_file.subjects.get(identifier, ())
        if not any(isinstance(one, wanted) for one in some):
            return name
        return link(name, f"{up}{kind.path}#{anchor_id(letter, name)}")


def sources_of(
    dossier: Dossier,
    on_file: OnFile,
    studies: Iterable[Study],
    attachments: Iterable[Attachment],
    changes: Changes | None,
) -> Sources:
    """Return what the documents look up; all of it as readers see it."""
    by_evaluation: dict[int, list[Attachment]] = {}
    for one in attachments:
        by_evaluation.setdefault(one.evaluation, []).append(one)
    evaluations: dict[str, list[Evaluation]] = {}
    for evaluation in dossier.evaluations:
        evaluations.setdefault(evaluation.analysis, []).append(evaluation)
    reports = _report_paths(dossier)
    return Sources(
        dossier=dossier,
        on_file=on_file,
        entries={
            result.id: entry
            for result, entry in zip(dossier.requirements, rows.table(dossier), strict=True)
        },
        results={result.id: result for result in dossier.requirements},
        reports=reports,
        links={safe(name): path for name, path in trail.names(dossier, reports).items()},
        served=trail.served(dossier),
        evaluations=evaluations,
        studies={(study.requirement, study.number): study for study in studies},
        attachments=by_evaluation,
        changes=changes,
    )


def _report_paths(dossier: Dossier) -> dict[str, str]:
    """Return the path of each analysis' report, apart also where case does not count."""
    paths: dict[str, str] = {}
    taken: set[str] = set()
    for spec in dossier.analyses:
        stem = re.sub(r"[^\w.-]", "_", spec.name).lstrip(".") or "_"
        name, number = stem, 2
        while name.casefold() in taken:
            name, number = f"{stem}-{number}", number + 1
        taken.add(name.casefold())
        paths[spec.name] = f"analyses/{name}.md"
    return paths


def pair(kind: Kind | str, pages: tuple[str, str]) -> dict[str, str]:
    """Return a document's two files: Markdown and the HTML page of the same text."""
    path = kind if isinstance(kind, str) else kind.path
    return {path: pages[0], path.removesuffix(".md") + ".html": pages[1]}
