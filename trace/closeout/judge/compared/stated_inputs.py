"""Through the chain: what an analysis takes below, and which analyses rest on its result above."""

from __future__ import annotations

from collections.abc import Container

from closeout.graph import Index
from closeout.graph.links import Links, reach_of
from closeout.model.question import AnalysisSpec


def inputs_of(
    spec: AnalysisSpec, index: Index, leads: Links, stated: Container[str] = ()
) -> tuple[str, ...]:
    """Return the inputs of an analysis and of all below it, those that are computed among them.

    What is below one that is ``stated`` is not asked.
    """
    found: dict[str, None] = {}
    left, seen = [spec], {spec.name}
    while left:
        for argument in left.pop().arguments:
            found[argument.name] = None
            computed = argument.name in index.linked and argument.name not in stated
            for source in leads.sources.get(argument.name, ()) if computed else ():
                if source.spec.name not in seen:
                    seen.add(source.spec.name)
                    left.append(source.spec)
    return tuple(found)


def resting_on(analysis: str, index: Index) -> frozenset[str]:
    """Return the analyses whose result rests on that of an analysis, itself among them."""
    return frozenset(
        spec.name for spec in index.specs if analysis in reach_of(spec, index).analyses
    )
