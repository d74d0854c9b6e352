"""What a control board agreed as closed, beside what is computed."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.graph.findings import warning
from closeout.judge.cover import may_approve
from closeout.model.dossier import Dossier
from closeout.model.problem import Finding
from closeout.model.records import Agreement


def agreed_as_closed(requirement: str, index: Index) -> tuple[str, ...]:
    """Return by whom, when and at which review a requirement was agreed as closed."""
    return tuple(_shown(one) for one in _about(requirement, index) if one.planned is None)


def to_be_agreed(requirement: str, index: Index) -> tuple[str, ...]:
    """Return by whom, when and at which review it is planned to be, after the state's date."""
    return tuple(_shown(one) for one in _about(requirement, index) if one.planned is not None)


def _about(requirement: str, index: Index) -> Iterator[Agreement]:
    return (one for one in index.project.agreements if requirement in one.requirements)


def _shown(one: Agreement) -> str:
    day = one.date or one.planned
    parts = [f"at {one.review}", f"by {one.by}" if one.by else "", f"on {day}" if day else ""]
    return " ".join(filter(None, parts)) + (f" ({one.document})" if one.document else "")


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
                    f"{name} was agreed as closed at {agreement.review}, and is not: {result.why}",
                    "tell the board, and close it again",
                )  # fmt: skip
            requirement = index.requirements[name]
            if agreement.by is not None and not may_approve(agreement.by, requirement, index):
                yield warning(
                    "agreed-by-another", where,
                    f"{agreement.by} is not the authority of {name}'s source",
                    "have it agreed by whoever project.authorities names",
                )  # fmt: skip
