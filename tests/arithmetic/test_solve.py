"""Formulas solved for one input, against solutions by hand, SymPy's derivative as a formula."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest
import sympy
from hypothesis import assume, given, settings

from closeout import math as cm
from closeout.arithmetic.study.sensitivity import gradient
from closeout.arithmetic.symbol.differentiated import MOST_WRITTEN, differentiated
from closeout.arithmetic.symbol.expressions import forms
from closeout.arithmetic.symbol.restated import NotRestated, restated
from closeout.arithmetic.symbol.solve import solve
from closeout.arithmetic.symbol.symbolic import symbolic
from closeout.arithmetic.types import Box
from closeout.model.solved import SolvedLimit
from tests.arithmetic.test_sensitivity import POSITIVE, TREES, X, grown, single


def solved(
    formula: Any, inputs: Mapping[str, float], name: str, box: Box = (), **detail: Any
) -> SolvedLimit:
    """Return what is found of the only limit."""
    asked = {
        "quantity": "x", "case": None, "at_least": None, "at_most": None, "corner": [],
        "decides": [],
        "parameter": name, **detail,
    }  # fmt: skip
    found = solve(single(formula), inputs, box, asked)
    assert found.symbolic is None
    (one,) = found.limits
    return one


def values(found: SolvedLimit, other_inputs: str = "nominal") -> list[float]:
    return [one.value for one in found.solutions if one.other_inputs == other_inputs]


# --- solutions by hand, as written beside each ----------------------------------------------------


@pytest.mark.parametrize(
    ("formula", "inputs", "limit", "expected"),
    [
        (lambda a, b: a * b, {"a": 2.0, "b": 4.0}, 10.0, [2.5]),
        (lambda a, b: b / a, {"a": 2.0, "b": 4.0}, 10.0, [0.4]),
        (lambda a, b: b - 3.0 * a, {"a": 2.0, "b": 4.0}, 10.0, [-2.0]),
        (lambda a, b: b * cm.exp(-a), {"a": 2.0, "b": 4.0}, 1.0, [math.log(4.0)]),
        (lambda a, b: b + 20.0 * cm.log10(a), {"a": 2.0, "b": 4.0}, 10.0, [10.0**0.3]),
        (lambda a, b: b * 10.0 ** (a / 10.0), {"a": 2.0, "b": 4.0}, 40.0, [10.0]),
        (lambda a, b: cm.log2(a) + b, {"a": 2.0, "b": 4.0}, 10.0, [64.0]),
        (lambda a, b: cm.sqrt(a * b), {"a": 2.0, "b": 4.0}, 10.0, [25.0]),
        (lambda a, b: b * cm.cbrt(a), {"a": 2.0, "b": 4.0}, 12.0, [27.0]),
        (lambda a, b: b * cm.tanh(a), {"a": 2.0, "b": 4.0}, 2.0, [math.atanh(0.5)]),
        (lambda a, b: b * cm.atan(a), {"a": 2.0, "b": 4.0}, math.pi, [1.0]),
        (lambda a, b: cm.hypot(a, b), {"a": 2.0, "b": 4.0}, 5.0, [3.0, -3.0]),
        (lambda a, b: b - cm.power(a, 2), {"a": 2.0, "b": 4.0}, 3.0, [1.0, -1.0]),
        # (a - 1)(a - 3) = 8 at a = 5 and a = -1; 2 is nearer to -1 by nothing: both are 3 away.
        (lambda a, b: (a - 1.0) * (a - 3.0), {"a": 2.1, "b": 4.0}, 8.0, [5.0, -1.0]),
        (lambda a, b: abs(a) + b, {"a": 2.0, "b": 4.0}, 5.0, [1.0, -1.0]),
        (lambda a, b: cm.maximum(a, b), {"a": 2.0, "b": 4.0}, 7.0, [7.0]),
        (lambda a, b: cm.minimum(a, 2.0 * a - 3.0) + b, {"a": 2.0, "b": 4.0}, 5.0, [2.0]),
        (lambda a, b: cm.where(a < b, a, 3.0 * a), {"a": 2.0, "b": 4.0}, 30.0, [10.0]),
        # Straight lines through (0, 0), (1, 5), (9, 21): 13 lies in the middle of the second.
        (lambda a, b: cm.table(a, ((0.0, 0.0), (1.0, 5.0), (9.0, 21.0))), {"a": 2.0, "b": 0.0},
         13.0, [5.0]),
        (lambda a, b: b * cm.normal_cdf(a), {"a": 0.5, "b": 4.0}, 2.0, [0.0]),
        # w e^w = 2 e^2 at w = 2: Lambert's function.
        (lambda a, b: a * cm.exp(a) + b, {"a": 1.0, "b": 0.0}, 2.0 * math.exp(2.0), [2.0]),
    ],
)  # fmt: skip
def test_by_hand(formula: Any, inputs: Any, limit: float, expected: list[float]) -> None:
    found = solved(formula, inputs, "a", at_least=limit)
    assert values(found) == pytest.approx(expected, rel=1e-12, abs=1e-12)
    for one in found.solutions:
        assert one.reached == pytest.approx(limit, rel=1e-9)
        assert formula(**{**inputs, "a": one.value}) == one.reached


def test_the_formula_stands_in_names_and_in_three_languages() -> None:
    # 0.8 V I = P, so V = P / (0.8 I); with I = 2 and P = 80 it is 50.
    def power(voltage: float, current: float) -> float:
        return 0.8 * voltage * current

    found = solved(power, {"voltage": 28.0, "current": 2.0}, "voltage", at_most=80.0)
    ((text, latex, mathml, numbers, numbers_latex, _),) = found.formulas
    assert text == "voltage = 1.25 * limit / current"
    assert numbers == " = 1.25 * 80 / 2"
    assert latex == (r"\mathrm{voltage} = \frac{1.25 \cdot \mathrm{limit}}{\mathrm{current}}")
    assert numbers_latex == r" = \frac{1.25 \cdot 80}{2}"
    assert mathml.startswith('<math xmlns="http://www.w3.org/1998/Math/MathML"')
    ((other_inputs, place, value, reached, below, above, settled, remarks),) = found.solutions
    assert (other_inputs, place, value, reached) == ("nominal", 0, 50.0, 80.0)
    assert (below, above, settled, remarks) == (True, False, True, ())


def test_names_on_the_way_stay() -> None:
    def formula(a: float, b: float) -> float:
        inner = b * b + 1.0
        return a * inner

    found = solved(formula, {"a": 1.0, "b": 3.0}, "a", at_least=20.0)
    assert found.formulas[0].text == "a = limit / inner"
    assert values(found) == [2.0]


def test_the_others_at_worst() -> None:
    # x = a b >= 6 at a = 4, b = 2 +/- 0.5: a = 3 at nominal, 4 where b is 1.5.
    box = (("a", 3.5, 4.5), ("b", 1.5, 2.5))
    corner = [["a", 3.5], ["b", 1.5]]
    found = solved(lambda a, b: a * b, {"a": 4.0, "b": 2.0}, "a", box, at_least=6.0, corner=corner)
    assert (values(found), values(found, "worst")) == ([3.0], [4.0])
    assert len(found.formulas) == 1


def test_the_worst_corner_of_the_others_moves_along() -> None:
    # x = (a - 5) b >= -1: above 5 the least b is worst, and where the limit is met (a below 5) the
    # greatest: (a - 5) 2 = -1 at a = 4.5.
    box = (("b", 1.0, 2.0),)
    found = solved(
        lambda a, b: (a - 5.0) * b, {"a": 8.0, "b": 1.5}, "a", box, at_least=-1.0,
        corner=[["b", 1.0]],
    )  # fmt: skip
    assert values(found, "worst") == [4.5]
    assert found.solutions[-1].settled


def test_another_branch_at_the_worst_corner() -> None:
    # max(a, 2 b) + b = 9 with b = 2: a = 7; with b = 3, 2 b = 6 leaves 9 at once: a has no
    # effect below 6. With limit 12: a = 10 at nominal, 9 at worst.
    found = solved(
        lambda a, b: cm.maximum(a, 2.0 * b) + b, {"a": 1.0, "b": 2.0}, "a",
        (("b", 1.0, 3.0),), at_most=12.0, corner=[["b", 3.0]],
    )  # fmt: skip
    assert (values(found), values(found, "worst")) == ([10.0], [9.0])


def test_both_limits_are_solved() -> None:
    asked = {
        "quantity": "x", "case": None, "at_least": 2.0, "at_most": 8.0, "corner": [],
        "decides": [],
        "parameter": "a",
    }  # fmt: skip
    found = solve(single(lambda a: 2.0 * a), {"a": 3.0}, (), asked)
    assert [(one.limit, one.bound, values(one)) for one in found.limits] == [
        ("at_least", 2.0, [1.0]), ("at_most", 8.0, [4.0]),
    ]  # fmt: skip


def test_what_is_not_solved_says_what() -> None:
    found = solved(lambda a: a + cm.sin(a), {"a": 1.0}, "a", at_least=2.0)
    assert found.solutions == ()
    assert any("is not solved for a" in reason for reason in found.reasons)


def test_a_limit_that_is_never_reached_has_no_solution() -> None:
    # 1 + a^2 is never 0.5.
    found = solved(lambda a: 1.0 + a * a, {"a": 1.0}, "a", at_most=0.5)
    assert found.solutions == ()
    assert found.reasons == ()


def test_an_input_without_a_part_and_what_is_no_formula() -> None:
    asked = {
        "quantity": "x", "case": None, "at_least": 1.0, "at_most": None, "corner": [],
        "decides": [],
        "parameter": "b",
    }  # fmt: skip
    found = solve(single(lambda a, b: 2.0 * a), {"a": 1.0, "b": 1.0}, (), asked)
    assert found == (None, False, ())
    found = solve(single(lambda a, b: 7.0), {"a": 1.0, "b": 1.0}, (), asked)
    assert found == (None, False, ())
    found = solve(single(lambda a, b: float(a) * b), {"a": 1.0, "b": 1.0}, (), asked)
    assert "plain number" in (found.symbolic or "")


def test_a_solution_of_sympy_that_the_analysis_does_not_have_is_left_out() -> None:
    # sqrt(a) = a - 2 squared has a = 1 too, where sqrt(1) is not -1; a = 4 is the one.
    found = solved(lambda a: cm.sqrt(a) - a, {"a": 2.0}, "a", at_least=-2.0)
    assert values(found) == pytest.approx([4.0], rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(TREES, POSITIVE, POSITIVE, POSITIVE)
def test_whatever_is_found_reaches_the_limit(tree: Any, a: float, b: float, c: float) -> None:
    # A linear input outside of any formula has one solution; it is known beforehand.
    inputs = {"a": a, "b": b, "c": c, "d": 1.0}

    def formula(d: Any, **p: Any) -> Any:
        return d * (1.5 + cm.sin(grown(tree, p, cm))) + p["b"]

    limit = formula(**{**inputs, "d": 2.0})
    found = solved(formula, inputs, "d", at_least=limit)
    assert values(found) == pytest.approx([2.0], rel=1e-9)


# --- the derivative as a formula ------------------------------------------------------------------


def test_the_derivative_of_a_formula_is_written() -> None:
    # d/da (a^2 b) = 2 a b; with a = 3 and b = 5 it is 30.
    s = symbolic(single(lambda a, b: cm.power(a, 2) * b), {"a": 3.0, "b": 5.0})
    (one,) = differentiated(s, X, {"a": 30.0})
    assert (one.text, one.numbers_text, one.reason) == (
        "d_x / d_a = 2 * a * b", " = 2 * 3 * 5", None,
    )  # fmt: skip
    assert one.latex.startswith(r"\frac{\partial \mathrm{x}}{\partial \mathrm{a}} = ")
    assert "∂" in one.mathml


def test_of_a_minimum_and_a_table_stands_the_branch_that_holds() -> None:
    # min(a, b) with a smaller, on the line of slope 2: d/da (c table(a)) = 2 c.
    points = ((0.0, 0.0), (1.0, 5.0), (9.0, 21.0))
    s = symbolic(
        single(lambda a, b, c: c * cm.table(cm.minimum(a, b), points)),
        {"a": 2.0, "b": 3.0, "c": 7.0},
    )
    (one,) = differentiated(s, X, {"a": 14.0})
    assert one.text == "d_x / d_a = 2 * c"


def test_a_derivative_that_is_another_number_is_not_shown() -> None:
    s = symbolic(single(lambda a: a * a), {"a": 3.0})
    (one,) = differentiated(s, X, {"a": 6.5})
    assert one.text == ""
    assert "gives 6.0" in (one.reason or "")


def test_a_derivative_that_nobody_reads_is_not_written() -> None:
    def formula(a: float) -> float:
        for _ in range(MOST_WRITTEN):
            a = cm.sin(a) + a * a
        return a

    s = symbolic(single(formula), {"a": 0.01})
    slopes = gradient(s, X)
    assert slopes is not None
    (one,) = differentiated(s, X, slopes)
    assert "too long to read" in (one.reason or "")


@settings(max_examples=60, deadline=None)
@given(TREES, POSITIVE, POSITIVE, POSITIVE)
def test_a_restated_expression_has_the_value_of_the_formula(
    tree: Any, a: float, b: float, c: float
) -> None:
    s = symbolic(single(lambda **p: grown(tree, p, cm)), {"a": a, "b": b, "c": c})
    stage = s.stage(X)
    assert stage is not None
    assume(not isinstance(stage.node, float))
    on = forms(s, X)
    nodes = {one: node for node, one in on.symbols.items()}
    again = restated(on.whole(stage.node), nodes)
    assert again.value == pytest.approx(stage.value, rel=1e-9, abs=1e-12)


def test_what_has_no_counterpart_is_refused() -> None:
    x = sympy.Symbol("x", real=True)
    with pytest.raises(NotRestated, match="zeta"):
        restated(sympy.zeta(x), {})
