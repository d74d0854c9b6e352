"""Analyses on arrays: they say what the numbers say, fall back where they cannot, hide no error."""

from __future__ import annotations

import importlib
import math as plain
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, get_type_hints

import numpy
import pytest
import yaml

from closeout import absent, math
from closeout.arithmetic.array import array
from closeout.arithmetic.array.array import ArrayEvaluator, SamplesFail
from closeout.arithmetic.chance.decision import FEWEST
from closeout.arithmetic.proof.search import OtherCases
from tests.analyses.declared import found_for
from tests.arithmetic.on_arrays import Sampled, evaluate_array

ROOT = Path(__file__).parents[2]
Y = ("y", None)
FEW_ULP = 4 * 2.0**-52


def on_arrays(function: Callable[..., Any], **inputs: Any) -> Sampled:
    """Evaluate a function of one result y."""
    return evaluate_array(lambda point: {Y: function(**point)}, inputs, [Y])


def one_by_one(function: Callable[..., Any], **inputs: Any) -> list[float]:
    """Evaluate the same on plain numbers, sample by sample."""
    size = max(v.size for v in inputs.values() if isinstance(v, numpy.ndarray))
    return [
        function(
            **{k: float(v[i]) if isinstance(v, numpy.ndarray) else v for k, v in inputs.items()}
        )
        for i in range(size)
    ]


SPAN = numpy.linspace(-0.99, 0.99, 1001)
WIDE = numpy.linspace(-30.0, 30.0, 1001)
POSITIVE = numpy.geomspace(1e-12, 1e12, 1001)
POINTS = ((-1.0, 3.0), (0.0, 5.0), (0.5, -2.0), (1.0, 7.0))


@pytest.mark.parametrize(
    ("function", "samples"),
    [
        (math.exp, WIDE), (math.sinh, WIDE), (math.cosh, WIDE), (math.tanh, WIDE),
        (math.sin, WIDE), (math.cos, WIDE), (math.tan, SPAN), (math.atan, WIDE),
        (math.asin, SPAN), (math.acos, SPAN), (math.log, POSITIVE), (math.log10, POSITIVE),
        (math.sqrt, POSITIVE), (math.log2, POSITIVE), (math.cbrt, WIDE), (math.asinh, WIDE),
        (math.acosh, 1.0 + POSITIVE), (math.atanh, SPAN), (math.erf, WIDE),
        (math.floor, WIDE), (math.ceil, WIDE), (math.sign, WIDE),
        (lambda x: math.maximum(x, 1.5, -2.0 * x), WIDE),
        (lambda x: math.minimum(0.5, x, 2.0), WIDE),
        (lambda x: math.atan2(x, 0.3), WIDE), (lambda x: math.atan2(-2.0, x), WIDE),
        (lambda x: math.hypot(x, 4.0), WIDE), (lambda x: math.hypot(3.0, x), WIDE),
        (lambda x: math.minimum(x, 1.5), WIDE), (lambda x: math.minimum(1.5, x), WIDE),
        (lambda x: math.maximum(x, 1.5), WIDE), (lambda x: math.maximum(1.5, x), WIDE),
        (lambda x: math.clip(x, -2.0, 3.0), WIDE),
        (lambda x: math.power(x, 3), WIDE), (lambda x: math.power(x, 0), WIDE),
        (lambda x: math.power(x, -2), POSITIVE),
        (lambda x: math.where(x < 0.5, x * 2.0, 7.0), WIDE),
        (lambda x: math.table(x, POINTS), numpy.linspace(-1.0, 1.0, 2001)),
    ],
)  # fmt: skip
def test_each_function_says_on_an_array_what_it_says_on_numbers(
    function: Callable[[Any], Any], samples: Any
) -> None:
    found = on_arrays(lambda x: function(x), x=samples)
    assert found.fallback is None
    numbers = one_by_one(lambda x: function(x), x=samples)
    # Near its zero the straight line of a table is a difference of larger terms.
    numpy.testing.assert_allclose(found.values[Y], numbers, rtol=FEW_ULP, atol=4e-15)


def test_the_normal_distribution_function_on_an_array_keeps_its_lower_tail() -> None:
    samples = numpy.linspace(-37.0, 9.0, 2001)
    found = on_arrays(lambda x: math.normal_cdf(x), x=samples)
    assert found.fallback is None
    numbers = one_by_one(lambda x: math.normal_cdf(x), x=samples)
    numpy.testing.assert_allclose(found.values[Y], numbers, rtol=1e-12)


