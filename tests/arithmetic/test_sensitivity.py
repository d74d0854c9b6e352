"""Derivatives and contributions, against closed forms, the JCGM's examples and a library."""

import math
from collections.abc import Mapping
from typing import Any

import pytest
import uncertainties
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from uncertainties import umath

from analyses.physics import radio
from closeout import absent
from closeout import math as cm
from closeout.arithmetic.study.sensitivity import gradient, sensitivities
from closeout.arithmetic.symbol.symbolic import symbolic

X = ("x", None)


def single(formula: Any) -> Any:
    return lambda point: {X: formula(**point)}


def exact(formula: Any, inputs: Mapping[str, float]) -> dict[str, float]:
    found = gradient(symbolic(single(formula), inputs), X)
    assert found is not None
    return found


# --- exact derivatives ----------------------------------------------------------------------------


def test_free_space_loss_by_frequency() -> None:
    # d/df 20 log10 f = 20 / (ln 10 f): closed form.
    at = {"frequency": 2245.0, "distance": 2078.0}
    found = exact(radio.free_space_loss, at)
    assert found["frequency"] == pytest.approx(20.0 / (math.log(10.0) * 2245.0), rel=1e-14)
    assert found["distance"] == pytest.approx(20.0 / (math.log(10.0) * 2078.0), rel=1e-14)


@pytest.mark.parametrize(
    ("formula", "at", "slope"),
    [
        (lambda a: cm.power(a, 5), 1.3, 5 * 1.3**4),
        (lambda a: cm.exp(-2.0 * a), 0.7, -2.0 * math.exp(-1.4)),
        (lambda a: cm.atan2(a, 2.0), 0.5, 2.0 / (4.0 + 0.25)),
        (lambda a: cm.hypot(a, 3.0), 4.0, 0.8),
        (lambda a: cm.tanh(a), 0.3, 1.0 - math.tanh(0.3) ** 2),
        (lambda a: cm.asin(a), 0.6, 1.25),
        (lambda a: 2.0**a, 3.0, 8.0 * math.log(2.0)),
        (lambda a: abs(a), -2.0, -1.0),
        (lambda a: cm.maximum(a, 1.0) + cm.minimum(3.0 * a, 1.0), 2.0, 1.0),
        (lambda a: cm.clip(a, 0.0, 1.0), 2.0, 0.0),
        (lambda a: cm.where(a < 1.0, a, 7.0 * a), 2.0, 7.0),
        (lambda a: cm.table(a * a, ((0.0, 0.0), (1.0, 5.0), (9.0, 21.0))), 2.0, 2.0 * 4.0),
    ],
)  # closed forms
def test_closed_forms(formula: Any, at: float, slope: float) -> None:
    assert exact(formula, {"a": at})["a"] == pytest.approx(slope, rel=1e-13)


def test_an_input_that_does_not_act_has_slope_zero() -> None:
    assert exact(lambda a, b: 2.0 * a, {"a": 1.0, "b": 1.0}) == {"a": 2.0, "b": 0.0}


def test_no_form_no_gradient() -> None:
    s = symbolic(single(lambda a: math.sin(a)), {"a": 1.0})
    assert gradient(s, X) is None


POSITIVE = st.floats(0.2, 5.0)
OPERATIONS = ("add", "multiply", "divide", "sin", "exp", "log", "sqrt", "atan")


def grown(tree: Any, p: Mapping[str, Any], functions: Any) -> Any:
    """Return a formula of a tree; every value in it stays finite and real."""
    if isinstance(tree, str):
        return p[tree]
    if isinstance(tree, float):
        return tree
    kind, *branches = tree
    x, *more = (grown(branch, p, functions) for branch in branches)
    if kind == "add":
        return x + more[0]
    if kind == "multiply":
        return x * more[0]
    if kind == "divide":
        return x / (1.0 + more[0] * more[0])
    if kind == "exp":
        return functions.exp(functions.sin(x))
    if kind in ("log", "sqrt"):
        return getattr(functions, kind)(1.0 + x * x)
    return getattr(functions, kind)(x)


