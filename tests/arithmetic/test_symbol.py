"""Formulas on symbols, and their derivation on paper."""

import math
import re
from collections.abc import Mapping
from statistics import NormalDist
from typing import Any, NamedTuple
from xml.etree import ElementTree

import mpmath
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.carrier_doppler import carrier_doppler
from analyses.ground_flux import ground_flux
from analyses.pad_hold_energy import pad_hold_energy
from closeout import absent
from closeout import math as cm
from closeout.arithmetic.recorded.recorded import MOST_OPERATIONS, NoFormula
from closeout.arithmetic.recorded.watched import record
from closeout.arithmetic.study.derivation import derivation
from closeout.arithmetic.symbol import symbol
from closeout.arithmetic.symbol.expressions import forms
from closeout.arithmetic.symbol.symbolic import symbolic
from closeout.model.study import Line
from tests.arithmetic.on_sympy import compiled

X = ("x", None)
POINTS = ((0.0, 1.0), (1.0, 3.0), (4.0, 0.0))


def values_of(result: Any) -> dict[tuple[str, str | None], Any]:
    found: dict[tuple[str, str | None], Any] = {}
    for name, value in zip(result._fields, result, strict=True):
        if isinstance(value, Mapping):
            found |= {(name, case): one for case, one in value.items()}
        else:
            found[name, None] = value
    return found


def evaluator(function: Any) -> Any:
    return lambda point: values_of(function(**point))


def single(formula: Any) -> Any:
    """Return an analysis of one quantity, x."""
    return lambda point: {X: formula(**point)}


PAD_HOLD = {
    "cell_capacity": 3.35, "cells_in_series": 4.0, "cells_in_parallel": 2.0, "capacity_fade": 0.03,
    "cell_spread": 0.01, "charge_level": 0.97, "cell_imbalance": 0.005, "self_discharge": 0.02,
    "self_discharge_q10": 2.0, "hold_temperature": 27.0, "hold_duration": 28.0,
    "sleep_current": 95.0, "sleep_rail_voltage": 3.3, "sleep_efficiency": 0.8,
    "regulator_quiescent": 12.0, "protection_leakage": 6.0, "divider_resistance": 1200.0,
    "soft_start_leakage": 3.0, "cell_temperature": 12.0, "cold_capacity_loss": 0.004,
    "cell_resistance": 32.0, "resistance_growth": 1.1, "resistance_activation": 20.0,
    "harness_resistance": 25.0, "discharge_power": 52.0, "cutoff_voltage": 12.0,
}  # fmt: skip
DOPPLER = {
    "carrier_frequency": 2245.0, "oscillator_error": 5.0, "stage_geometric_altitude": 500.0
}  # fmt: skip
FLUX = {
    "carrier_frequency": 2245.0, "transmit_power": 0.4, "transmit_feeder_loss": 0.8,
    "antenna_peak_gain": 5.0, "installed_gain_rise": 0.5, "symbol_rate": 5.0, "roll_off": 0.2,
    "spectral_peaking": 0.3, "stage_geometric_altitude": 500.0,
}  # fmt: skip


# --- functions on SymPy expressions ---------------------------------------------------------------


def test_functions_on_sympy_symbols_are_those_of_sympy() -> None:
    x, y = sympy.symbols("x y", real=True)
    assert cm.exp(x) == sympy.exp(x)
    assert cm.sqrt(x) == sympy.sqrt(x)
    assert cm.hypot(x, y) == sympy.sqrt(x**2 + y**2)
    assert cm.atan2(y, x) == sympy.atan2(y, x)
    assert cm.power(x, 3) == x**3
    assert cm.log10(x).rewrite(sympy.log).expand(func=True) == sympy.log(x) / sympy.log(10)
    assert cm.maximum(x, y).rewrite(sympy.Max) == sympy.Max(x, y)
    assert cm.minimum(x, y).rewrite(sympy.Min) == sympy.Min(x, y)


@pytest.mark.parametrize(
    "name",
    [
        "sin", "cos", "tan", "asin", "acos", "atan", "sinh", "cosh", "tanh", "exp", "log", "log10",
        "sqrt", "asinh", "atanh", "log2", "cbrt", "erf", "normal_cdf", "floor", "ceil", "sign",
    ],
)  # fmt: skip
def test_a_function_on_a_symbol_has_the_value_of_the_function_on_the_number(name: str) -> None:
    function = getattr(cm, name)
    x = symbol.real_symbol("x")
    (value,) = compiled([x], [function(x)])(0.4)
    assert value == pytest.approx(function(0.4), rel=1e-15)


