"""Which requirements are to be assessed against a new issue of the document that they come from.

A requirement's source says against which issue of the document the team last held its clause.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from closeout.graph.index import Index
from closeout.graph.new_findings import error, warning
from closeout.model.issue import is_raised
from closeout.model.problem import Finding
from closeout.model.records import Document, Requirement


@lru_cache(maxsize=2)
def to_be_assessed(index: Index) -> Mapping[str, str]:
    """Return why requirements are to be assessed, by identifier: their own source, or above them.

    All that is derived from such a requirement may follow from what the new issue says.
    """
    found: dict[str, str] = {}
    for requirement in index.requirements.values():
        document = _document(requirement, index)
        if document is not None and _is_older(requirement, document):
            text = f"to be assessed against {document.id} issue {document.issue}"
            found[requirement.id] = text
            for name in index.below([requirement.id]):
                found.setdefault(name, f"{text}, from which {requirement.id} comes")
    return found


def source_issues(index: Index) -> Iterator[Finding]:
    """Yield each source of which the issue is none that the register has had, or is not said."""
    for requirement in index.requirements.values():
        source, document = requirement.source, _document(requirement, index)
        if source is None or document is None:
            continue
        where = requirement.where / "source"
        if source.issue is None and document.issue is not None:
            yield warning(
                "source-without-issue",
                where,
                f"{requirement.id} does not say which issue of {document.id} it was held against",
                f"add issue: {document.issue} to source, once its clause was read in that issue",
            )
        elif source.issue is not None and document.issue is None:
            yield error(
                "source-issue",
                where / "issue",
                f"{requirement.id} was held against issue {source.issue} of {document.id}, which"
                " has no issue in the register",
                f"add issue: to the document {document.id}",
            )
        elif (
            source.issue is not None
            and source.issue != document.issue
            and not _is_older(requirement, document)
        ):
            yield error(
                "source-issue",
                where / "issue",
                f"{requirement.id} was held against issue {source.issue} of {document.id}, and the"
                f" register has issue {document.issue}",
                f"enter issue {source.issue} of {document.id}, or correct the source",
            )


def _document(requirement: Requirement, index: Index) -> Document | None:
    source = requirement.source
    return None if source is None else index.documents.get(source.document or "")


def _is_older(requirement: Requirement, document: Document) -> bool:
    source = requirement.source
    if source is None or source.issue is None or document.issue is None:
        return False
    return source.issue != document.issue and is_raised(source.issue, document.issue)