def test_every_function_of_the_module_is_known_in_every_arithmetic() -> None:
    from closeout.arithmetic.array import functions as array_functions
    from closeout.arithmetic.gradient import functions as gradient_functions
    from closeout.arithmetic.interval import functions as interval_functions
    from closeout.arithmetic.recorded.recorded import FUNCTIONS
    from closeout.arithmetic.symbol import symbol

    made = {name for name in math.__all__ if name not in ("extend", "pi", "clip")}  # clip is of two
    assert set(FUNCTIONS) == made
    for functions in (array_functions, interval_functions, gradient_functions, symbol):
        assert made <= set(vars(functions)), functions.__name__


def test_table_ends_and_corners_are_inside() -> None:
    found = on_arrays(lambda x: math.table(x, POINTS), x=numpy.array([-1.0, 0.0, 0.5, 1.0]))
    assert found.values[Y].tolist() == [3.0, 5.0, -2.0, 7.0]


def test_one_call_answers_for_all_samples_and_numbers_are_asked_at_a_first_look() -> None:
    calls: list[Any] = []

    def function(x: Any) -> Any:
        calls.append(x)
        return math.exp(x)

    on_arrays(function, x=numpy.linspace(0.0, 1.0, array.CHUNK))
    assert [type(x) for x in calls].count(float) == len(calls) - 1 == FEWEST


def test_chunks_make_no_difference() -> None:
    samples = numpy.random.default_rng(1).uniform(0.1, 2.0, 2 * array.CHUNK + 1)
    found = on_arrays(lambda x: math.log(x) * x, x=samples)
    assert found.fallback is None
    numpy.testing.assert_allclose(found.values[Y], numpy.log(samples) * samples, rtol=FEW_ULP)


def test_a_result_that_no_sample_changes_is_given_for_each() -> None:
    found = on_arrays(lambda x, k: 2.0 * k, x=numpy.zeros(5), k=3.0)
    assert found.fallback is None
    assert found.values[Y].tolist() == [6.0] * 5


def test_inputs_without_an_array_are_one_sample() -> None:
    assert on_arrays(lambda k: 2.0 * k, k=3.0).values[Y].tolist() == [6.0]


@pytest.mark.parametrize("size", [0, 1, 2])
def test_few_samples(size: int) -> None:
    found = on_arrays(lambda x: x if x > -1.0 else -x, x=numpy.arange(float(size)))
    assert found.values[Y].tolist() == list(range(size))


def test_arrays_of_several_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="not of one length"):
        on_arrays(lambda x, z: x, x=numpy.zeros(3), z=numpy.zeros(4))


# errors that a number would raise


@pytest.mark.parametrize(
    ("function", "bad", "message"),
    [
        (lambda x: math.log(x), -1.0, "math domain error"),
        (lambda x: math.log10(x), 0.0, "math domain error"),
        (lambda x: math.sqrt(x), -1e-300, "math domain error"),
        (lambda x: math.asin(x), 1.5, "math domain error"),
        (lambda x: math.acos(x), -1.5, "math domain error"),
        (lambda x: math.acosh(x + 1.0), -0.5, "math domain error"),
        (lambda x: math.atanh(x), 1.0, "math domain error"),
        (lambda x: math.log2(x), 0.0, "math domain error"),
        (lambda x: 1.0 / x, 0.0, "division by zero"),
        (lambda x: 1.0 / (1.0 / x), 0.0, "division by zero"),  # the second would hide the first
        (lambda x: math.exp(x), 1000.0, "math range error"),
        (lambda x: math.sinh(x), 1000.0, "math range error"),
        (lambda x: 1.0 / math.cosh(x), 1000.0, "math range error"),
        (lambda x: math.power(x, -1), 0.0, "0.0 cannot be raised"),
        (lambda x: math.power(x, 200), 1e9, "OverflowError"),
        (lambda x: math.table(x, [(0.0, 1.0), (1.0, 2.0)]), 1.5, "is outside the table"),
        (lambda x: math.where(x < 1.0, math.log(math.minimum(x, 0.5) - 0.1), 0.0), 0.05, "domain"),
        (lambda x: (x - 0.5) * 1e300 * 1e300, 2.0, "y is inf"),
    ],
)  # fmt: skip
def test_an_error_of_a_number_is_reported_with_its_count(
    function: Callable[[Any], Any], bad: float, message: str
) -> None:
    samples = numpy.full(5000, 0.5)
    samples[[17, 100, 4999]] = bad
    evaluator = ArrayEvaluator(lambda point: {Y: function(point["x"])}, [Y])
    with pytest.raises(SamplesFail) as caught:
        evaluator.at({"x": samples})
    assert evaluator.fallback is None
    assert evaluator.evaluations < 200  # found by halving, not one by one
    assert "3 of 5000 samples" in str(caught.value)
    assert f"x = {bad!r}" in str(caught.value)
    assert message in str(caught.value)
    assert caught.value.__cause__ is not None  # the author's own error, with its traceback