@pytest.mark.parametrize(
    ("name", "at", "slope"),
    [
        ("asinh", 0.75, lambda x: 1 / mpmath.sqrt(1 + x * x)),
        ("acosh", 1.25, lambda x: 1 / mpmath.sqrt(x * x - 1)),
        ("atanh", 0.5, lambda x: 1 / (1 - x * x)),
        ("log2", 3.0, lambda x: 1 / (x * mpmath.log(2))),
        ("cbrt", 8.0, lambda _: mpmath.mpf(1) / 12),
        ("cbrt", -8.0, lambda _: mpmath.mpf(1) / 12),
        ("erf", 0.5, lambda x: 2 / mpmath.sqrt(mpmath.pi) * mpmath.exp(-x * x)),
        ("normal_cdf", -3.0, lambda x: mpmath.npdf(x)),
        ("floor", 2.5, lambda _: 0),
        ("ceil", 2.5, lambda _: 0),
        ("sign", 2.5, lambda _: 0),
    ],
)
def test_the_derivative_of_a_function_is_exact(name: str, at: float, slope: Any) -> None:
    x = symbol.real_symbol("x")
    form = getattr(cm, name)(x)
    value, found = compiled([x], [form, form.diff(x)])(at)
    assert value == pytest.approx(getattr(cm, name)(at), rel=1e-15)
    assert found == pytest.approx(float(slope(mpmath.mpf(at))), rel=1e-14)


def test_the_largest_of_several_is_that_of_two_by_two() -> None:
    x, y, z = (symbol.real_symbol(name) for name in "xyz")
    assert cm.maximum(x, y, z) == cm.maximum(cm.maximum(x, y), z)
    (least, most) = compiled([x, y, z], [cm.minimum(x, y, z), cm.maximum(x, y, z)])(3, 1, 2)
    assert (least, most) == (1, 3)


def test_where_becomes_a_piecewise() -> None:
    x = sympy.Symbol("x", real=True)
    found = cm.where(x < 3.0, x, 2.0 * x)
    assert isinstance(found, sympy.Piecewise)
    assert (float(found.subs(x, 2)), float(found.subs(x, 5))) == (2.0, 10.0)


@given(st.floats(0.0, 4.0))
def test_a_table_rewrites_itself_as_piecewise(at: float) -> None:
    x = sympy.Symbol("x", real=True)
    lines = cm.table(x, POINTS).rewrite(sympy.Piecewise)
    assert float(lines.subs(x, sympy.Float(at))) == pytest.approx(cm.table(at, POINTS), abs=1e-12)


@pytest.mark.parametrize(("at", "slope"), [(0.5, 2.0), (2.0, -1.0), (1.0, -1.0), (4.0, -1.0)])
def test_the_slope_of_a_table(at: float, slope: float) -> None:
    x = symbol.real_symbol("x")
    (found,) = compiled([x], [cm.table(x, POINTS).diff(x)])(at)
    assert found == slope


def test_tables_of_the_same_points_are_the_same_function() -> None:
    x = symbol.real_symbol("x")
    assert cm.table(x, POINTS) == cm.table(x, list(POINTS))
    assert cm.table(x, POINTS) != cm.table(x, POINTS[:2])


# --- the symbolic form ----------------------------------------------------------------------------


def test_a_form_in_terms_of_the_inputs() -> None:
    s = symbolic(single(lambda a, b: cm.exp(a) * b + 2.0 * a), {"a": 1.0, "b": 2.0})
    on, stage = forms(s, X), s.stage(X)
    assert stage is not None
    a, b = (on.symbols[s.inputs[name]] for name in "ab")
    assert sympy.simplify(on.whole(stage.node) - (sympy.exp(a) * b + 2.0 * a)) == 0
    assert not s.reasons


class Pair(NamedTuple):
    resistance: float
    current: float


def ohm(voltage: float, one: float, other: float) -> Pair:
    together = one * other / (one + other)
    return Pair(resistance=together, current=voltage / together)


