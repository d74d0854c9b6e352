"""Where a criterion just fails, against closed forms; each edge is evaluated again."""

import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from closeout import absent
from closeout.arithmetic.proof.search import answer
from closeout.arithmetic.study.break_even import boundary, break_even, worst_corner
from closeout.arithmetic.types import Key
from closeout.model.answer import Bounds
from closeout.model.study import BreakEven

X = ("x", None)


def single(formula: Any) -> Any:
    return lambda point: {X: formula(**point)}


def holds(evaluate: Any, point: Mapping[str, float], limits: Any) -> bool:
    at_least, at_most = limits.at_least, limits.at_most
    x = evaluate(point)[X]
    return (at_least is None or x >= at_least) and (at_most is None or x <= at_most)


def one(found: tuple[BreakEven, ...], name: str, direction: str) -> BreakEven:
    (edge,) = [e for e in found if (e.parameter, e.direction) == (name, direction)]
    return edge


def test_linear_margin_at_nominal_and_at_worst() -> None:
    # x = 10 + a - 2b >= 8, tolerances 1: at nominal a = -2, b = 1; with the other at its worst
    # a = 0 and b = 0.5. Closed form.
    evaluate = single(lambda a, b: 10.0 + a - 2.0 * b)
    inputs, box = {"a": 0.0, "b": 0.0}, (("a", -1.0, 1.0), ("b", -1.0, 1.0))
    limits = Bounds(8.0)
    found = break_even(evaluate, inputs, box, X, limits)
    assert [(e.parameter, e.direction) for e in found] == [("b", "above"), ("a", "below")]
    # To the last digit: 10 - 2b still rounds to 8 one digit beyond 1.
    assert [e.value for e in found] == pytest.approx([1.0, -2.0], rel=1e-15)
    assert [e.tolerances for e in found] == pytest.approx([1.0, 2.0], rel=1e-15)
    corner = worst_corner(answer(evaluate, inputs, box).extents[X], limits)
    assert dict(corner) == {"a": -1.0, "b": 1.0}
    worst = break_even(evaluate, inputs, box, X, limits, corner)
    assert one(worst, "b", "above").value == pytest.approx(0.5, rel=1e-14)
    assert one(worst, "a", "below").value == pytest.approx(0.0, abs=1e-14)
    assert {e.other_inputs for e in worst} == {"worst"}


def test_the_corner_that_is_worst_of_two_limits() -> None:
    evaluate = single(lambda a: a)
    extent = answer(evaluate, {"a": 0.0}, (("a", -1.0, 2.0),)).extents[X]
    assert worst_corner(extent, Bounds(-5.0, 3.0)) == (("a", 2.0),)
    assert worst_corner(extent, Bounds(-1.5, 9.0)) == (("a", -1.0),)
    assert worst_corner(answer(evaluate, {"a": 0.0}, ()).extents[X], Bounds(0.0, None)) == ()


@settings(max_examples=200, deadline=None)
@given(
    st.floats(0.5, 50.0), st.floats(0.01, 0.3), st.floats(0.05, 0.95), st.sampled_from(
        [lambda x: x, lambda x: x**3, math.log, math.sqrt, lambda x: -x,
         lambda x: -math.exp(-0.1 * x)])
)  # fmt: skip
def test_at_the_edge_it_holds_and_at_the_next_number_it_does_not(
    at: float, width: float, share: float, formula: Any
) -> None:
    edge = at * (1.0 + (share - 0.5))
    limits = Bounds(formula(edge), None)
    evaluate = single(lambda a: formula(a))
    box = (("a", at * (1.0 - width), at * (1.0 + width)),)
    (found,) = break_even(evaluate, {"a": at}, box, X, limits)
    assert found.value is not None
    assert found.monotone
    assert found.holds == holds(evaluate, {"a": at}, limits)
    assert holds(evaluate, {"a": found.value}, limits)
    outwards = {math.nextafter(found.value, end) for end in (-math.inf, math.inf)}
    near_zero = {found.value - 1e-15 * at * width, found.value + 1e-15 * at * width}
    assert not all(holds(evaluate, {"a": a}, limits) for a in outwards | near_zero)
    assert found.value == pytest.approx(edge, rel=1e-12)


def test_against_the_root_finder_of_scipy() -> None:
    def formula(a: float) -> float:
        return math.exp(-a) - 0.2 * a

    root = brentq(lambda a: formula(a) - 0.05, 0.0, 5.0, xtol=1e-15, rtol=1e-15)
    (found,) = break_even(single(formula), {"a": 0.5}, (("a", 0.4, 0.6),), X, Bounds(0.05, None))
    assert found.value == pytest.approx(root, rel=1e-14)
    assert found.tolerances == pytest.approx((root - 0.5) / 0.1, rel=1e-12)


def test_an_edge_at_zero_ends_quickly() -> None:
    count = 0

    def evaluate(point: Mapping[str, float]) -> dict[Any, float]:
        nonlocal count
        count += 1
        return {X: point["a"] ** 3}

    (found,) = break_even(evaluate, {"a": 1.0}, (("a", 0.5, 1.5),), X, Bounds(0.0, None))
    assert found.value == pytest.approx(0.0, abs=1e-5)
    assert count < 250


def test_a_criterion_of_two_limits_has_an_edge_on_each_side() -> None:
    found = break_even(single(lambda a: a * a), {"a": 2.0}, (("a", 1.9, 2.2),), X, Bounds(1.0, 9.0))
    assert {(e.direction, e.value) for e in found} == {("above", 3.0), ("below", 1.0)}
    assert one(found, "a", "above").tolerances == pytest.approx(5.0)
    assert one(found, "a", "below").tolerances == pytest.approx(10.0)


