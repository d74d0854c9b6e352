"""What a question says beside its box: groups for root sum square, distributions for chances."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from closeout.graph.bounds import Bounds
from closeout.graph.inputs import SIGMAS
from closeout.model.dossier import InputUsed
from closeout.model.records import Parameter, Verification


def groups_of(inputs: Iterable[InputUsed], parameters: Mapping[str, Parameter]) -> str:
    """Return groups, and conditions given as a pair, as the detail of a question."""
    spread = [one for one in inputs if one.low is not None]
    groups = {one.name: parameters[one.name].group for one in spread}
    sides = [one.name for one in spread if one.origin == "given"]
    known = {name: group for name, group in groups.items() if group}
    return json.dumps({"groups": known, "sides": sides}, sort_keys=True)


def chances_of(
    verification: Verification,
    seed: str,
    inputs: Iterable[InputUsed],
    parameters: Mapping[str, Parameter],
    bounds: Bounds,
) -> str:
    """Return criterion, probability and distributions, as the detail of a question.

    A condition that is given as a pair is no chance, and is left out.
    """
    basis, criterion = verification.basis, verification.criterion
    assert basis.probability is not None
    assert basis.confidence is not None
    drawn = {}
    for one in inputs:
        if one.low is None or one.high is None or one.origin == "given":
            continue
        parameter = parameters[one.name]
        sigma = None
        if parameter.spread.sigma is not None:
            sigma = (one.high - one.low) / (2 * SIGMAS)
        drawn[one.name] = [sigma, parameter.distribution, parameter.group]
    return json.dumps(
        {
            "quantity": criterion.quantity,
            "at_least": bounds.at_least,
            "at_most": bounds.at_most,
            "cases_at_least": criterion.cases_at_least,
            "probability": float(basis.probability),
            "confidence": float(basis.confidence),
            "seed": seed,
            "drawn": drawn,
        },
        sort_keys=True,
    )