def test_a_field_that_rests_on_an_earlier_field_is_a_formula_of_it() -> None:
    s = symbolic(evaluator(ohm), {"voltage": 5.0, "one": 10.0, "other": 10.0})
    first, second = s.stages
    assert (first.quantity, second.quantity) == ("resistance", "current")
    on = forms(s, ("current", None))
    voltage = on.symbols[s.inputs["voltage"]]
    assert on.forms[second.node] == voltage / on.symbols[first.node]
    steps = derivation(s, {"resistance": "ohm", "current": "A"})
    assert steps[1].latex == r"\mathrm{current} = \frac{\mathrm{voltage}}{\mathrm{resistance}}"
    assert steps[1].numbers_latex == r" = \frac{5}{5}"
    assert (steps[1].value, steps[1].unit) == (1.0, "A")


def test_a_value_that_the_author_named_is_a_step_of_its_own() -> None:
    s = symbolic(evaluator(pad_hold_energy), PAD_HOLD)
    (energy,) = derivation(s, {"usable_energy": "W h"}, ("usable_energy", None))[-1:]
    assert energy.latex == (
        r"\mathrm{usable\ energy} = \mathrm{delivered} \cdot \mathrm{max}"
        r"\left(\mathrm{stored\ energy}\left(\mathrm{left}\right) - "
        r"\mathrm{at\ floor},\ 0\right)"
    )
    named = {stage.quantity for stage in s.stages_of(("usable_energy", None)) if not stage.field}
    assert {"left", "at_floor", "delivered", "capacity"} <= named


@pytest.mark.parametrize(
    ("analysis", "inputs"),
    [(pad_hold_energy, PAD_HOLD), (carrier_doppler, DOPPLER), (ground_flux, FLUX)],
)
def test_the_closed_forms_of_the_mission_have_a_symbolic_form(analysis: Any, inputs: Any) -> None:
    box = tuple((name, 0.99 * value, 1.01 * value) for name, value in inputs.items())
    s = symbolic(evaluator(analysis.function), inputs, box)
    numbers = values_of(analysis(**inputs))
    assert not s.reasons
    for key, number in numbers.items():
        stage = s.stage(key)
        assert stage is not None
        assert stage.value == number


@pytest.mark.parametrize(
    ("formula", "reason"),
    [
        (lambda a: a if a < 2.0 else 3.0, "decision of Python"),
        (lambda a: min(a, 2.0), "decision of Python"),
        (lambda a: 1.0 if a == 2.0 else a, "== or !="),
        (lambda a: math.sin(a), "plain number"),
        (lambda a: float(a), "plain number"),
        (lambda a: round(a, 2), "plain number"),
        (lambda a: a % 2.0, "on symbols it raises TypeError"),
    ],
)
def test_what_is_no_formula_is_reported_with_the_line(formula: Any, reason: str) -> None:
    s = symbolic(single(formula), {"a": 1.0}, keys=[X])
    assert reason in s.reasons[X]
    assert "test_symbol.py:" in s.reasons[X]
    assert s.stages == ()
    assert forms(s, X).forms == {}
    assert derivation(s, {}) == ()


def test_a_march_is_stopped() -> None:
    def march(a: float) -> float:
        x = a
        for _ in range(10 * MOST_OPERATIONS):
            x = x + 1e-6 * (1.0 - x)
        return x

    assert (
        f"more than {MOST_OPERATIONS} operations" in symbolic(single(march), {"a": 0.0}).reasons[X]
    )


def test_a_long_loop_that_is_no_march_is_cut_into_stages() -> None:
    def loop(a: float) -> float:
        x = a
        for _ in range(300):
            x = a * x * (1.0 - x)
        return x

    s = symbolic(single(loop), {"a": 2.0 / 3.0})
    assert not s.reasons
    assert len(s.stages) > 10


def test_a_form_that_differs_from_the_number_is_not_used() -> None:
    calls = []

    def other_each_time(a: float) -> float:
        calls.append(a)
        return a + 1e-6 * len(calls)

    s = symbolic(single(other_each_time), {"a": 1.0})
    assert "on symbols it gives" in s.reasons[X]


