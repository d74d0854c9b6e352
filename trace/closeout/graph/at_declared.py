"""Asking an analysis that no verification asks."""

from __future__ import annotations

from closeout.graph.index import Index
from closeout.graph.links import reach_of
from closeout.model.criterion import Condition, Criterion
from closeout.model.problem import Pointer
from closeout.model.question import AnalysisSpec
from closeout.model.records import Basis, BasisKind, ConditionKind, Method, Verification


def at_declared(spec: AnalysisSpec, index: Index) -> Verification:
    """Return what would ask an analysis at the project's values, conditions as declared."""
    names = sorted(reach_of(spec, index).parameters)
    parameters = [index.parameters.get(name) for name in names]
    given = tuple(
        (one.id, Condition((one.value,)))
        for one in parameters
        if one is not None and one.condition is ConditionKind.GIVEN
    )
    return Verification(
        where=Pointer(spec.path, (spec.line,)),
        method=Method.ANALYSIS,
        analysis=spec.name,
        criterion=Criterion(quantity=spec.fields[0].name, given=given),
        basis=Basis(BasisKind.NOMINAL),
    )
