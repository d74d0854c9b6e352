"""Inputs that act through one value move together in a proof, and nothing else does."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from closeout import math
from closeout.arithmetic.proof import end
from closeout.arithmetic.proof.bound import prove
from closeout.arithmetic.proof.bundles import bundles
from closeout.arithmetic.proof.sides import Sides
from closeout.arithmetic.recorded.replay import formula_of
from tests.arithmetic import formulas

KEY = ("y", None)


def bundled(function, box):
    """Return the groups of a function's arguments, each as a set of names with their directions."""
    middle = {name: 0.5 * (low + high) for name, (low, high) in box.items()}
    formula = formula_of(lambda point: {KEY: function(**point)}, middle, box)
    assert formula is not None
    sides = Sides(box, tuple(box.values()), tuple(middle.values()))
    values = formula.node_values(KEY, sides.gradients(sides.whole))
    return bundles(formula.nodes(KEY), dict(enumerate(values)), tuple(box))


def test_a_product_and_a_share_move_together():
    def function(capacity, fade, drain):
        whole = capacity * (1 - fade)
        return math.sin(drain / whole) - math.cos(whole)

    box = {"capacity": (3.2, 3.4), "fade": (0.02, 0.04), "drain": (0.1, 0.2)}
    assert bundled(function, box) == ({"capacity": True, "fade": False},)


@pytest.mark.parametrize(
    "function",
    [
        lambda a, b, c: math.sin(a * b) + c * a,  # a acts on its own as well
        lambda a, b, c: math.sin(c * math.where(a < b, 1.0, 2.0)),  # a jump
        lambda a, b, c: math.sin(c * (a - 1.5) * (a - 1.5) * b),  # it turns along a
        lambda a, b, c: math.sin(c * (a - b)),  # a difference that may be nearly nothing
    ],
    ids=["twice", "jump", "turns", "cancels"],
)
def test_what_may_not_move_together(function):
    box = {"a": (1.0, 2.0), "b": (1.25, 2.25), "c": (3.0, 4.0)}
    assert bundled(function, box) == ()


def test_the_path_goes_through_the_inputs_and_ends_in_corners():
    names, box, nominal = ("a", "b", "c"), ((1.0, 2.0), (5.0, 7.0), (0.0, 1.0)), (1.25, 7.0, 0.5)
    sides = Sides(names, box, nominal, [{"a": True, "b": False}])
    assert sides.whole == ((0.0, 1.0), (-1.0, 1.0))
    assert sides.inputs((0.5, -1.0)) == (1.0, 7.0, 0.5)
    assert sides.inputs(sides.at_inputs) == nominal
    assert sides.inputs((0.0, 1.0)) == (2.0, 5.0, 0.0)
    values = sides.ranges((0.5, 1 / 3))
    for name, low, high in (("a", 1.25, 0.75), ("b", 7.0, -2.0)):
        exact = low + high / 3
        assert values[name].low <= exact <= values[name].high
        assert values[name].high - values[name].low < 2e-14
    part = sides.gradients(((0.25, 0.75), (-0.5, 0.5)))
    assert (part["a"].value.low, part["a"].value.high) == pytest.approx((1.125, 1.625))
    assert part["a"].slopes[1] == pytest.approx((0.25, 0.75))
    assert part["b"].slopes[1] == pytest.approx((-2.0, 0.0))
    assert part["c"].slopes == {0: (1.0, 1.0)}


def test_an_extreme_along_many_sides_is_found_in_few_parts():
    """The greatest value, 1, is wherever the product is 3: along three sides, and at a kink."""

    def ridge(a, b, c, d):
        product = a * b * c * (1 - d)
        return 1.0 - abs(product - 3.0) * (1.0 + 0.25 * math.sin(product))

    box = {"a": (1.0, 2.0), "b": (1.0, 2.0), "c": (1.0, 2.0), "d": (0.1, 0.2)}
    middle = {name: 0.5 * (low + high) for name, (low, high) in box.items()}
    sides = tuple((name, *ends) for name, ends in box.items())
    found = prove(lambda p: {KEY: ridge(**p)}, middle, sides, [KEY]).proved[KEY]
    assert found.tight
    assert found.high == pytest.approx(1.0, abs=1e-6)
    assert ridge(**{**middle, **dict(found.high_at)}) == found.seen_high


