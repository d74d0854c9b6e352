"""Findings about what people agreed: closures of a board, and ranges between two owners."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from closeout.graph import Index
from closeout.graph.new_findings import error, warning
from closeout.judge.cover import may_approve
from closeout.model.dossier import Dossier
from closeout.model.problem import Finding


def disagreements(dossier: Dossier, index: Index) -> Iterator[Finding]:
    """Yield agreements of what is not closed (any more), and those of the wrong authority."""
    results = {result.id: result for result in dossier.requirements}
    for agreement in index.project.agreements:
        for number, name in enumerate(agreement.requirements):
            result, where = results.get(name), agreement.where / "requirements" / number
            if result is None:
                continue
            if not result.closed and agreement.planned is None:
                yield warning(
                    "agreed-but-open", where,
                    f"{name} was agreed as closed at {agreement.review}, and is not closed:"
                    f" {result.why}",
                    "inform the board, and close it again",
                )  # fmt: skip
            requirement = index.requirements[name]
            if agreement.by is not None and not may_approve(agreement.by, requirement, index):
                yield warning(
                    "agreed-by-another", where,
                    f"{agreement.by} is not the authority of {name}'s source",
                    "have it agreed by the authority in project.authorities",
                )  # fmt: skip


def outgrown_ranges(dossier: Dossier, index: Index, moved: Mapping[str, str]) -> Iterator[Finding]:
    """Yield an error for each agreed range that does not contain its estimate, at the range.

    ``moved`` says of each, as far as it is known, what moved the estimate.
    """
    for evaluation in dossier.evaluations:
        for found, wrong in evaluation.estimates:
            parameter = index.parameters.get(found.name)
            if wrong is None or parameter is None or found.value is None:
                continue
            cause = moved.get(found.name)
            yield error(
                "estimate-outside-range",
                parameter.where / "range",
                wrong if cause is None else f"{wrong}{cause}",
                f"agree on a range that contains it (both owners), or change what {found.source}"
                " rests on",
            )
