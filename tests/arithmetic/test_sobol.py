"""Sobol indices against published closed forms: the Ishigami function and Sobol's g-function."""

from __future__ import annotations

import math as plain
from collections.abc import Callable, Mapping
from typing import Any

import numpy
import pytest

from closeout import math
from closeout.arithmetic.chance.sampling import Distribution, Uniform, distribution, seed_of
from closeout.arithmetic.chance.sobol import Indices, sobol_indices

Y = ("y", None)
N = 2**15


def find(
    function: Callable[..., Any], spreads: Mapping[str, Distribution], n: int, text: str
) -> Indices:
    return sobol_indices(lambda point: {Y: function(**point)}, spreads, n, seed_of(text))[Y]


def ishigami(x1: Any, x2: Any, x3: Any) -> Any:
    return math.sin(x1) + 7.0 * math.power(math.sin(x2), 2) + 0.1 * x3**4 * math.sin(x1)


def ishigami_exact() -> tuple[float, list[float], list[float]]:
    """Return variance, first-order and total indices; T. Ishigami and T. Homma (1990).

    a = 7, b = 0.1: V1 = (1 + b pi^4/5)^2/2, V2 = a^2/8, V13 = b^2 pi^8 (1/18 - 1/50). The usual
    figures are 0.314, 0.442, 0 and 0.558, 0.442, 0.244.
    """
    v1 = (1 + 0.1 * plain.pi**4 / 5) ** 2 / 2
    v2, v13 = 49 / 8, 0.01 * plain.pi**8 * (1 / 18 - 1 / 50)
    v = v1 + v2 + v13
    return v, [v1 / v, v2 / v, 0.0], [(v1 + v13) / v, v2 / v, v13 / v]


A = (0.0, 1.0, 4.5, 9.0)


def g(**x: Any) -> Any:
    whole = 1.0
    for one, a in zip(x.values(), A, strict=True):
        whole = whole * (abs(4.0 * one - 2.0) + a) / (1.0 + a)
    return whole


def g_exact() -> tuple[float, list[float], list[float]]:
    """Return the same of the g-function; I. M. Sobol (1993), V_i = 1/(3 (1 + a_i)^2)."""
    parts = [1 / (3 * (1 + a) ** 2) for a in A]
    v = plain.prod(1 + p for p in parts) - 1
    total = [
        p * plain.prod(1 + q for j, q in enumerate(parts) if j != i) for i, p in enumerate(parts)
    ]
    return v, [p / v for p in parts], [t / v for t in total]


UNIT = {f"x{i}": Distribution(Uniform(0.0, 1.0)) for i in range(4)}
CIRCLE = {f"x{i}": Distribution(Uniform(-plain.pi, plain.pi)) for i in (1, 2, 3)}
KNOWN = [(ishigami, CIRCLE, ishigami_exact()), (g, UNIT, g_exact())]


def test_closed_forms_are_the_published_figures() -> None:
    _, first, total = ishigami_exact()
    assert [round(x, 3) for x in (*first, *total)] == [0.314, 0.442, 0.0, 0.558, 0.442, 0.244]


@pytest.mark.parametrize(("function", "spreads", "exact"), KNOWN)
def test_indices_are_within_their_errors_of_the_closed_form(
    function: Callable[..., Any], spreads: dict[str, Distribution], exact: Any
) -> None:
    variance, first, total = exact
    found = find(function, spreads, N, "COM-040")
    assert found.samples == N
    assert found.evaluations == N * (len(spreads) + 2)
    assert found.variance == pytest.approx(variance, rel=0.03)
    assert [index.names for index in found.factors] == [(name,) for name in spreads]
    for index, s, t in zip(found.factors, first, total, strict=True):
        assert 0.0 < index.first_error < 0.015
        assert 0.0 < index.total_error < 0.015
        assert abs(index.first - s) < 3.5 * index.first_error
        assert abs(index.total - t) < 3.5 * index.total_error


@pytest.mark.parametrize(("function", "spreads", "exact"), KNOWN)
def test_standard_errors_are_the_spread_over_seeds(
    function: Callable[..., Any], spreads: dict[str, Distribution], exact: Any
) -> None:
    """Over 60 seeds the errors, in standard errors, have a mean of 0 and a spread of 1."""
    _, first, total = exact
    runs = [find(function, spreads, 2048, f"seed {i}").factors for i in range(60)]
    for i in range(len(spreads)):
        for off in (
            [(run[i].first - first[i]) / run[i].first_error for run in runs],
            [(run[i].total - total[i]) / run[i].total_error for run in runs],
        ):
            assert abs(numpy.mean(off)) < 4.0 / plain.sqrt(60)
            assert 0.7 < numpy.std(off) < 1.35


def test_a_sum_shares_its_variance_among_its_terms() -> None:
    """Independent terms of variance 1, 4 and 4/3: shares of 19/3, first order and total alike."""
    spreads = {
        "a": distribution(10.0, sigma=1.0),
        "b": distribution(0.0, sigma=2.0),
        "c": distribution(100.0, 98.0, 102.0),
    }
    found = find(lambda a, b, c: a + b - c, spreads, N, "sum")
    for index, part in zip(found.factors, (1.0, 4.0, 4.0 / 3.0), strict=True):
        assert abs(index.first - part / (19 / 3)) < 4 * index.first_error
        assert abs(index.total - part / (19 / 3)) < 4 * index.total_error


def test_a_group_is_one_factor() -> None:
    """a + b of one group has the variance 4, c has 4; a and b alone would have 1 each."""
    spreads = {
        "a": distribution(0.0, sigma=1.0, group="cells"),
        "c": distribution(0.0, sigma=2.0),
        "b": distribution(0.0, sigma=1.0, group="cells"),
    }
    found = find(lambda a, b, c: a + b + c, spreads, N, "group")
    assert [index.names for index in found.factors] == [("a", "b"), ("c",)]
    assert found.factors[0].first == pytest.approx(0.5, abs=4 * found.factors[0].first_error)


def test_it_repeats_and_a_shift_changes_nothing() -> None:
    once = find(ishigami, CIRCLE, 512, "X")
    assert find(ishigami, CIRCLE, 512, "X") == once
    assert find(ishigami, CIRCLE, 512, "Y") != once
    shifted = find(lambda **x: ishigami(**x) + 1e6, CIRCLE, 512, "X")
    assert shifted.factors[0].first == pytest.approx(once.factors[0].first, rel=1e-6)


def test_without_variance_nothing_has_a_share() -> None:
    found = find(lambda **x: 0.0 * x["x1"] + 0.1, CIRCLE, 100, "flat")
    assert found == Indices(0.0, 100, 500, ())


def test_missing_values_are_refused() -> None:
    with pytest.raises(ValueError, match="no value at each"):
        find(lambda **x: x["x1"][:5], CIRCLE, 100, "short")
    with pytest.raises(ValueError, match="no value at each"):
        find(lambda **x: x["x1"] * numpy.nan, CIRCLE, 100, "nan")
    with pytest.raises(ValueError, match="not 2 or more"):
        find(ishigami, CIRCLE, 1, "one")
