"""Verdicts on probabilities: exact bounds, looks that keep the confidence, Wilks' sample counts."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy
import pytest
from scipy import stats

from closeout.arithmetic.array.array import CHUNK, ArrayEvaluator
from closeout.arithmetic.chance.decision import (
    CAP,
    Decision,
    Outcome,
    Trials,
    clopper_pearson,
    decide,
    highest,
    quantile_bounds,
    wilks_samples,
)
from closeout.arithmetic.chance.sampling import Stream, distribution, seed_of

# Clopper-Pearson


@pytest.mark.parametrize(("passed", "samples"), [(0, 10), (1, 10), (5, 20), (10, 10), (297, 300)])
@pytest.mark.parametrize("share", [0.1, 0.025, 1e-6])
def test_bounds_are_those_of_the_binomial_tails(passed: int, samples: int, share: float) -> None:
    """Their definition: as many passes or more (fewer) have the probability ``share`` there."""
    lower, upper = clopper_pearson(passed, samples, share)

    def at(p: float, counts: range) -> float:
        return math.fsum(math.comb(samples, k) * p**k * (1 - p) ** (samples - k) for k in counts)

    if passed:
        assert at(lower, range(passed, samples + 1)) == pytest.approx(share, rel=1e-9)
    else:
        assert lower == 0.0
    if passed < samples:
        assert at(upper, range(passed + 1)) == pytest.approx(share, rel=1e-9)
    else:
        assert upper == 1.0


@pytest.mark.parametrize("samples", [1, 59, 10**6])
def test_bounds_at_the_ends_in_closed_form(samples: int) -> None:
    """All pass: the lower bound is share^(1/n); none: the upper is 1 - share^(1/n)."""
    assert clopper_pearson(samples, samples, 0.05)[0] == pytest.approx(0.05 ** (1 / samples))
    upper = -math.expm1(math.log(0.05) / samples)
    assert clopper_pearson(0, samples, 0.05)[1] == pytest.approx(upper, rel=1e-9)


@pytest.mark.parametrize("passed", [0, 3, 989_900, 10**6])
def test_bounds_of_a_million_are_scipy_s(passed: int) -> None:
    exact = stats.binomtest(passed, 10**6).proportion_ci(0.9, "exact")
    bounds = clopper_pearson(passed, 10**6, 0.05)
    assert bounds == pytest.approx((exact.low, exact.high), rel=1e-9)


# looks


def steady(share: float) -> Callable[[int], tuple[int, int]]:
    return lambda n: (round(share * n), n)


def test_a_clear_case_ends_at_the_first_look() -> None:
    """0.9 at 90 %: the first look is at 95 % confidence."""
    found = decide(steady(1.0), 0.9, 0.9, first=100)
    assert found.outcome is Outcome.MET
    assert (found.samples, found.looks, found.passed, found.estimate) == (100, 1, 100, 1.0)
    assert found.level == pytest.approx(0.95)
    assert found.lower == pytest.approx(0.05**0.01)
    assert found.margin == pytest.approx(0.05**0.01 - 0.9)
    assert decide(steady(0.5), 0.9, 0.9, first=100).outcome is Outcome.NOT_MET


def test_look_k_is_taken_at_its_share_of_the_confidence() -> None:
    for cap, looks in ((100, 1), (200, 2), (400, 3), (500, 4), (800, 4)):
        found = decide(steady(0.9), 0.9, 0.9, first=100, cap=cap)
        assert found.outcome is Outcome.UNDECIDED
        assert (found.looks, found.samples) == (looks, cap)
        assert found.level == pytest.approx(1 - 0.1 / 2**looks)
        bounds = clopper_pearson(found.passed, cap, 0.1 / 2**looks)
        assert (found.lower, found.upper) == pytest.approx(bounds, rel=1e-12)


def test_undecided_at_the_cap_has_a_negative_margin() -> None:
    found = decide(steady(0.991), 0.99, 0.9, cap=2000)
    assert found.outcome is Outcome.UNDECIDED
    assert found.estimate > 0.99
    assert found.margin < 0.0
    assert decide(steady(0.991), 0.99, 0.9).outcome is Outcome.MET


def test_the_first_look_by_default_can_end_as_met() -> None:
    """n with 0.99^n <= 0.05: 299."""
    found = decide(steady(1.0), 0.99, 0.9)
    assert (found.outcome, found.samples) == (Outcome.MET, 299)
    assert decide(steady(1.0), 0.99, 0.9, first=298).samples == 596


@pytest.mark.parametrize(("confidence", "cap"), [(0.95, CAP), (0.5, 4096), (0.999, 2**16)])
def test_the_highest_probability_is_met_where_all_pass_and_no_higher_one(
    confidence: float, cap: int
) -> None:
    """At a confidence of 0.95 and 2^20 samples 1 - 3.518e-6: ln 0.025 / 2^20, by hand."""
    most = highest(confidence, cap)
    if cap == CAP:
        assert 1.0 - most == pytest.approx(3.518e-6, rel=1e-3)
    for probability, outcome in (
        (most - 1e-9, Outcome.MET),
        (most + 1e-9, Outcome.UNDECIDED),
    ):
        found = decide(lambda n: (n, n), probability, confidence, cap=cap)
        assert found.outcome is outcome


def test_what_can_never_be_met_is_still_found_not_met_early() -> None:
    found = decide(lambda n: (n // 2, n), 0.9999999, 0.95)
    assert (found.outcome, found.samples) == (Outcome.NOT_MET, 256)


def test_samples_that_run_out_end_it() -> None:
    found = decide(lambda n: (min(n, 150), min(n, 150)), 0.99, 0.9, first=100)
    assert (found.outcome, found.samples, found.looks) == (Outcome.UNDECIDED, 150, 2)
    with pytest.raises(ValueError, match="no sample"):
        decide(lambda n: (0, 0), 0.99, 0.9)


@pytest.mark.parametrize(
    ("probability", "confidence", "more"),
    [
        (0.0, 0.9, {}), (1.0, 0.9, {}), (0.9, 0.0, {}), (0.9, 1.0, {}), (math.nan, 0.9, {}),
        (0.9, 0.9, {"first": 0}), (0.9, 0.9, {"cap": 0}),
    ],
)  # fmt: skip
def test_what_cannot_be_asked_is_refused(
    probability: float, confidence: float, more: dict[str, int]
) -> None:
    with pytest.raises(ValueError, match=r"not between|must be 1 or more"):
        decide(steady(1.0), probability, confidence, **more)


LOOKS = 10


def grown(generator: numpy.random.Generator, p: float, first: int) -> list[int]:
    """Return how many pass at ten looks, each at twice the samples of the one before."""
    steps = [first, *(first * 2**k for k in range(LOOKS - 1))]
    return [int(n) for n in numpy.cumsum(generator.binomial(steps, p))]


def looked_at(counts: list[int], p: float, first: int) -> Decision:
    at = {first * 2**k: count for k, count in enumerate(counts)}
    return decide(lambda n: (at[n], n), p, 0.9, first=first, cap=first * 2 ** (LOOKS - 1))


def naive(counts: list[int], p: float, first: int) -> bool:
    """Say whether any of the looks, each at the full 90 %, would accept."""
    bounds = (clopper_pearson(n, first * 2**k, 0.1)[0] for k, n in enumerate(counts))
    return any(bound >= p for bound in bounds)


@pytest.mark.parametrize(("first", "naively"), [(100, 0.36), (299, 0.39)])
def test_looks_together_keep_the_confidence_where_naive_ones_do_not(
    first: int, naively: float
) -> None:
    """At a true probability of exactly the limit, 0.99, ten looks at 90 % accept 36 % of cases.

    Ten per cent are promised. 4000 cases of fixed seed; three standard errors of the share.
    """
    p, cases = 0.99, 4000
    generator = numpy.random.default_rng(11)
    grew = [grown(generator, p, first) for _ in range(cases)]
    share = sum(naive(counts, p, first) for counts in grew) / cases
    assert share == pytest.approx(naively, abs=0.025)
    found = [looked_at(counts, p, first).outcome for counts in grew]
    assert 0.0 < found.count(Outcome.MET) / cases <= 0.1
    assert 0.0 < found.count(Outcome.NOT_MET) / cases <= 0.1


def test_a_true_value_off_the_limit_is_found_out() -> None:
    generator = numpy.random.default_rng(12)
    for true, outcome in ((0.995, Outcome.MET), (0.98, Outcome.NOT_MET)):
        for _ in range(200):
            counts = grown(generator, true, 300)
            assert looked_at(counts, 0.99, 300).outcome is outcome


# trials over the samples of an analysis

A, B = ("margin", "a"), ("margin", "b")


def trials(evaluate: Callable[[Mapping[str, Any]], dict[Any, Any]], **more: Any) -> Trials:
    spreads = {"x": distribution(0.0, 0.0, 1.0, kind="uniform")}
    evaluator = ArrayEvaluator(evaluate, [A, B], **more)
    return Trials(
        Stream(spreads, seed_of("COM-040")).take,
        evaluator.at,
        lambda values: {key: value >= 0.0 for key, value in values.items()},
        {"k": 0.995},
    )


def two_cases(point: Mapping[str, Any]) -> dict[Any, Any]:
    return {A: point["k"] - point["x"], B: 0.5 - point["x"]}


def test_cases_share_the_samples_and_each_has_its_verdict() -> None:
    made = trials(two_cases)
    first = decide(made.counter(A), 0.99, 0.9)
    assert first.outcome is Outcome.MET
    assert first.lower <= 0.995 <= first.upper
    second = decide(made.counter(B), 0.99, 0.9)
    assert (second.outcome, second.looks) == (Outcome.NOT_MET, 1)
    assert decide(made.counter(A), 0.99, 0.9) == first
    assert decide(trials(two_cases).counter(A), 0.99, 0.9) == first  # and it repeats


def test_samples_beyond_a_chunk_are_all_counted() -> None:
    passed, samples = trials(two_cases).counter(B)(3 * CHUNK + 5)
    assert samples == 3 * CHUNK + 5
    assert passed / samples == pytest.approx(0.5, abs=4.5 * 0.5 / math.sqrt(samples))


def test_the_bound_of_evaluations_on_numbers_leaves_it_undecided() -> None:
    def branches(point: Mapping[str, Any]) -> dict[Any, Any]:
        return {A: 1.0 if point["x"] < 0.999 else -1.0, B: 0.0}

    found = decide(trials(branches, most_numbers=500).counter(A), 0.998, 0.9)
    assert (found.outcome, found.samples) == (Outcome.UNDECIDED, 500)


def test_a_look_that_was_passed_by_is_refused() -> None:
    counter = trials(two_cases).counter(A)
    counter(1000)
    with pytest.raises(ValueError, match="were not looked at"):
        counter(999)


# Wilks


@pytest.mark.parametrize(
    ("coverage", "confidence", "excluded", "published"),
    [
        # S. S. Wilks, Ann. Math. Statist. 12 (1941): 59 one-sided, 93 two-sided for 95 % / 95 %;
        # the others from tables of higher orders, from memory.
        (0.95, 0.95, 1, 59), (0.95, 0.95, 2, 93), (0.95, 0.95, 3, 124), (0.95, 0.95, 4, 153),
        (0.90, 0.95, 1, 29), (0.99, 0.99, 1, 459), (0.95, 0.99, 1, 90), (0.99, 0.95, 2, 473),
    ],
)  # fmt: skip
def test_sample_counts_of_wilks(
    coverage: float, confidence: float, excluded: int, published: int
) -> None:
    assert wilks_samples(coverage, confidence, excluded) == published


@pytest.mark.parametrize(("coverage", "confidence"), [(0.5, 0.3), (0.9, 0.999), (0.9999, 0.9)])
def test_sample_counts_of_first_order_in_closed_form(coverage: float, confidence: float) -> None:
    """One-sided 1 - g^n >= c; two-sided 1 - g^n - n (1 - g) g^(n - 1) >= c; not one less."""
    one = wilks_samples(coverage, confidence, 1)
    assert 1 - coverage**one >= confidence > 1 - coverage ** (one - 1)

    def two_sided(n: int) -> float:
        return 1 - coverage**n - n * (1 - coverage) * coverage ** (n - 1)

    two = wilks_samples(coverage, confidence, 2)
    assert two_sided(two) >= confidence > two_sided(two - 1)


def test_quantiles_are_order_statistics() -> None:
    """95 / 95: 59 samples give the largest, 93 the second largest, 124 the third."""
    for count, order in ((59, 1), (92, 1), (93, 2), (123, 2), (124, 3), (153, 4)):
        values = numpy.random.default_rng(5).permutation(numpy.arange(float(count)))
        assert quantile_bounds(values, 0.95, 0.95) == (None, count - order)
        low = quantile_bounds(values, 0.95, 0.95, low=True, high=False)
        assert low == (order - 1, None)
    for count, order in ((93, 1), (152, 1), (153, 2)):
        both = quantile_bounds(numpy.arange(float(count)), 0.95, 0.95, low=True)
        assert both == (order - 1, count - order)
    assert quantile_bounds(numpy.arange(58.0), 0.95, 0.95) is None
    assert quantile_bounds(numpy.arange(92.0), 0.95, 0.95, low=True) is None
    assert quantile_bounds(numpy.arange(0.0), 0.95, 0.95) is None


def test_quantile_bounds_cover_as_often_as_promised() -> None:
    """Uniform samples: the covered share is the bound itself, or the distance of both."""
    generator = numpy.random.default_rng(6)
    cases = 2000
    one = two = 0
    for _ in range(cases):
        values = generator.random(400)
        found = quantile_bounds(values, 0.95, 0.9)
        both = quantile_bounds(values, 0.95, 0.9, low=True)
        assert found is not None
        assert both is not None
        one += found[1] >= 0.95  # type: ignore[operator]
        two += both[1] - both[0] >= 0.95  # type: ignore[operator]
    error = math.sqrt(0.9 * 0.1 / cases)
    assert one / cases > 0.9 - 3 * error
    assert two / cases > 0.9 - 3 * error


def test_quantiles_need_a_value_at_every_sample() -> None:
    with pytest.raises(ValueError, match="a value at every sample"):
        quantile_bounds(numpy.full(100, numpy.nan), 0.95, 0.95)
    with pytest.raises(ValueError, match="need a bound"):
        quantile_bounds(numpy.zeros(100), 0.95, 0.95, high=False)
