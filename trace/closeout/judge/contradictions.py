"""Findings of a run: tests that failed where an analysis promised otherwise."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.judge.compliance import by_criterion
from closeout.measure import Units
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.problem import Finding, Severity
from closeout.model.records import Requirement


def contradictions(dossier: Dossier, index: Index, units: Units) -> tuple[Finding, ...]:
    """Return a warning for each record that found not met what an analysis says is met.

    The failed record decides the verdict; that the model is wrong somewhere is said beside it.
    """
    found: list[Finding] = []
    for result in dossier.requirements:
        if len(result.evidence) > 1:
            found += _of(index.requirements[result.id], result.evidence, units)
    return tuple(dict.fromkeys(found))


def _of(
    requirement: Requirement, evidence: tuple[Evidence, ...], units: Units
) -> Iterator[Finding]:
    for some in by_criterion(requirement, evidence, units).values():
        promised = [e for e in some if e.record is None and e.state is State.MET]
        failed = [e for e in some if e.record is not None and e.state is State.NOT_MET]
        for entry in failed if promised else ():
            yield Finding(
                "test-against-analysis",
                Severity.WARNING,
                requirement.verification[entry.number].where,
                f"{entry.record} found {entry.quantity} of {requirement.id} not met, the analysis"
                f" {promised[0].analysis} says that it is met",
                "find what the analysis leaves out, and correct it",
            )
