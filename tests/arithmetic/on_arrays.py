"""An analysis on arrays of samples that are all of one length, in one go."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NamedTuple

import numpy
from numpy.typing import NDArray

from closeout.arithmetic.array.array import ArrayEvaluator
from closeout.arithmetic.types import Evaluate, Key

Array = NDArray[numpy.float64]
Point = Mapping[str, float | Array]


class Sampled(NamedTuple):
    """Values by quantity and case, one for each sample; NaN only where a case is absent there.

    ``fallback`` is the reason why the samples were evaluated one by one on numbers, else None.
    ``absent`` counts the samples at which a case has no value, where there are any.
    """

    values: Mapping[Key, Array]
    fallback: str | None
    absent: Mapping[Key, int]


def evaluate_array(evaluate: Evaluate, inputs: Point, keys: Collection[Key]) -> Sampled:
    """Return the values at every sample of the inputs, where the arrays are all of one length.

    See :class:`ArrayEvaluator`, which does this in several goes.
    """
    evaluator = ArrayEvaluator(evaluate, keys)
    values = evaluator.at(inputs)
    return Sampled(values, evaluator.fallback, dict(evaluator.absent))