def test_many_failing_samples_are_counted_only_so_far() -> None:
    samples = numpy.tile([1.0, -1.0], 5000)
    with pytest.raises(SamplesFail, match=r"^at least \d+ of 10000 samples"):
        on_arrays(lambda x: math.log(x), x=samples)


def test_an_author_s_own_error_is_reported_with_its_count() -> None:
    def function(x: Any) -> Any:
        if x > 0.75:
            raise ValueError("too hot")
        return x

    with pytest.raises(SamplesFail, match=r"25 of 100 samples .* too hot, at x = 0.755"):
        on_arrays(function, x=(numpy.arange(100) + 0.5) / 100)


def test_an_overflow_that_numbers_pass_falls_back() -> None:
    """1/(x 1e300 1e300) is zero on numbers, since only functions and ** overflow there."""
    found = on_arrays(lambda x: 1.0 / (x * 1e300 * 1e300), x=numpy.linspace(1.0, 2.0, 20))
    assert found.values[Y].tolist() == [0.0] * 20
    assert "arrays raise an error where numbers do not" in str(found.fallback)


# where arrays cannot be used


def branch(x: Any) -> Any:
    return x if x > 0.0 else -x


def library(x: Any) -> Any:
    return plain.erf(x)


def march(x: Any) -> Any:
    done = 0.0
    while done < x:
        done += 0.125
    return done


def wraps(x: Any) -> Any:
    return numpy.asarray(x)[..., numpy.newaxis] if isinstance(x, numpy.ndarray) else x


@pytest.mark.parametrize(
    ("function", "reason"),
    [
        (branch, "one answer is asked of them"),
        (march, "one answer is asked of them"),
        (library, "one number is asked of them"),
        (wraps, "`isinstance` at"),
        (lambda x: x > 0.0, "of bool"),
        (lambda x: numpy.sort(x) if x is None else x, "`numpy.sort` at"),
        (lambda x: numpy.mean(x), "`numpy.mean` at"),
        (lambda x: numpy.add(x, 0.0).mean(), ".mean is asked of them"),
    ],
)
def test_it_falls_back_to_numbers_and_says_why(function: Callable[[Any], Any], reason: str) -> None:
    samples = numpy.random.default_rng(2).normal(size=40)
    found = on_arrays(lambda x: function(x), x=samples)
    assert reason in str(found.fallback)
    assert found.values[Y].tolist() == [float(v) for v in one_by_one(function, x=samples)]


def test_an_argument_is_not_changed_in_place() -> None:
    def function(x: Any) -> Any:
        x += 1.0
        return x

    samples = numpy.zeros(10)
    found = on_arrays(function, x=samples)
    assert found.values[Y].tolist() == [1.0] * 10
    assert samples.tolist() == [0.0] * 10
    assert found.fallback is None


def test_a_value_changed_behind_another_name_stays_as_a_number_does() -> None:
    def function(x: Any) -> Any:
        earlier = x * 2.0
        other = earlier
        other += 1.0
        return earlier

    found = on_arrays(function, x=numpy.linspace(0.0, 1.0, 10))
    assert found.fallback is None
    assert found.values[Y][9] == 2.0


def test_numbers_are_bounded_and_the_first_samples_come_back() -> None:
    evaluator = ArrayEvaluator(lambda point: {Y: branch(**point)}, [Y], most_numbers=30)
    assert evaluator.at({"x": numpy.arange(20.0)})[Y].tolist() == list(range(20))
    assert evaluator.at({"x": numpy.arange(20.0)})[Y].tolist() == list(range(10))
    assert evaluator.at({"x": numpy.arange(20.0)})[Y].tolist() == []
    assert evaluator.fallback is not None


