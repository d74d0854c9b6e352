"""Interval derivatives: against mpmath's derivatives, and the mean value theorem on any formula."""

import math as numbers

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from closeout import math
from closeout.arithmetic.gradient import functions as gradient_functions
from closeout.arithmetic.gradient.gradient import UNBOUNDED, Gradient, GradientTruth, seed
from closeout.arithmetic.interval.interval import Interval, point
from closeout.arithmetic.undecided import Undecided, Undefined
from tests.arithmetic import formulas


def variable(low: float, high: float, side: int = 0) -> Gradient:
    return seed(Interval(low, high), side)


FUNCTIONS = [
    ("exp", -20.0, 20.0, mpmath.exp),
    ("exprel", -20.0, 20.0, lambda x: mpmath.expm1(x) / x),
    ("log", 0.01, 50.0, mpmath.log),
    ("log1prel", -0.9, 50.0, lambda x: mpmath.log1p(x) / x),
    ("log10", 0.01, 50.0, mpmath.log10),
    ("sqrt", 0.01, 50.0, mpmath.sqrt),
    ("sin", -10.0, 10.0, mpmath.sin),
    ("cos", -10.0, 10.0, mpmath.cos),
    ("tan", -1.5, 1.5, mpmath.tan),
    ("asin", -0.99, 0.99, mpmath.asin),
    ("acos", -0.99, 0.99, mpmath.acos),
    ("atan", -10.0, 10.0, mpmath.atan),
    ("sinh", -10.0, 10.0, mpmath.sinh),
    ("cosh", -10.0, 10.0, mpmath.cosh),
    ("tanh", -10.0, 10.0, mpmath.tanh),
    ("asinh", -1e3, 1e3, mpmath.asinh),
    ("acosh", 1.0001, 50.0, mpmath.acosh),
    ("atanh", -0.999, 0.999, mpmath.atanh),
    ("log2", 0.01, 50.0, lambda x: mpmath.log(x, 2)),
    ("cbrt", 0.01, 50.0, mpmath.cbrt),
    ("cbrt", -50.0, -0.01, lambda x: -mpmath.cbrt(-x)),
    ("erf", -6.0, 6.0, mpmath.erf),
    ("normal_cdf", -12.0, 12.0, mpmath.ncdf),
]


@pytest.mark.parametrize(("name", "low", "high", "exact"), FUNCTIONS)
def test_slopes_hold_the_derivative(name, low, high, exact):
    random = np.random.default_rng(11)
    function = getattr(gradient_functions, name)
    with mpmath.workdps(50):
        for _ in range(60):
            a, b = sorted(float(x) for x in random.uniform(low, high, 2))
            found = function(variable(a, b))
            down, up = found.slopes[0]
            for share in (0.0, 0.3, 0.5, 1.0):
                x = min(max(a + share * (b - a), a), b)
                true = mpmath.diff(exact, mpmath.mpf(x))
                assert down <= true <= up, (a, b, x)
        x = float(random.uniform(low, high))
        down, up = function(variable(x, x)).slopes[0]
        assert up - down <= 1e-11 * max(1.0, abs(down))  # a point has one derivative


def test_slopes_of_two_by_their_formulas():
    x, y = variable(1.0, 2.0, 0), variable(3.0, 4.0, 1)
    assert (x + y).slopes == {0: (1.0, 1.0)} | {1: (1.0, 1.0)}
    assert (x - y).slopes == {0: (1.0, 1.0)} | {1: (-1.0, -1.0)}
    for found, by_x, by_y in (
        (x * y, (3.0, 4.0), (1.0, 2.0)),
        (x / y, (1 / 4, 1 / 3), (-2 / 9, -1 / 16)),
        (x * 2 + y * x, (5.0, 6.0), (1.0, 2.0)),
        (2 / x - 3 * y, (-2.0, -0.5), (-3.0, -3.0)),
        (math.hypot(x, y), (1 / 20**0.5, 2 / 10**0.5), (3 / 20**0.5, 1.0)),
        (math.atan2(x, y), (3 / 20, 4 / 10), (-2 / 10, -1 / 20)),
    ):
        for i, (low, high) in enumerate((by_x, by_y)):
            assert found.slopes[i][0] <= low * (1 - 1e-15 * numbers.copysign(1, -low))
            assert found.slopes[i] == pytest.approx((low, high), rel=1e-12)


