"""What the documents of a review show beside the verdicts, from the project and its dossier."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index, required_margins
from closeout.judge.subjects import identifiers, subjects
from closeout.judge.validity import Validity
from closeout.measure import UnitError
from closeout.model.dossier import Dossier
from closeout.model.on_file import OnFile, RequiredText, Undecided
from closeout.model.records import Verification
from closeout.rules.standards import open_terms


def on_file(validity: Validity, dossier: Dossier) -> OnFile:
    """Return all that a project has on file, with what was judged of each item."""
    index = validity.index
    project = index.project
    return OnFile(
        charter=project.charter,
        documents=project.documents,
        agreements=project.agreements,
        requirements=index.requirements,
        subjects={name: subjects(name, validity, dossier) for name in identifiers(index)},
        required={
            (requirement.id, number): found
            for requirement, number, verification in project.verifications()
            if (found := tuple(_required(verification, validity, dossier.review)))
        },
        undecided=tuple(_undecided(index)),
    )


def _undecided(index: Index) -> Iterator[Undecided]:
    for term in open_terms(index):
        requirement = index.requirements.get(term.name)
        key = next((step for step in reversed(term.where.steps) if isinstance(step, str)), "")
        yield Undecided(
            term.name, key.replace("_", " "), term.text, requirement.owner if requirement else None
        )


def _required(
    verification: Verification, validity: Validity, review: str | None
) -> Iterator[RequiredText]:
    """Yield what the margin policy requires of a verification at a review."""
    criterion = verification.criterion
    limits, unit = criterion.limits, criterion.limits.unit
    for margin in required_margins(criterion.quantity, validity.index, review):
        low = high = None
        if unit is not None:
            try:
                exact = margin.on(limits, unit, validity.units)
            except UnitError:
                pass  # a finding of the project's says so
            else:
                low = None if exact.at_least is None else float(exact.at_least)
                high = None if exact.at_most is None else float(exact.at_most)
        yield RequiredText(
            margin.review, str(margin.amount), margin.policy.of, low, high, margin.policy.enforce
        )
