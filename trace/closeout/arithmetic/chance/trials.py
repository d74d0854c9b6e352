"""Probability that a criterion holds: samples of the parameters, looked at until it is certain."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from closeout import Absent
from closeout.arithmetic.array.array import ArrayEvaluator
from closeout.arithmetic.chance.condition_points import points_of
from closeout.arithmetic.chance.decision import Outcome, Trials, decide
from closeout.arithmetic.chance.sampling import Distribution, Stream, assumed, drawn, seed_of
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.model.answer import Answer, Assurance, Decided, Extent

_WORST_FIRST = (Outcome.NOT_MET, Outcome.UNDECIDED, Outcome.MET)


def answer(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    detail: Mapping[str, Any],
) -> Answer:
    """Return the values at the inputs, and a decision for each case.

    Parameters are drawn from their distributions; a condition that is given as a pair is no chance:
    points of it, its ends among them, are decided apart, and the worst of them counts.

    Args:
        detail: ``quantity``, ``at_least`` and ``at_most`` (None where there is none),
            ``cases_at_least``, ``probability``, ``confidence``, ``seed`` (a text), and ``drawn``:
            by name, sigma (None), kind (None) and group (None).
    """
    nominal = evaluate(inputs)
    keys = [key for key in nominal if key[0] == detail["quantity"]]
    spreads = drawn(inputs, box, detail["drawn"])
    sides = tuple((name, low, high) for name, low, high in box if name not in spreads)
    decided: dict[Key, Decided] = {}
    samples = 0
    for at in points_of(sides):
        found, used = _decided(evaluate, {**inputs, **at}, spreads, keys, detail, at)
        samples += used
        for key, one in found.items():
            if key not in decided or _rank(one) < _rank(decided[key]):
                decided[key] = one
    extents = {
        key: Extent(None, absent=value.reason) if isinstance(value, Absent) else Extent(value)
        for key, value in nominal.items()
    }
    return Answer(extents, Assurance.SAMPLED, samples, tuple(decided.values()))


def _decided(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    spreads: Mapping[str, Distribution],
    keys: list[Key],
    detail: Mapping[str, Any],
    at: Mapping[str, float],
) -> tuple[dict[Key, Decided], int]:
    evaluator = ArrayEvaluator(evaluate, keys)
    stream = Stream(spreads, seed_of(detail["seed"]), part=repr(sorted(at.items())))
    fixed = {name: value for name, value in inputs.items() if name not in spreads}

    def passes(values: Mapping[Key, Any]) -> dict[Key, Any]:
        met = {key: _meets(value, detail) for key, value in values.items()}
        if detail["cases_at_least"] is None:
            return met
        return {(detail["quantity"], None): sum(met.values()) >= detail["cases_at_least"]}

    trials = Trials(stream.take, evaluator.at, passes, fixed)
    wanted = keys if detail["cases_at_least"] is None else [(detail["quantity"], None)]
    decided: dict[Key, Decided] = {}
    most = 0
    for key in wanted:
        found = decide(trials.counter(key), detail["probability"], detail["confidence"])
        decided[key] = Decided(
            case=key[1],
            outcome=found.outcome.value,
            required=found.required,
            estimate=found.estimate,
            lower=found.lower,
            upper=found.upper,
            samples=found.samples,
            taken_uniform=assumed(spreads),
            fallback=evaluator.fallback,
            at=tuple(sorted(at.items())),
        )
        most = max(most, found.samples)
    return decided, most


def _meets(values: Any, detail: Mapping[str, Any]) -> Any:
    met = values == values  # an absent case passes no comparison
    if detail["at_least"] is not None:
        met = met & (values >= detail["at_least"])
    if detail["at_most"] is not None:
        met = met & (values <= detail["at_most"])
    return met


def _rank(one: Decided) -> tuple[int, float]:
    return _WORST_FIRST.index(Outcome(one.outcome)), one.lower
