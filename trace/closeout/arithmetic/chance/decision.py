"""Decide from samples whether a probability is reached, and bound quantiles by order statistics.

Samples are doubled until a verdict is certain. Every look at them is a chance to be wrong, so each
has its own share of what the confidence c leaves: look k (from 0) is taken at 1 - (1 - c)/2^(k+1),
and all looks together, however many, err with a probability of at most 1 - c (Bonferroni: the
shares add up to 1 - c). The bounds are those of Clopper and Pearson, Biometrika 26 (1934), 404-413,
each one-sided, exact for every sample count.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from closeout.arithmetic.array.array import CHUNK
from closeout.arithmetic.types import Key

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]
    Passes = Mapping[Key, NDArray[numpy.bool_]]

FEWEST = 256
CAP = 2**20


class Outcome(StrEnum):
    """What samples say of a required probability; undecided is never met."""

    MET = "met"
    NOT_MET = "not met"
    UNDECIDED = "undecided"


class Decision(NamedTuple):
    """A verdict on a probability, and what it rests on.

    ``lower`` and ``upper`` are the one-sided Clopper-Pearson bounds of the last look, each at
    ``level``. They hold the probability with the confidence that was asked for, whenever the looks
    stopped.
    """

    outcome: Outcome
    required: float
    estimate: float
    lower: float
    upper: float
    samples: int
    passed: int
    looks: int
    level: float

    @property
    def margin(self) -> float:
        """Return the proved probability less the required one."""
        return self.lower - self.required


def decide(
    passes: Callable[[int], tuple[int, int]],
    probability: float,
    confidence: float,
    *,
    first: int | None = None,
    cap: int = CAP,
) -> Decision:
    """Return whether a probability is at least the required one.

    Met where the lower bound reaches it, not met where the upper bound lies below it; undecided
    where neither holds at the cap. Under a true probability below the required one, met comes with
    a probability of at most 1 - confidence, and so does not met where it is reached.

    Args:
        passes: for n, how many of the first n samples pass, and of how many; fewer than n where
            there are no more to be had, and then that was the last look.
        probability, confidence: both inside 0 to 1, ends left out.
        first: samples at the first look; by default the fewest with which it can end as met, and
            not less than 256. Where it never can (:func:`highest`) it is 256, since not met may
            show early.
        cap: samples at the last look.

    Raises:
        ValueError: an argument is out of its range, or there was no sample at all.
    """
    _inside(probability=probability, confidence=confidence)
    if first is None:
        fewest = wilks_samples(probability, 1.0 - (1.0 - confidence) / 2.0)
        first = max(FEWEST, fewest) if fewest <= cap else FEWEST
    if first < 1 or cap < 1:
        raise ValueError(f"first look at {first} samples, cap {cap}: both must be 1 or more")
    wanted = min(first, cap)
    looks = 0
    while True:
        passed, samples = passes(wanted)
        if samples < 1:
            raise ValueError("there is no sample to decide from")
        looks += 1
        share = (1.0 - confidence) / 2.0**looks
        lower, upper = clopper_pearson(passed, samples, share)
        outcome = _outcome(lower, upper, probability)
        if outcome is not Outcome.UNDECIDED or samples < wanted or wanted >= cap:
            estimate = passed / samples
            return Decision(
                outcome, probability, estimate, lower, upper, samples, passed, looks, 1.0 - share
            )
        wanted = min(2 * wanted, cap)


def highest(confidence: float, cap: int = CAP) -> float:
    """Return the highest probability that :func:`decide` can find met: where every sample passes.

    The lower bound of Clopper and Pearson for n of n samples is share^(1/n); the share of the first
    look is half of what the confidence leaves, that of a later one is smaller.
    """
    return float(((1.0 - confidence) / 2.0) ** (1.0 / cap))


def clopper_pearson(passed: int, samples: int, share: float) -> tuple[float, float]:
    """Return the lower and the upper bound of a binomial probability.

    Each is exceeded to its side with a probability of at most ``share`` (one-sided, so the two
    together make an interval of confidence 1 - 2 share).
    """
    from scipy.special import betainccinv, betaincinv  # type: ignore[import-untyped]

    lower = float(betaincinv(passed, samples - passed + 1, share)) if passed else 0.0
    upper = float(betainccinv(passed + 1, samples - passed, share)) if passed < samples else 1.0
    return lower, upper


def _outcome(lower: float, upper: float, probability: float) -> Outcome:
    if lower >= probability:
        return Outcome.MET
    return Outcome.NOT_MET if upper < probability else Outcome.UNDECIDED


class Trials:
    """Counts of passing samples for several quantities and cases over one stream of samples.

    Args:
        draw: returns the next n samples of the parameters that are drawn (``Stream.take``).
        evaluate: returns the values at samples (``ArrayEvaluator.at``); fewer than were drawn where
            a bound was reached.
        passes: which of the samples pass, by quantity and case; NaN (an absent case) passes no
            comparison.
        inputs: the arguments that are not drawn.
    """

    def __init__(
        self,
        draw: Callable[[int], Mapping[str, Array]],
        evaluate: Callable[[Mapping[str, float | Array]], Mapping[Key, Array]],
        passes: Callable[[Mapping[Key, Array]], Passes],
        inputs: Mapping[str, float],
    ) -> None:
        self._draw = draw
        self._evaluate = evaluate
        self._passes = passes
        self._inputs = dict(inputs)
        self._counts: dict[Key, int] = {}
        self._samples = 0
        self._ended = False
        # What was counted at each look, since every case asks for the same looks.
        self._seen: dict[int, tuple[dict[Key, int], int]] = {}

    def counter(self, key: Key) -> Callable[[int], tuple[int, int]]:
        """Return the function that :func:`decide` asks, for one quantity and case."""

        def passes(n: int) -> tuple[int, int]:
            counts, samples = self._upto(n)
            return counts.get(key, 0), samples

        return passes

    def _upto(self, n: int) -> tuple[dict[Key, int], int]:
        if n not in self._seen:
            if n < self._samples and not self._ended:
                raise ValueError(f"{self._samples} samples are counted, {n} were not looked at")
            while self._samples < n and not self._ended:
                self._more(min(CHUNK, n - self._samples))
            self._seen[n] = dict(self._counts), self._samples
        return self._seen[n]

    def _more(self, n: int) -> None:
        import numpy

        values = self._evaluate({**self._inputs, **self._draw(n)})
        got = min((one.size for one in values.values()), default=0)
        for key, passed in self._passes(values).items():
            self._counts[key] = self._counts.get(key, 0) + int(numpy.count_nonzero(passed))
        self._samples += got
        self._ended = got < n


def wilks_samples(coverage: float, confidence: float, excluded: int = 1) -> int:
    """Return the fewest samples of which order statistics bound a share of the population.

    With n samples, the interval that leaves out ``excluded`` of the n + 1 gaps between neighbours
    covers a share that is beta distributed (n - excluded + 1, excluded), whatever the distribution
    is, if it is continuous. One gap is the largest value as an upper bound (or the smallest as a
    lower one), two are smallest and largest together: 59 and 93 for 95 % at 95 %. S. S. Wilks,
    Annals of Mathematical Statistics 12 (1941), 91-96.

    Raises:
        ValueError: an argument is out of its range.
    """
    _inside(coverage=coverage, confidence=confidence)
    if excluded < 1:
        raise ValueError(f"excluded is {excluded}, not 1 or more")
    high = excluded
    while _wilks_confidence(high, coverage, excluded) < confidence:
        high *= 2
    low = max(excluded, high // 2)
    while low < high:
        middle = (low + high) // 2
        if _wilks_confidence(middle, coverage, excluded) < confidence:
            low = middle + 1
        else:
            high = middle
    return high


def quantile_bounds(
    values: Array, coverage: float, confidence: float, *, low: bool = False, high: bool = True
) -> tuple[float | None, float | None] | None:
    """Return the closest order statistics that hold a share of the population, by Wilks.

    A bound that is not asked for is None. With both the same number of values is left out at each
    end. None where there are too few samples (:func:`wilks_samples`).

    Raises:
        ValueError: no bound is asked for, a value is no number, or an argument is out of range.
    """
    import numpy

    _inside(coverage=coverage, confidence=confidence)
    bounds = low + high
    if not bounds or numpy.isnan(values).any():
        raise ValueError("quantiles need a bound, and a value at every sample")
    count = values.size
    order, step = 0, max(count, 1)
    while step:  # the largest order at which the confidence still holds
        tried = order + step
        fits = tried * bounds <= count
        if fits and _wilks_confidence(count, coverage, tried * bounds) >= confidence:
            order = tried
        else:
            step //= 2
    if not order:
        return None
    ranked = numpy.sort(values)
    return (
        float(ranked[order - 1]) if low else None,
        float(ranked[count - order]) if high else None,
    )


def _wilks_confidence(samples: int, coverage: float, excluded: int) -> float:
    from scipy.special import betaincc

    return float(betaincc(samples - excluded + 1, excluded, coverage))


def _inside(**given: float) -> None:
    for name, value in given.items():
        if not 0.0 < value < 1.0 or math.isnan(value):
            raise ValueError(f"{name} is {value!r}, not between 0 and 1")
