"""Which verifications rest on a parameter: what a change of its value may move."""

from __future__ import annotations

from collections.abc import Collection

from closeout.graph.index import Index
from closeout.graph.links import reach_of
from closeout.model.records import Method


def rests_on(parameter: str, index: Index) -> frozenset[tuple[str, int]]:
    """Return the verifications by analysis that rest on a parameter, by requirement and number.

    These are the ones whose analysis takes it, or is above one that does. Of two requirements with
    one identifier the first counts, as everywhere, and none that does not apply.
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
    """Return the analyses that rest on a parameter, also where an agreed range is held against it.

    What such a range no longer contains leaves open all that rests on the range.
    """
    reach = {spec.name: reach_of(spec, index).parameters for spec in index.specs}
    moved = {parameter}
    while True:
        resting = frozenset(name for name, names in reach.items() if names & moved)
        agreed = {
            one.id
            for one in index.parameters.values()
            if one.estimate is not None
            and any(_is_of(text, resting, index) for text in one.estimate.quantities)
        }
        if agreed <= moved:
            return resting
        moved |= agreed


def _is_of(text: str, analyses: Collection[str], index: Index) -> bool:
    """Return whether a link leads to a quantity of some analyses: ``analysis.quantity``."""
    spec = index.analyses.get(text.rpartition(".")[0])
    return spec is not None and spec.name in analyses