def test_an_absent_case_is_counted_and_is_no_number() -> None:
    def cases(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        x = point["x"]
        return {("rise", "a"): x, ("rise", "b"): absent("never rises") if x > 2.5 else x}

    keys = [("rise", "a"), ("rise", "b")]
    found = evaluate_array(cases, {"x": numpy.arange(5.0)}, keys)
    assert found.absent == {("rise", "b"): 2}
    assert found.fallback is not None
    numpy.testing.assert_array_equal(found.values["rise", "b"], [0, 1, 2, numpy.nan, numpy.nan])
    assert found.values["rise", "a"].tolist() == [0, 1, 2, 3, 4]


def test_a_case_that_is_absent_everywhere_falls_back_too() -> None:
    key = ("rise", "b")
    found = evaluate_array(lambda point: {key: absent("no")}, {"x": numpy.zeros(4)}, [key])
    assert found.absent == {key: 4}
    assert found.fallback == "rise[b] is absent"


def test_other_cases_at_a_sample_are_an_error() -> None:
    def cases(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        return {("y", "hot" if point["x"] > 2.0 else "cold"): 1.0, ("z", None): 0.0}

    with pytest.raises(OtherCases, match=r"y\[cold\], y\[hot\]"):
        evaluate_array(cases, {"x": numpy.arange(5.0)}, [("y", "cold")])


# the mission and a published example

CLOSED_FORMS = [
    "link_margin.link_margin", "link_margin.mode_margin", "ground_flux.ground_flux",
    "carrier_doppler.carrier_doppler", "pad_hold_energy.pad_hold_energy",
]  # fmt: skip


def mission(name: str) -> tuple[Callable[[Mapping[str, Any]], Any], dict[str, float]]:
    """Return an analysis of the mission as a function of a point, and its declared values."""
    module, function = name.split(".")
    made = getattr(importlib.import_module(f"analyses.{module}"), function)
    declared: dict[str, Any] = {}
    for path in (ROOT / "analyses").glob("*.yaml"):
        declared |= yaml.safe_load(path.read_text("utf-8")).get("parameters", {})
    hints = get_type_hints(made.function, include_extras=True)
    values = {}
    for argument in hints.keys() - {"return"}:
        if "value" not in declared[argument]:  # another analysis or a limit says it
            values[argument] = found_for(argument)[0]
            continue
        number, _, unit = str(declared[argument]["value"]).partition(" ")
        values[argument] = float(number) / (100.0 if unit.startswith("%") else 1.0)

    places = [
        ((quantity, case), i, case)
        for i, (quantity, value) in enumerate(made(**values)._asdict().items())
        for case in (value if isinstance(value, Mapping) else [None])
    ]

    def evaluate(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        found = made(**point)
        return {key: found[i] if case is None else found[i][case] for key, i, case in places}

    return evaluate, values


@pytest.mark.parametrize("name", CLOSED_FORMS)
def test_every_closed_form_of_the_mission_is_evaluated_on_arrays(name: str) -> None:
    evaluate, values = mission(name)
    generator = numpy.random.default_rng(3)
    inputs = {k: v * generator.uniform(0.97, 1.03, 200) for k, v in values.items()}
    keys = list(evaluate(values))
    found = evaluate_array(evaluate, inputs, keys)
    assert found.fallback is None
    for i in range(200):
        numbers = evaluate({k: float(v[i]) for k, v in inputs.items()})
        for key in keys:
            assert found.values[key][i] == pytest.approx(numbers[key], rel=1e-11, abs=1e-12)


def test_the_march_of_the_mission_falls_back() -> None:
    evaluate, values = mission("pressure_threshold_timing.pressure_threshold_timing")
    inputs = {**values, "vacuum_thrust": values["vacuum_thrust"] * numpy.array([0.98, 1.0, 1.02])}
    found = evaluate_array(evaluate, inputs, list(evaluate(values)))
    assert "they cannot be looked up" in str(found.fallback)
    assert found.values["latest_wake_time", None][1] == evaluate(values)["latest_wake_time", None]


def test_impedance_of_jcgm_100_h_2_by_samples() -> None:
    """JCGM 100:2008, H.2, tables H.2 to H.4: R, X, Z and their standard uncertainties in ohm.

    V 4.9990 V (3.2 mV), I 19.661 mA (9.5 uA), phi 1.04446 rad (7.5e-4), correlations V-I -0.36,
    V-phi 0.86, I-phi -0.65; the correlated samples are made here, not by the project.
    """
    u = numpy.array([0.0032, 9.5e-6, 7.5e-4])
    correlation = numpy.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    mean = [4.9990, 19.661e-3, 1.04446]
    generator = numpy.random.default_rng(4)
    samples = generator.multivariate_normal(mean, correlation * numpy.outer(u, u), 400_000)

    def impedance(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        z = point["V"] / point["I"]
        r, x = z * math.cos(point["phi"]), z * math.sin(point["phi"])
        return {("R", None): r, ("X", None): x, ("Z", None): math.hypot(r, x)}

    keys: list[tuple[str, str | None]] = [("R", None), ("X", None), ("Z", None)]
    found = evaluate_array(impedance, dict(zip(("V", "I", "phi"), samples.T, strict=True)), keys)
    assert found.fallback is None
    published = {"R": (127.732, 0.071), "X": (219.847, 0.295), "Z": (254.260, 0.236)}
    for name, (value, uncertainty) in published.items():
        # The published inputs are rounded, so the last printed digit may differ by one or two.
        assert found.values[name, None].mean() == pytest.approx(value, abs=0.002)
        assert found.values[name, None].std() == pytest.approx(uncertainty, abs=0.0025)
