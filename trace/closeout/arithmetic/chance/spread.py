"""What the declared spreads make of one quantity: root sum square, Sobol indices, quantiles.

Each stands beside the extreme value, and none replaces it. Conditions that are given as a pair are
no chance: the ends by root sum square and the quantiles are the worst over points of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from closeout.arithmetic.chance import linearised
from closeout.arithmetic.chance.condition_points import points_of
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.model.study import Ends, Factor, Quantiles

# Rows of each of the two matrices: standard errors of an index are about 0.01.
SOBOL_ROWS = 8192
# Evaluations for a proof of the extremes, beside the ends by root sum square.
PROOF = 400
# Samples for a quantile of a formula; of a march the fewest that Wilks allows.
QUANTILE_SAMPLES = 65_536
MOST_SAMPLES = 2**20


class NoSamples(ValueError):
    """Samples cannot be evaluated at once, or there is nothing to draw; says why."""


def root_sum_square(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, key: Key, detail: Mapping[str, Any]
) -> Ends:
    """Return low and high end of a quantity, and by how much the straight lines are off.

    Raises:
        NotIndependent: two parameters move together.
    """
    # Each quantity and case has two corners of its own, and of a march each costs an evaluation.
    alone = _alone(evaluate, key)
    extent = linearised.answer(alone, inputs, box, detail, PROOF).extents[key]
    remark = extent.absent or extent.unproved or ""
    return Ends("root sum square", extent.low, extent.high, remark)


def sobol(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, key: Key, detail: Mapping[str, Any]
) -> tuple[Factor, ...]:
    """Return first-order and total index of each factor; the greatest total first.

    Conditions stay at the inputs.

    Raises:
        NoSamples: nothing is drawn, or the analysis cannot take many samples in one call.
    """
    from closeout.arithmetic.array.array import ArrayEvaluator
    from closeout.arithmetic.chance.sampling import seed_of
    from closeout.arithmetic.chance.sobol import sobol_indices

    spreads = _drawn(inputs, box, detail)
    evaluator = ArrayEvaluator(_alone(evaluate, key), [key], most_numbers=0)
    fixed = {name: value for name, value in inputs.items() if name not in spreads}

    def at(samples: Mapping[str, Any]) -> Mapping[Key, Any]:
        values = evaluator.at({**fixed, **samples})
        if evaluator.fallback is not None:
            raise NoSamples(f"samples cannot be taken in one call: {evaluator.fallback}")
        return values

    found = sobol_indices(at, spreads, SOBOL_ROWS, seed_of(detail["seed"]))[key]
    factors = [Factor._make(one) for one in found.factors]
    return tuple(sorted(factors, key=lambda one: -one.total))


def quantiles(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    key: Key,
    detail: Mapping[str, Any],
) -> Quantiles:
    """Return a low and a high bound of a share of all values, by Wilks, and the samples of each.

    ``detail`` has ``quantile``: coverage and confidence. Each bound is one-sided: at least that
    share of the values lies above the low one, and of the values below the high one. ``samples``,
    where it is there, are those that a probability was decided from: the same give a bound that
    agrees with that verdict.

    Raises:
        NoSamples: nothing is drawn, or some sample has no value.
    """
    import numpy

    from closeout.arithmetic.array.array import ArrayEvaluator
    from closeout.arithmetic.chance.decision import quantile_bounds, wilks_samples
    from closeout.arithmetic.chance.sampling import Stream, seed_of

    coverage, confidence = detail["quantile"]
    decided_from = detail.get("samples")
    fewest = max(wilks_samples(coverage, confidence), decided_from or 1)
    usual = fewest if decided_from else QUANTILE_SAMPLES
    if fewest > MOST_SAMPLES:
        raise NoSamples(f"{fewest} samples are needed, more than {MOST_SAMPLES}")
    spreads = _drawn(inputs, box, detail)
    fixed = {name: value for name, value in inputs.items() if name not in spreads}
    found = []
    sides = tuple(side for side in box if side[0] not in spreads)
    for at in points_of(sides):
        stream = Stream(spreads, seed_of(detail["seed"]), part=repr(sorted(at.items())))
        evaluator = ArrayEvaluator(_alone(evaluate, key), [key])
        values = evaluator.at({**fixed, **at, **stream.take(fewest)})[key]
        if evaluator.fallback is None and fewest < usual:
            more = evaluator.at({**fixed, **at, **stream.take(usual - fewest)})[key]
            values = numpy.concatenate([values, more])
        if values.size < fewest or numpy.isnan(values).any():
            raise NoSamples(f"{fewest} samples are needed, each with a value: {evaluator.fallback}")
        above = quantile_bounds(values, coverage, confidence, low=True, high=False)
        below = quantile_bounds(values, coverage, confidence, low=False, high=True)
        found.append((above, below, int(values.size)))
    lows = [above[0] for above, _, _ in found if above and above[0] is not None]
    highs = [below[1] for _, below, _ in found if below and below[1] is not None]
    samples = min(samples for _, _, samples in found)
    return Quantiles(coverage, confidence, min(lows), max(highs), samples)


def _alone(evaluate: Evaluate, key: Key) -> Evaluate:
    """Return what gives one quantity and case only, whatever the other cases have."""
    return lambda point: {key: evaluate(point)[key]}


def _drawn(inputs: Mapping[str, float], box: Box, detail: Mapping[str, Any]) -> dict[str, Any]:
    from closeout.arithmetic.chance.sampling import drawn

    spreads = drawn(inputs, box, detail["drawn"])
    if not spreads:
        raise NoSamples("no parameter has a tolerance to draw from")
    return spreads
