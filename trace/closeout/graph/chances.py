"""What a question says beside its box: groups for root sum square, distributions for chances."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from closeout.graph.inputs import SIGMAS
from closeout.model.answer import Bounds
from closeout.model.inputs_used import InputUsed
from closeout.model.question import Field
from closeout.model.records import Parameter, Verification


def spreads_of(inputs: Iterable[InputUsed], parameters: Mapping[str, Parameter]) -> dict[str, Any]:
    """Return groups, conditions given as a pair, and how each of the rest is drawn.

    A condition that is given as a pair is no chance, nor is what a model below may be off
    (``added``). What is drawn has sigma, distribution, group. ``reach`` is three standard
    deviations of what was measured: the ends by root sum square are as far away as those of a
    sigma, while the expanded uncertainty is what the worst case takes.
    """
    spread = [one for one in inputs if one.low is not None and one.high is not None]
    groups = {one.name: group_of(one.name, parameters) for one in spread}
    return {
        "groups": {name: group for name, group in groups.items() if group},
        "sides": [one.name for one in spread if one.side],
        "added": [one.name for one in spread if one.is_off],
        "reach": {
            one.name: SIGMAS * sigma
            for one in spread
            if one.sigmas != SIGMAS and (sigma := _sigma(one)) is not None
        },
        "drawn": {
            one.name: [_sigma(one), _distribution(one.name, parameters), groups[one.name]]
            for one in spread
            if not one.side
        },
    }  # fmt: skip


def group_of(name: str, parameters: Mapping[str, Parameter]) -> str | None:
    """Return the group of correlated parameters that an input belongs to."""
    return parameters[name].group if name in parameters else None


def _distribution(name: str, parameters: Mapping[str, Parameter]) -> str | None:
    return parameters[name].distribution if name in parameters else None


def assumed_of(inputs: Iterable[InputUsed], parameters: Mapping[str, Parameter]) -> tuple[str, ...]:
    """Return what is drawn as uniform because only how far it may lie is given."""
    drawn = spreads_of(inputs, parameters)["drawn"]
    return tuple(name for name, (sigma, kind, _) in drawn.items() if sigma is None and not kind)


def _sigma(used: InputUsed) -> float | None:
    if used.sigmas is None or used.low is None or used.high is None:
        return None
    return (used.high - used.low) / (2 * used.sigmas)


def groups_of(
    inputs: Iterable[InputUsed], parameters: Mapping[str, Parameter], fields: Iterable[Field]
) -> str:
    """Return groups, what is no chance, and units, as the detail of a question."""
    spreads = spreads_of(inputs, parameters)
    found = {name: spreads[name] for name in ("groups", "sides", "added", "reach")}
    found["units"] = {field.name: field.unit for field in fields}
    return json.dumps(found, sort_keys=True)


def chances_of(
    verification: Verification,
    seed: str,
    inputs: Iterable[InputUsed],
    parameters: Mapping[str, Parameter],
    bounds: Bounds,
) -> str:
    """Return criterion, probability and distributions, as the detail of a question."""
    basis, criterion = verification.basis, verification.criterion
    assert basis.probability is not None
    assert basis.confidence is not None
    return json.dumps(
        {
            "quantity": criterion.quantity,
            "at_least": bounds.at_least,
            "at_most": bounds.at_most,
            "cases_at_least": criterion.cases_at_least,
            "probability": float(basis.probability),
            "confidence": float(basis.confidence),
            "seed": seed,
            "drawn": spreads_of(inputs, parameters)["drawn"],
        },
        sort_keys=True,
    )