def test_a_branch_that_holds_only_at_nominal_is_found_in_the_box() -> None:
    def branched(a: Any) -> Any:
        here = a.value if hasattr(a, "value") else a  # a trick that hides the decision
        return a if here < 1.5 else 2.0 * a

    s = symbolic(single(branched), {"a": 1.0}, (("a", 0.0, 2.0),))
    assert "on symbols it gives" in s.reasons[X]
    assert "at a = " in s.reasons[X]


def test_a_case_without_value_says_so() -> None:
    s = symbolic(
        lambda p: {("x", "a"): p["a"] + 1.0, ("x", "b"): absent("never rises")}, {"a": 1.0}
    )
    assert s.reasons == {("x", "b"): "it has no value: never rises"}
    assert [step.case for step in derivation(s, {})] == ["a"]


def test_constants_and_inputs_handed_on_are_steps() -> None:
    s = symbolic(lambda p: {("a", None): p["b"], ("c", None): 4.5, ("d", None): p["b"]}, {"b": 2.0})
    found = {step.quantity: step.latex.replace("\\mathrm", "") for step in derivation(s, {})}
    assert found == {"a": "{a} = {b}", "c": "{c} = 4.5", "d": "{d} = {b}"}


def test_recording_leaves_another_profiler_in_place() -> None:
    import sys

    def profiler(*_: Any) -> None: ...

    before = sys.getprofile()
    sys.setprofile(profiler)
    try:
        record(single(lambda a: a + 1.0), {"a": 1.0})
        assert sys.getprofile() is profiler
    finally:
        sys.setprofile(before)


def test_numbers_of_numpy_leave_the_arithmetic_to_the_formula() -> None:
    import numpy as np

    recording = record(single(lambda a: np.float64(2.0) * a), {"a": 1.5})
    assert recording.values[X].value == 3.0
    with pytest.raises(TypeError):
        record(single(lambda a: np.sin(a)), {"a": 1.5})


def test_equality_of_values_is_refused() -> None:
    with pytest.raises(NoFormula):
        record(single(lambda a: a + (a != 1.0)), {"a": 1.0})


# --- on paper -------------------------------------------------------------------------------------

MATHML = "{http://www.w3.org/1998/Math/MathML}"
CALLS = {
    "max": max, "min": min, "ln": math.log, "sin": math.sin, "cos": math.cos, "exp": math.exp,
    "log10": math.log10, "log2": math.log2, "arsinh": math.asinh, "arcosh": math.acosh,
    "artanh": math.atanh, "erf": math.erf, "Φ": NormalDist().cdf, "floor": math.floor,
    "ceil": math.ceil, "sgn": lambda x: math.copysign(1.0, x),
}  # fmt: skip


def python_of(element: ElementTree.Element) -> str:
    """Return a formula of MathML as an expression of Python: it is read back, not looked up."""
    tag = element.tag.removeprefix(MATHML)
    parts = [python_of(child) for child in element]
    if tag == "mfrac":
        return f"(({parts[0]})/({parts[1]}))"
    if tag == "msup":
        return f"({parts[0]})**({parts[1]})"
    if tag == "msqrt":
        return f"math.sqrt({''.join(parts)})"
    if tag == "mroot":
        assert parts[1] == "3"
        return f"math.cbrt({parts[0]})"
    if tag == "msub":
        return "".join(parts)  # log10, log2
    if tag in ("math", "mrow"):
        return "".join(parts)
    text = element.text or ""
    signs = {"−": "-", "·": "*", "log": "log", "π": "math.pi", "e": "math.e"}
    return signs.get(text, text)


def number_of(step: Line) -> float:
    text = python_of(ElementTree.fromstring(step.numbers_mathml)).removeprefix("=")
    text = re.sub(r"\)\(", ")*(", text)
    return float(eval(text, {"math": math, **CALLS}))


def no_table(step: Line) -> bool:
    return not re.search(r"energy\"?\}?\}\\left|stored|fraction|circuit", step.numbers_latex)


@pytest.mark.parametrize(
    ("analysis", "inputs"),
    [(pad_hold_energy, PAD_HOLD), (carrier_doppler, DOPPLER), (ground_flux, FLUX)],
)
def test_the_line_of_numbers_read_back_gives_the_value(analysis: Any, inputs: Any) -> None:
    s = symbolic(evaluator(analysis.function), inputs)
    steps = [step for step in derivation(s, {}) if no_table(step)]
    assert len(steps) >= len(s.stages) // 2
    for step in steps:
        # Numbers put in have six digits, and some differences lose three of them.
        assert number_of(step) == pytest.approx(step.value, rel=2e-3), step.quantity


