"""Which verifications rest on a parameter: what a change of its value may move."""

from __future__ import annotations

from closeout.graph.index import Index
from closeout.model.records import Method


def rests_on(parameter: str, index: Index) -> frozenset[tuple[str, int]]:
    """Return the verifications by analysis that rest on a parameter, by requirement and number.

    These are the ones whose analysis takes it. Of two requirements with one identifier the first
    counts, as everywhere, and none that does not apply.
    """
    return frozenset(
        (requirement.id, number)
        for requirement, number, verification in index.project.verifications()
        if verification.method is Method.ANALYSIS
        and index.requirements[requirement.id] is requirement
        and requirement.not_applicable is None
        and _takes(verification.analysis, parameter, index)
    )


def _takes(analysis: str | None, parameter: str, index: Index) -> bool:
    spec = index.analyses.get(analysis or "")
    return spec is not None and any(one.name == parameter for one in spec.arguments)