def test_a_decision_that_the_analysis_swallows_is_no_formula():
    def function(a, b):
        try:
            k = 1.0 if a > 0 else 2.0
        except TypeError:
            k = 1.0
        return k * a * b

    assert formula_of(lambda p: {KEY: function(**p)}, {"a": 1.0, "b": 1.0}, ("a", "b")) is None


@settings(max_examples=150, deadline=None)
@given(
    formulas.trees,
    st.tuples(*[st.tuples(st.integers(1, 24), st.integers(1, 24)).map(sorted)] * 4),
    st.sampled_from(["product", "quotient", "sum"]),
)
def test_no_sample_of_any_formula_of_bundles_is_outside(tree, ends, how):
    make = {
        "product": lambda a, b: a * (4.0 + b),
        "quotient": lambda a, b: 2.0 - a / b / 8.0,
        "sum": lambda a, b: 0.5 * a + b,
    }[how]

    def function(a, b, c, d):
        return formulas.value(tree, {"x": make(a, b), "y": make(d, c), "z": make(1.0, 2.0)})

    sides = tuple((name, low / 8, high / 8) for name, (low, high) in zip("abcd", ends, strict=True))
    middle = {name: low + 0.375 * (high - low) for name, low, high in sides}
    before, end.BEFORE_BUNDLES = end.BEFORE_BUNDLES, 0
    try:
        result = prove(lambda p: {KEY: function(**p)}, middle, sides, [KEY], budget=250)
    finally:
        end.BEFORE_BUNDLES = before
    if KEY not in result.proved:
        assert result.unproved[KEY]
        return
    found = result.proved[KEY]
    random = np.random.default_rng(3)
    for i in range(200):
        shares = random.uniform(0, 1, 4) if i % 2 else random.integers(0, 2, 4)
        at = {
            name: min(max(low + float(share) * (high - low), low), high)
            for share, (name, low, high) in zip(shares, sides, strict=True)
        }
        assert found.low <= function(**at) <= found.high


def test_an_inputs_nominal_value_may_be_outside_of_its_range():
    def function(a, b, d):
        product = a * b * d
        return abs(product - 4.455) * (1 + 0.25 * math.sin(2 * product))

    box = (("a", 1.0, 2.0), ("b", 1.0, 2.0), ("d", 1.0, 2.0))
    inputs = {"a": 0.05, "b": 1.5, "d": 5.0}
    found = prove(lambda p: {KEY: function(**p)}, inputs, box, [KEY]).proved[KEY]
    assert found.low <= function(1.65, 1.5, 1.8) <= found.high


def test_a_list_of_points_that_is_used_again():
    def function(a, b):
        curve = [(0.0, 0.0), (1.0, 0.0), (1.405, 0.0), (1.41, 1.0), (1.415, 0.0), (3.0, 0.0)]
        up = math.table(a, curve)
        curve[3] = (1.41, 0.0)
        return up + math.table(b, curve) + 0.5 * b * a

    box = (("a", 1.0, 2.0), ("b", 1.0, 2.0))
    inputs = {"a": 1.5, "b": 1.5}
    found = prove(lambda p: {KEY: function(**p)}, inputs, box, [KEY]).proved[KEY]
    assert found.low <= function(1.41, 2.0) <= found.high


def test_an_analysis_that_is_another_at_its_second_call_is_no_formula():
    """What was recorded is held against what ranges gave before."""
    calls = []

    def function(a, b):
        calls.append(a)
        return a * b if isinstance(a, float) or len(calls) < 30 else a + b

    box = (("a", 1.0, 2.0), ("b", 3.0, 5.0))
    result = prove(lambda p: {KEY: function(**p)}, {"a": 1.5, "b": 4.0}, box, [KEY])
    if KEY in result.proved:
        assert result.proved[KEY].low <= 3.0
        assert result.proved[KEY].high >= 10.0


def test_many_quantities_that_share_their_work_are_evaluated_together():
    keys = [("y", f"{i:02d}") for i in range(60)]

    def evaluate(p):
        a, b = p["a"], p["b"]
        r = math.sin(3 * a * b) * math.cos(a - b) + math.sin(5 * a) / (1 + b)
        return {key: r * (1 + i) for i, key in enumerate(keys)}

    box = (("a", 1.0, 2.0), ("b", 1.0, 2.0))
    result = prove(evaluate, {"a": 1.5, "b": 1.5}, box, keys)
    assert all(result.proved[key].tight for key in keys)