def test_a_product_of_a_value_with_itself_is_its_square():
    x = variable(-1.0, 2.0)
    assert (x * x).value.low == 0.0
    assert (x * x).slopes[0] == pytest.approx((-2.0, 4.0))
    assert math.power(x, 3).slopes[0] == pytest.approx((0.0, 12.0), abs=1e-13)


def test_signs_that_are_certain_stay_certain():
    x = variable(0.0, 2.0)
    for found in (math.sqrt(x), x * x, math.tanh(x), math.cosh(x), x / (1 + x * 0), math.exp(x)):
        assert found.slopes[0][0] >= 0.0
    assert math.sqrt(x).slopes[0][1] == numbers.inf


def test_kinks_cover_both_sides():
    x, y = variable(-1.0, 2.0, 0), variable(0.0, 1.0, 1)
    assert abs(x).slopes == {0: (-1.0, 1.0)}
    assert abs(variable(-2.0, -1.0)).slopes == {0: (-1.0, -1.0)}
    assert math.maximum(x, y).slopes == {0: (0.0, 1.0), 1: (0.0, 1.0)}
    assert math.minimum(x, 3.0).slopes == {0: (1.0, 1.0)}
    assert math.minimum(3.0, x).slopes == {0: (1.0, 1.0)}
    assert math.maximum(x, 3.0).slopes == {}
    assert math.clip(x, 0.0, 1.0).slopes == {0: (0.0, 1.0)}
    line = ((-1.0, 0.0), (0.0, 2.0), (1.0, 1.0), (2.0, 1.0))
    assert math.table(x, line).slopes[0] == pytest.approx((-1.0, 2.0))
    assert math.table(variable(0.1, 0.9), line).slopes[0] == pytest.approx((-1.0, -1.0))
    # At a point of the table both lines count: it may be the end of a part of a box.
    low, high = math.table(variable(0.0, 0.5), line).slopes[0]
    assert low == pytest.approx(-1.0)
    assert high >= -1.0


def test_steps_rise_by_jumps_and_are_flat_between_them():
    """From one point to another floor rises, by a share of any size: no finite slope is enough."""
    for name in ("floor", "ceil", "sign"):
        function = getattr(math, name)
        flat = function(variable(0.25, 0.75))
        assert flat.slopes == {}
        jump = function(variable(-0.5, 0.5))
        assert jump.slopes == {0: (0.0, numbers.inf)}
        assert function(-variable(-0.5, 0.5)).slopes == {0: (-numbers.inf, 0.0)}
    assert math.floor(variable(1.0, 1.5)).value.low == 1.0
    assert math.floor(variable(1.0, 1.5)).slopes == {}
    assert math.floor(variable(0.5, 1.0)).slopes == {0: (0.0, numbers.inf)}
    assert math.sign(variable(0.0, 0.0)).slopes == {}
    assert math.sign(variable(0.0, 1.0)).slopes == {0: (0.0, numbers.inf)}


def test_slopes_that_grow_without_bound_and_those_too_small_for_a_number():
    root = math.cbrt(variable(-1.0, 8.0))
    assert root.slopes[0][0] == pytest.approx(1 / 12)
    assert root.slopes[0][1] == numbers.inf
    assert math.cbrt(variable(0.0, 0.0)).slopes[0] == (0.0, numbers.inf)
    assert math.acosh(variable(1.0, 2.0)).slopes[0][1] == numbers.inf
    assert math.acosh(variable(1.0, 2.0)).slopes[0][0] == pytest.approx(1 / 3**0.5)
    edge = 1.0 - 2.0**-53
    assert math.atanh(variable(0.0, edge)).slopes[0] == pytest.approx((1.0, 2.0**52), rel=1e-3)
    for name in ("erf", "normal_cdf", "atan", "asinh", "tanh"):
        low, high = getattr(math, name)(variable(1e200, 1e201)).slopes[0]
        assert low == pytest.approx(0.0, abs=1e-199)
        assert low >= 0.0
        assert high > 0.0  # where it is none, the side would pass for one without influence


