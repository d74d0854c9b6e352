"""Drawn parameters: their distributions, repeatability, groups; the sums of JCGM 101:2008, 9.2."""

from __future__ import annotations

import math
from typing import Any

import numpy
import pytest
from scipy import stats

from closeout.arithmetic.chance.sampling import (
    Distribution,
    Normal,
    Stream,
    Triangular,
    Uniform,
    assumed,
    distribution,
    draw,
    seed_of,
)
from tests.arithmetic.on_arrays import evaluate_array

SEED = seed_of("PWR-020")
THREE = {
    "current": distribution(95.0, 85.0, 105.0),
    "gain": distribution(5.0, sigma=0.4),
    "loss": distribution(0.3, 0.0, 1.0, kind="triangular"),
}


def test_seed_is_the_sha_256_of_the_text() -> None:
    """FIPS 180-4, the example of one block: the digest of "abc"."""
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert seed_of("abc") == int(digest, 16)


@pytest.mark.parametrize(
    ("spread", "reference"),
    [
        (THREE["current"], stats.uniform(85.0, 20.0)),
        (THREE["gain"], stats.norm(5.0, 0.4)),
        (THREE["loss"], stats.triang(0.3, 0.0, 1.0)),
        (distribution(2.0, 2.0, 5.0, kind="triangular"), stats.triang(0.0, 2.0, 3.0)),
        (distribution(5.0, 2.0, 5.0, kind="triangular"), stats.triang(1.0, 2.0, 3.0)),
    ],
)
def test_samples_are_distributed_as_said(spread: Distribution, reference: Any) -> None:
    values = draw({"x": spread}, 20_000, SEED)["x"]
    assert stats.kstest(values, reference.cdf).pvalue > 0.01
    levels = numpy.array([1e-9, 0.01, 0.3, 0.5, 0.99, 1.0 - 1e-9])
    numpy.testing.assert_allclose(spread.shape.quantile(levels), reference.ppf(levels), rtol=1e-12)


def test_a_normal_is_not_truncated_and_never_infinite() -> None:
    values = draw({"x": distribution(0.0, sigma=1.0)}, 200_000, SEED)["x"]
    assert values.max() > 3.5
    assert values.min() < -3.5
    ends = numpy.array([0.5 * 2.0**-52, 1.0 - 0.5 * 2.0**-52])  # the outermost variates
    assert numpy.isfinite(Normal(0.0, 1.0).quantile(ends)).all()


def test_the_first_samples_are_the_same_for_every_count() -> None:
    stream = Stream(THREE, SEED)
    parts = [stream.take(n) for n in (1, 9, 0, 90)]
    for name, values in draw(THREE, 100, SEED).items():
        assert numpy.concatenate([part[name] for part in parts]).tolist() == values.tolist()
        assert draw(THREE, 7, SEED)[name].tolist() == values[:7].tolist()


def test_another_parameter_or_order_changes_no_samples() -> None:
    alone = draw({"gain": THREE["gain"]}, 50, SEED)["gain"]
    turned = draw({name: THREE[name] for name in reversed(THREE)}, 50, SEED)["gain"]
    assert alone.tolist() == turned.tolist() == draw(THREE, 50, SEED)["gain"].tolist()


def test_seeds_parameters_and_parts_are_independent() -> None:
    spread = distribution(0.0, -1.0, 1.0)
    many = [
        *draw({"a": spread, "b": spread}, 20_000, SEED).values(),
        draw({"a": spread}, 20_000, seed_of("PWR-021"))["a"],
        Stream({"a": spread}, SEED, "other").take(20_000)["a"],
        draw({"x": Distribution(Uniform(-1.0, 1.0), "a")}, 20_000, SEED)["x"],  # the group a
    ]
    off = numpy.corrcoef(many) - numpy.eye(len(many))
    assert abs(off).max() < 4.5 / math.sqrt(20_000)


def test_variates_are_those_of_numpy_s_generator() -> None:
    """The raw output of PCG64 in [0, 1), which NumPy takes with 53 bits, to 52 bits."""
    key = seed_of("0:" + "9:parameter" + "1:x")
    theirs = numpy.random.Generator(
        numpy.random.PCG64(numpy.random.SeedSequence(SEED, spawn_key=(key,)))
    ).random(1000)
    ours = draw({"x": Distribution(Uniform(0.0, 1.0))}, 1000, SEED)["x"]
    assert abs(ours - theirs).max() <= 2.0**-52