Tree = Any


def trees() -> st.SearchStrategy[Tree]:
    leaves = st.one_of(st.sampled_from(["a", "b", "c"]), st.sampled_from([-2.5, 0.5, 3.0, 1e-5]))
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.tuples(st.sampled_from(["add", "subtract", "multiply", "divide"]), inner, inner),
            st.tuples(st.sampled_from(["negative", "square", "exp"]), inner),
            st.tuples(st.sampled_from(["maximum", "minimum"]), inner, inner),
            st.tuples(st.sampled_from(["maximum", "minimum"]), inner, inner, inner),
            st.tuples(st.sampled_from(["cbrt", "erf", "asinh", "normal_cdf"]), inner),
        ),
        max_leaves=8,
    )


def grown(tree: Tree, p: Mapping[str, Any]) -> Any:
    if isinstance(tree, str):
        return p[tree]
    if isinstance(tree, float):
        return tree
    kind, *rest = tree
    x, *more = (grown(branch, p) for branch in rest)
    match kind:
        case "add":
            return x + more[0]
        case "subtract":
            return x - more[0]
        case "multiply":
            return x * more[0]
        case "divide":
            return x / (1.0 + more[0] * more[0])
        case "negative":
            return -x
        case "square":
            return cm.power(x, 2)
        case "exp":
            return cm.exp(cm.maximum(cm.minimum(x, 3.0), -3.0))
        case _:
            return getattr(cm, kind)(x, *more)


@settings(max_examples=150, deadline=None)
@given(trees(), st.sampled_from([(2.0, -3.0, 0.25), (-1.5, 4.0, 2.0)]))
def test_any_formula_read_back_from_mathml_gives_its_value(tree: Tree, at: Any) -> None:
    inputs = dict(zip("abc", at, strict=True))
    s = symbolic(single(lambda **p: grown(tree, p)), inputs)
    assert not s.reasons
    for step in derivation(s, {}):
        read = number_of(step)
        assert read == pytest.approx(step.value, rel=1e-4, abs=1e-3 * (1.0 + abs(step.value)))


@pytest.mark.parametrize(
    ("formula", "text", "latex"),
    [
        (lambda a: cm.asinh(a), "arsinh(a)", r"{arsinh}\left({a}\right)"),
        (lambda a: cm.acosh(a), "arcosh(a)", r"{arcosh}\left({a}\right)"),
        (lambda a: cm.atanh(a / 4.0), "artanh(a / 4)", r"{artanh}\left(\frac{{a}}{4}\right)"),
        (lambda a: cm.log2(a), "log2(a)", r"{log}_{2}\left({a}\right)"),
        (lambda a: cm.cbrt(a), "cbrt(a)", r"\sqrt[3]{{a}}"),
        (lambda a: cm.erf(a), "erf(a)", r"{erf}\left({a}\right)"),
        (lambda a: cm.normal_cdf(-a), "Phi(-a)", r"\Phi\left(-{a}\right)"),
        (lambda a: cm.floor(a), "floor(a)", r"{floor}\left({a}\right)"),
        (lambda a: cm.ceil(a), "ceil(a)", r"{ceil}\left({a}\right)"),
        (lambda a: cm.sign(a), "sgn(a)", r"{sgn}\left({a}\right)"),
        (lambda a: cm.maximum(a, 1.0, -a), "max(a, 1, -a)",
         r"{max}\left({a},\ 1,\ -{a}\right)"),
    ],
)  # fmt: skip
def test_each_function_is_written_in_the_signs_of_iso_80000_2(
    formula: Any, text: str, latex: str
) -> None:
    """ISO 80000-2 has arsinh, arcosh, artanh, sgn (from memory); Phi as in structural safety."""
    (step,) = derivation(symbolic(single(formula), {"a": 2.5}), {})
    assert step.text == f"x = {text}"
    assert step.latex.replace(r"\mathrm", "") == f"{{x}} = {latex}"
    assert number_of(step) == pytest.approx(step.value, rel=1e-12)