def test_largest_of_several_has_the_slopes_of_all_that_may_be_it():
    x, y, z = variable(0.0, 1.0, 0), variable(0.5, 2.0, 1), variable(-3.0, -2.0, 2)
    assert math.maximum(x, y, z).slopes == {0: (0.0, 1.0), 1: (0.0, 1.0)}
    assert math.minimum(1.0, x * 0.0, z).slopes == {2: (1.0, 1.0)}
    assert math.maximum(1.0, 2.0, z).slopes == {}


def test_a_jump_has_no_bounded_slope():
    x, y = variable(-1.0, 2.0, 0), variable(0.0, 1.0, 1)
    found = math.where(x < 1.0, y, 5.0)
    assert isinstance(x < 1.0, GradientTruth)
    assert (found.value.low, found.value.high) == (0.0, 5.0)
    assert found.slopes == {0: UNBOUNDED, 1: (0.0, 1.0)}
    assert math.where(x < 3.0, y, 5.0) is y
    assert math.where(x < 1.0, 0.0, 1.0).slopes == {0: UNBOUNDED}
    cut = math.atan2(variable(-1.0, 1.0), -2.0)
    assert cut.slopes == {0: UNBOUNDED}
    assert (cut * 0).slopes == {}
    assert (cut * y).slopes[0] == UNBOUNDED


def test_what_may_not_exist_and_what_is_open_know_their_sides():
    x, y = variable(-1.0, 2.0, 3), variable(0.5, 1.0, 7)
    assert (1 / x).sides == {3}
    assert math.log(x * y).sides == {3, 7}
    assert math.table(y, ((0.0, 1.0), (0.7, 2.0))).sides == {7}
    assert isinstance(math.where((1 / x) > 0, y, 0.0), Undefined)
    with pytest.raises(Undecided) as caught:
        bool(x < y)
    assert caught.value.sides == {3, 7}
    with pytest.raises(Undecided) as caught:
        float(y)
    assert caught.value.sides == {7}


@settings(max_examples=300, deadline=None)
@given(formulas.trees, formulas.boxes, st.data())
def test_mean_value_theorem_on_any_formula(tree, box, data):
    arguments = {
        name: seed(Interval(low, high), i)
        for i, (name, (low, high)) in enumerate(zip(formulas.VARIABLES, box, strict=True))
    }
    try:
        found = formulas.value(tree, arguments)
    except (Undecided, ArithmeticError, ValueError):  # the last two: constants on numbers
        return
    if isinstance(found, Undefined):
        return
    if not isinstance(found, Gradient):
        found = Gradient(point(found), {})
    shares = st.tuples(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
    ends = []
    for _ in range(2):
        drawn = data.draw(shares)
        at = {
            name: min(max(low + share * (high - low), low), high)
            for share, name, (low, high) in zip(drawn, formulas.VARIABLES, box, strict=True)
        }
        ends.append((at, formulas.value(tree, at)))
    (p, at_p), (q, at_q) = ends
    assert found.value.low <= at_p <= found.value.high
    low = high = 0.0
    for i, name in enumerate(formulas.VARIABLES):
        step = q[name] - p[name]
        if step and i in found.slopes:
            reach = [slope * step for slope in found.slopes[i]]
            low, high = low + min(reach), high + max(reach)
    spare = 1e-9 * (1.0 + abs(at_p) + abs(at_q))
    assert low - spare <= at_q - at_p <= high + spare