def test_parameters_of_a_group_move_together() -> None:
    spreads = {
        "a": distribution(1.0, 0.0, 2.0, group="cells"),
        "b": distribution(5.0, sigma=2.0, group="cells"),
        "c": distribution(1.0, 0.0, 4.0, kind="triangular", group="cells"),
        "d": distribution(1.0, 0.0, 2.0),
    }
    drawn = draw(spreads, 2000, SEED)
    order = numpy.argsort(drawn["a"])
    assert (numpy.diff(drawn["b"][order]) > 0).all()
    assert (numpy.diff(drawn["c"][order]) > 0).all()
    assert abs(numpy.corrcoef(drawn["a"], drawn["d"])[0, 1]) < 0.1


def test_only_ends_are_taken_as_uniform_and_reported() -> None:
    spreads = {
        **THREE,
        "said": distribution(0.0, -1.0, 1.0, kind="uniform"),
        "bell": distribution(0.0, -1.0, 1.0, kind="normal"),
    }
    assert assumed(spreads) == ("current",)
    assert spreads["current"].shape == Uniform(85.0, 105.0)


def test_ends_and_sigma_in_other_shapes() -> None:
    """Standard deviations: width/sqrt(12) of a uniform, half-width/sqrt(6) of a triangular one."""
    assert distribution(0.0, -3.0, 1.5, kind="normal").shape == Normal(0.0, 1.0)
    uniform = distribution(1.0, sigma=2.0, kind="uniform")
    assert isinstance(uniform.shape, Uniform)
    assert (uniform.shape.high - uniform.shape.low) / math.sqrt(12.0) == pytest.approx(2.0)
    assert not uniform.assumed
    triangular = distribution(1.0, sigma=2.0, kind="triangular")
    assert isinstance(triangular.shape, Triangular)
    assert (triangular.shape.high - 1.0) / math.sqrt(6.0) == pytest.approx(2.0)


def test_a_width_of_zero_is_the_value() -> None:
    for spread in (
        distribution(2.0, 2.0, 2.0),
        distribution(2.0, sigma=0.0),
        distribution(2.0, 2.0, 2.0, kind="triangular"),
    ):
        assert draw({"x": spread}, 5, SEED)["x"].tolist() == [2.0] * 5


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"low": 0.0},
        {"low": 2.0, "high": 3.0},
        {"low": 3.0, "high": 0.0},
        {"low": -math.inf, "high": 3.0},
        {"low": math.nan, "high": 3.0},
        {"sigma": -1.0},
        {"sigma": math.nan},
    ],
)
def test_what_is_no_distribution_is_refused(given: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="distribution"):
        distribution(1.0, **given)  # type: ignore[arg-type]


def sum_of(spreads: dict[str, Distribution]) -> Any:
    y = ("y", None)
    samples = draw(spreads, 10**6, seed_of("JCGM 101"))
    found = evaluate_array(lambda point: {y: sum(point.values())}, samples, [y])
    assert found.fallback is None
    return found.values[y]


def four(wide: float, kind: str) -> dict[str, Distribution]:
    made = {f"x{i}": distribution(0.0, sigma=1.0, kind=kind) for i in (1, 2, 3)}  # type: ignore[arg-type]
    return {**made, "x4": distribution(0.0, sigma=wide, kind=kind)}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("wide", "kind", "uncertainty", "end"),
    [
        (1.0, "normal", 2.0, 3.92),  # JCGM 101:2008, 9.2.2
        (1.0, "uniform", 2.0, 3.88),  # 9.2.3
        (10.0, "uniform", 10.1, 17.0),  # 9.2.4, from memory; a Gaussian would give 19.9
    ],
)
def test_sums_of_jcgm_101(wide: float, kind: str, uncertainty: float, end: float) -> None:
    """The 95 % coverage interval about the middle and the standard uncertainty, as published."""
    values = sum_of(four(wide, kind))
    assert values.mean() == pytest.approx(0.0, abs=4.5 * uncertainty / 1000.0)
    assert values.std() == pytest.approx(uncertainty, rel=0.006)
    low, high = numpy.quantile(values, [0.025, 0.975])
    assert low == pytest.approx(-end, rel=0.005)
    assert high == pytest.approx(end, rel=0.005)