TREES = st.recursive(
    st.one_of(st.sampled_from(["a", "b", "c"]), st.sampled_from([0.5, 3.0, -1.25])),
    lambda inner: st.one_of(
        st.tuples(st.sampled_from(["add", "multiply", "divide"]), inner, inner),
        st.tuples(st.sampled_from(["sin", "exp", "log", "sqrt", "atan"]), inner),
    ),
    max_leaves=12,
)


@settings(max_examples=120, deadline=None)
@given(TREES, POSITIVE, POSITIVE, POSITIVE)
def test_exact_derivatives_agree_with_the_uncertainties_package(
    tree: Any, a: float, b: float, c: float
) -> None:
    inputs = {"a": a, "b": b, "c": c}
    found = exact(lambda **p: grown(tree, p, cm), inputs)
    variables = {name: uncertainties.ufloat(value, 1.0) for name, value in inputs.items()}
    result = grown(tree, variables, umath)
    slopes = getattr(result, "derivatives", {})
    for name, variable in variables.items():
        slope = 1.0 if result is variable else slopes.get(variable, 0.0)
        assert found[name] == pytest.approx(slope, rel=1e-9, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(TREES, POSITIVE, POSITIVE, POSITIVE)
def test_exact_derivatives_agree_with_differences(tree: Any, a: float, b: float, c: float) -> None:
    inputs = {"a": a, "b": b, "c": c}
    evaluate = single(lambda **p: grown(tree, p, cm) + 0.0 * p["a"])
    box = tuple((name, 0.99 * value, 1.01 * value) for name, value in inputs.items())
    s = symbolic(evaluate, inputs, box)
    assume(not s.reasons)
    by_name = {one.parameter: one for one in sensitivities(evaluate, inputs, box, X, s)}
    for one in sensitivities(evaluate, inputs, box, X):
        other = by_name[one.parameter]
        assert (one.exact, other.exact) == (False, True)
        size = abs(evaluate(inputs)[X]) + 1.0
        assert one.derivative == pytest.approx(other.derivative, rel=1e-3, abs=1e-3 * size)


# --- differences ----------------------------------------------------------------------------------


@pytest.mark.parametrize("at", [1.0, 2.0, 1.5])
def test_a_difference_stays_inside_the_box(at: float) -> None:
    seen: list[float] = []

    def evaluate(point: Mapping[str, float]) -> dict[Any, float]:
        seen.append(point["a"])
        return {X: point["a"] ** 3}

    (one,) = sensitivities(evaluate, {"a": at}, (("a", 1.0, 2.0),), X)
    assert min(seen) >= 1.0
    assert max(seen) <= 2.0
    assert one.derivative == pytest.approx(3.0 * at**2, rel=2e-6)
    assert not one.exact


def test_a_case_that_is_absent_beside_the_inputs_has_no_slope() -> None:
    def evaluate(point: Mapping[str, float]) -> dict[Any, float]:
        return {X: point["a"] if point["a"] >= 1.0 else absent("below")}

    (one,) = sensitivities(evaluate, {"a": 1.0}, (("a", 0.0, 2.0),), X)
    assert (one.derivative, one.spread, one.share) == (None, None, None)


# --- contributions --------------------------------------------------------------------------------


def test_effects_shares_and_order() -> None:
    # x = 2a + b - 3c with half-widths 1, 4, 0.5: spreads 2, 4, 1.5; squares 4, 16, 2.25.
    evaluate = single(lambda a, b, c: 2.0 * a + b - 3.0 * c)
    box = (("a", -1.0, 1.0), ("b", -2.0, 6.0), ("c", -0.5, 0.5))
    inputs = {"a": 0.0, "b": 0.0, "c": 0.0}
    found = sensitivities(evaluate, inputs, box, X, symbolic(evaluate, inputs, box))
    assert [one.parameter for one in found] == ["b", "a", "c"]
    assert [one.spread for one in found] == [4.0, 2.0, 1.5]
    assert [(one.effect_low, one.effect_high) for one in found] == [
        (-2.0, 6.0), (-2.0, 2.0), (1.5, -1.5),
    ]  # fmt: skip
    assert [one.share for one in found] == pytest.approx(
        [100.0 * 16.0 / 22.25, 100.0 * 4.0 / 22.25, 100.0 * 2.25 / 22.25]
    )


def test_what_does_not_act_has_no_share_and_a_side_without_width_is_left_out() -> None:
    evaluate = single(lambda a, b: 5.0 + 0.0 * a)
    found = sensitivities(evaluate, {"a": 1.0, "b": 2.0}, (("a", 0.0, 2.0), ("b", 2.0, 2.0)), X)
    assert [(one.parameter, one.spread, one.share) for one in found] == [("a", 0.0, 0.0)]


# --- JCGM 100:2008 --------------------------------------------------------------------------------


def test_jcgm_100_h2_resistance_and_reactance() -> None:
    """JCGM 100:2008, H.2, Tables H.3 and H.4: correlated inputs, law of propagation (13)."""
    inputs = {"voltage": 4.9990, "current": 19.661e-3, "phase": 1.04446}
    u = {"voltage": 0.0032, "current": 0.0095e-3, "phase": 0.00075}
    r = {
        ("voltage", "current"): -0.36, ("voltage", "phase"): 0.86, ("current", "phase"): -0.65,
    }  # fmt: skip

    def evaluate(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        impedance = point["voltage"] / point["current"]
        return {
            ("R", None): impedance * cm.cos(point["phase"]),
            ("X", None): impedance * cm.sin(point["phase"]),
            ("Z", None): impedance,
        }

    s = symbolic(evaluate, inputs)
    for quantity, value, uncertainty in (("R", 127.732, 0.071), ("X", 219.847, 0.295),
                                         ("Z", 254.260, 0.236)):  # fmt: skip
        c = gradient(s, (quantity, None))
        assert c is not None
        variance = sum((c[name] * u[name]) ** 2 for name in u)
        variance += 2.0 * sum(c[a] * c[b] * u[a] * u[b] * rho for (a, b), rho in r.items())
        assert evaluate(inputs)[quantity, None] == pytest.approx(value, abs=6e-4)
        # Last digits of the uncertainties from memory; the standard worked from unrounded data.
        assert math.sqrt(variance) == pytest.approx(uncertainty, rel=0.03)


def test_jcgm_100_h1_end_gauge() -> None:
    """JCGM 100:2008, H.1, Table H.1 (numbers from memory): u_c of an end gauge is 32 nm.

    l = l_S + d - l_S (delta_alpha theta + alpha_S delta_theta), lengths in nm.
    """
    inputs = {
        "standard": 50_000_623.0, "difference": 215.0, "expansion": 11.5e-6,
        "expansion_difference": 0.0, "temperature": -0.1, "temperature_difference": 0.0,
    }  # fmt: skip
    u = {
        "standard": 25.0, "difference": 9.7, "expansion": 1.2e-6,
        "expansion_difference": 0.58e-6, "temperature": 0.41, "temperature_difference": 0.029,
    }  # fmt: skip

    def length(
        standard: Any, difference: Any, expansion: Any, expansion_difference: Any,
        temperature: Any, temperature_difference: Any,
    ) -> Any:  # fmt: skip
        warmer = expansion_difference * temperature + expansion * temperature_difference
        return standard + difference - standard * warmer

    c = exact(length, inputs)
    parts = {name: abs(c[name]) * u[name] for name in u}
    assert parts == pytest.approx(
        {"standard": 25.0, "difference": 9.7, "expansion": 0.0, "expansion_difference": 2.9,
         "temperature": 0.0, "temperature_difference": 16.6}, abs=0.08,
    )  # fmt: skip
    assert round(math.sqrt(sum(part * part for part in parts.values()))) == 32


def test_shares_are_those_of_the_root_sum_of_squares() -> None:
    """Two resistors of 10 kohm, 1 %, as a divider: each has half of the variance; a closed form.

    d(b/(a+b)) is -b/(a+b)^2 da + a/(a+b)^2 db, so each spread is 0.0025.
    """
    evaluate = single(lambda a, b: b / (a + b))
    inputs = {"a": 10.0, "b": 10.0}
    box = (("a", 9.9, 10.1), ("b", 9.9, 10.1))
    found = sensitivities(evaluate, inputs, box, X, symbolic(evaluate, inputs, box))
    assert [one.spread for one in found] == pytest.approx([0.0025, 0.0025], rel=1e-12)
    assert [one.share for one in found] == pytest.approx([50.0, 50.0], rel=1e-12)
