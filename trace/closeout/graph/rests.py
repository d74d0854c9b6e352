"""Which verifications rest on a parameter: what a change of its value may move."""

from __future__ import annotations

from collections.abc import Collection

from closeout.graph.index import Index
from closeout.model.question import AnalysisSpec
from closeout.model.records import Method


def rests_on(parameter: str, index: Index) -> frozenset[tuple[str, int]]:
    """Return the verifications by analysis that rest on a parameter, by requirement and number.

    These are the ones whose analysis takes it, or takes an input that an analysis computes which
    rests on it. Of two requirements with one identifier the first counts, as everywhere, and none
    that does not apply.
    """
    resting = _analyses_on(parameter, index)
    return frozenset(
        (requirement.id, number)
        for requirement, number, verification in index.project.verifications()
        if verification.method is Method.ANALYSIS
        and index.requirements[requirement.id] is requirement
        and requirement.not_applicable is None
        and (spec := index.analyses.get(verification.analysis or "")) is not None
        and spec.name in resting
    )


def _analyses_on(parameter: str, index: Index) -> frozenset[str]:
    """Return the analyses that take a parameter, or what is computed from it."""
    moved, resting = {parameter}, set[str]()
    while True:
        more = {spec.name for spec in index.specs if _takes(spec, moved)} - resting
        if not more:
            return frozenset(resting)
        resting |= more
        moved |= {
            name
            for name, one in index.linked.items()
            if any(_is_of(text, resting, index) for text in one.link.quantities)
        }


def _takes(spec: AnalysisSpec, names: Collection[str]) -> bool:
    return any(argument.name in names for argument in spec.arguments)


def _is_of(text: str, analyses: Collection[str], index: Index) -> bool:
    """Return whether a link leads to a quantity of some analyses: ``analysis.quantity``."""
    spec = index.analyses.get(text.rpartition(".")[0])
    return spec is not None and spec.name in analyses
