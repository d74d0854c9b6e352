"""Findings about what verdicts rest on."""

from __future__ import annotations

from closeout.graph import Index
from closeout.graph.findings import warning
from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier
from closeout.model.problem import Finding

_WEAK = {
    Assurance.NOMINAL: "on nominal values alone",
    Assurance.LINEARISED: "on straight lines, which prove nothing",
    Assurance.SEARCHED: "on a search, which proves nothing",
}


def doubts(dossier: Dossier, index: Index) -> tuple[Finding, ...]:
    """Return a warning for each due criterion of a safety requirement that is not proved."""
    found: list[Finding] = []
    for result in dossier.requirements:
        if result.safety is None:
            continue
        requirement = index.requirements[result.id]
        for entry in result.evidence:
            if entry.due and entry.assurance in _WEAK:
                found.append(
                    warning(
                        "safety-not-proved",
                        requirement.verification[entry.number].where,
                        f"{result.id} is safety {result.safety}, and {entry.quantity} by"
                        f" {entry.analysis} rests {_WEAK[entry.assurance]}",
                        "write the formula in closed form with closeout.math, ask for the worst"
                        " case, and support it by a test",
                    )
                )
    return tuple(dict.fromkeys(found))