def test_the_nearest_edge_of_several_and_that_it_is_not_monotone() -> None:
    evaluate = single(lambda a: math.sin(a))
    found = break_even(evaluate, {"a": 0.5}, (("a", 0.0, 1.0),), X, Bounds(0.0, None))
    assert one(found, "a", "below").value == pytest.approx(0.0, abs=1e-15)
    assert one(found, "a", "above").value == pytest.approx(math.pi, rel=1e-15)
    assert not found[0].monotone


def test_a_criterion_that_fails_gets_the_nearest_value_at_which_it_holds() -> None:
    (found,) = break_even(single(lambda a: a), {"a": 1.0}, (("a", 0.0, 2.0),), X, Bounds(5.0, None))
    assert (found.holds, found.value, found.direction) == (False, 5.0, "above")


def test_a_parameter_without_tolerance_is_searched_too() -> None:
    (found,) = break_even(single(lambda a: 100.0 - a), {"a": 28.0}, (), X, Bounds(10.0, None))
    assert (found.value, found.tolerances) == (90.0, None)


def test_none_is_reported_with_how_far_was_searched() -> None:
    evaluate = single(lambda a, b: a + 0.0 * b)
    inputs, box = {"a": 1.0, "b": 0.0}, (("a", 0.9, 1.1), ("b", -1.0, 1.0))
    found = break_even(evaluate, inputs, box, X, Bounds(0.5, None), reach=100.0)
    last = found[-1]
    assert (last.parameter, last.value, last.direction) == ("b", None, "neither")
    assert last.reason == "no break-even: up to 100 and down to -100"


def test_the_end_of_the_domain_is_no_edge_but_what_lies_before_it_is_found() -> None:
    def formula(a: float) -> float:
        return math.sqrt(1.0 - a)  # no value above 1

    box = (("a", -0.6, 0.6),)
    (found,) = break_even(single(formula), {"a": 0.0}, box, X, Bounds(0.1, None))
    assert found.value == pytest.approx(0.99, rel=1e-14)
    (none,) = break_even(single(formula), {"a": 0.0}, box, X, Bounds(-1.0, None))
    assert none.reason is not None
    assert "up to 1, beyond which the analysis has no value" in none.reason


def test_a_case_that_becomes_absent_fails_there() -> None:
    evaluate = single(lambda a: 1.0 if a <= 2.25 else absent("never rises"))
    (found,) = break_even(evaluate, {"a": 1.0}, (("a", 0.0, 2.0),), X, Bounds(0.0, None))
    assert (found.value, found.direction) == (2.25, "above")


def test_an_analysis_without_value_at_the_worst_corner_says_so() -> None:
    evaluate = single(lambda a, b: 1.0 / b + a)
    found = break_even(evaluate, {"a": 1.0, "b": 1.0}, (), X, Bounds(0.0, None), (("b", 0.0),))
    (at_a,) = [e for e in found if e.parameter == "a"]
    assert at_a.reason == "the analysis has no value where the search begins"


# --- the edge between two -------------------------------------------------------------------------


def test_a_circle_closes() -> None:
    evaluate = single(lambda a, b: a * a + b * b)
    box = (("a", -1.0, 1.0), ("b", -1.0, 1.0))
    (line,) = boundary(evaluate, {"a": 0.0, "b": 0.0}, box, X, Bounds(None, 4.0), "a", "b")
    assert line[0] == line[-1]
    assert len(line) == 181
    for a, b in line:
        assert math.hypot(a, b) == pytest.approx(2.0, rel=1e-8)
        assert a * a + b * b <= 4.0 * (1.0 + 1e-12)


def test_a_straight_edge_in_units_of_the_tolerances() -> None:
    evaluate = single(lambda a, b, c: 10.0 - a - b / 100.0 + c)
    inputs = {"a": 0.0, "b": 0.0, "c": 0.0}
    box = (("a", -1.0, 1.0), ("b", -100.0, 100.0), ("c", -1.0, 1.0))
    (line,) = boundary(evaluate, inputs, box, X, Bounds(8.0, None), "a", "b", (("c", -1.0),))
    assert all(a + b / 100.0 == pytest.approx(1.0, abs=1e-7) for a, b in line)
    assert max(a for a, _ in line) > 2.5
    assert max(b for _, b in line) > 250.0


def test_two_limits_are_two_lines_and_none_is_none() -> None:
    evaluate = single(lambda a, b: a + 0.0 * b)
    box = (("a", -1.0, 1.0), ("b", -1.0, 1.0))
    inputs = {"a": 0.0, "b": 0.0}
    lines = boundary(evaluate, inputs, box, X, Bounds(-1.0, 1.0), "a", "b")
    assert sorted(round(line[0][0]) for line in lines) == [-1, 1]
    assert boundary(evaluate, inputs, box, X, Bounds(-9.0, 9.0), "a", "b") == ()


def test_nothing_is_looked_at_where_the_criterion_is_known_to_hold() -> None:
    # x = a at a = 5 +/- 1 and x >= 0: it turns at 0, five tolerances below.
    seen: list[float] = []

    def evaluate(point: Mapping[str, float]) -> dict[Key, float]:
        seen.append(point["a"])
        return {X: point["a"]}

    inputs, box = {"a": 5.0}, (("a", 4.0, 6.0),)
    (usual,) = break_even(evaluate, inputs, box, X, Bounds(0.0))
    usually = len(seen)
    seen.clear()
    (met_everywhere,) = break_even(evaluate, inputs, box, X, Bounds(0.0), met_everywhere=True)
    assert met_everywhere == usual
    assert met_everywhere.value == 0.0
    assert [x for x in seen if 4.0 < x < 6.0] == [5.0]
    assert len(seen) < usually