def test_mathml_is_well_formed_and_escapes_what_authors_write() -> None:
    s = symbolic(lambda p: {("x", 'a<b & "c"'): p["a"] * 2.0, ("k", None): 3.0}, {"a": 1.0})
    step, constant = derivation(s, {"k": "dB(W/m^2)"})
    for line in (step, constant):
        for text in (line.mathml, line.numbers_mathml):
            assert ElementTree.fromstring(text).tag == f"{MATHML}math"
    assert "W/m²" in constant.mathml
    assert constant.latex == r"\mathrm{k} = 3\ \mathrm{dB(W/m}^{2}\mathrm{)}"


def test_latex_escapes_what_authors_write() -> None:
    s = symbolic(lambda p: {("x", "50 %_#"): p["a"] * 2.0}, {"a": 1.0})
    (step,) = derivation(s, {})
    assert step.latex == r"\mathrm{x}_{\mathrm{50\ \%\_\#}} = \mathrm{a} \cdot 2"


def test_brackets_signs_and_cases() -> None:
    def formula(a: float, b: float) -> float:
        return cm.where(a < b, -(a + b) * -a, abs(a - (b - a)) / cm.hypot(a, b))

    s = symbolic(single(formula), {"a": -1.0, "b": 2.0})
    (step,) = derivation(s, {})
    assert step.latex.replace(r"\mathrm", "") == (
        r"{x} = \begin{cases} -\left({a} + {b}\right) \cdot \left(-{a}\right) & \text{if } "
        r"{a} < {b} \\ \frac{\left|{a} - \left({b} - {a}\right)\right|}"
        r"{\sqrt{{{a}}^{2} + {{b}}^{2}}} & \text{otherwise} \end{cases}"
    )
    assert r"\left(-1\right)}^{2}" in step.numbers_latex


@pytest.mark.parametrize("x", [-0.5, -0.1001, -0.0999, -1e-3, -1e-9, 1e-12, 1e-6, 0.05, 0.3, 4.0])
def test_relative_functions_keep_their_digits_near_zero(x: float) -> None:
    """Against 50 digits by mpmath of (e^x - 1)/x and ln(1 + x)/x and of their derivatives."""
    symbol_ = symbol.real_symbol("x")
    forms = [symbol.exprel(symbol_), symbol.log1prel(symbol_)]
    evaluated = compiled([symbol_], [*forms, *(form.diff(symbol_) for form in forms)])
    with mpmath.workdps(50):
        a = mpmath.mpf(x)
        expected = [
            mpmath.expm1(a) / a,
            mpmath.log1p(a) / a,
            (mpmath.exp(a) * (a - 1) + 1) / a**2,
            (a / (1 + a) - mpmath.log1p(a)) / a**2,
        ]
        errors = [abs(v / e - 1) for v, e in zip(evaluated(x), expected, strict=True)]
    assert max(errors) < 1e-13
    assert [form.rewrite("exp") for form in forms[:1]] == [(sympy.exp(symbol_) - 1) / symbol_]


def test_and_and_or_keep_their_brackets() -> None:
    def evaluate(point: Mapping[str, Any]) -> dict[Any, Any]:
        a, b = point["a"], point["b"]
        return {("y", None): cm.where(((a < 1.0) | (b > 2.0)) & (a > b), a, b - 10.0)}

    form = symbolic(evaluate, {"a": 0.5, "b": 3.0}, (("a", 0.4, 0.6), ("b", 2.9, 3.1)))
    (step,) = derivation(form, {"y": "1"}, ("y", None))
    assert "(a < 1 or b > 2) and a > b" in step.text
    assert r"\left(\mathrm{a} < 1 \vee \mathrm{b} > 2\right) \wedge" in step.latex


def test_a_quotient_without_a_value_is_written_as_its_limit() -> None:
    def evaluate(point: Mapping[str, Any]) -> dict[Any, Any]:
        return {("y", None): 2.0 * cm.exprel(point["a"] - 3.0)}

    form = symbolic(evaluate, {"a": 3.0}, (("a", 2.9, 3.1),))
    (step,) = derivation(form, {"y": "1"}, ("y", None))
    assert step.text == "y = 2 * (e^(a - 3) - 1) / (a - 3)"
    assert step.numbers_text == " = 2 * 1"
