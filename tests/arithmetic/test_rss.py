"""Root sum square beside the extreme value, on cases whose closed form is derived here."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest

from closeout import absent
from closeout.arithmetic.rss import NotIndependent, rss
from closeout.arithmetic.search import OtherCases, answer

R = ("ratio", None)


def divider(point: Mapping[str, float]) -> dict[tuple[str, str | None], float]:
    upper, lower = point["upper"], point["lower"]
    return {R: lower / (upper + lower)}


def test_divider_of_two_equal_resistors() -> None:
    """Two of 10 kohm, 1 %, ratio r = L/(U + L) = 1/2.

    Extreme value: 1.01/(1.01 + 0.99) = 0.505 and 0.99/2 = 0.495, so +-0.005. Root sum square: one
    resistor from end to end moves r by (1.01/2.01 - 0.99/1.99)/2 = 0.01/(2.01 * 1.99), the other
    by as much the other way, so +-sqrt(2) * 0.01/3.9999 = 0.0035357. At its worst corner the linear
    model says 1/2 + 2 * 0.01/3.9999, the divider 0.505.
    """
    inputs, t = {"upper": 10.0, "lower": 10.0}, 0.01 * 10.0
    box = (("upper", 10.0 - t, 10.0 + t), ("lower", 10.0 - t, 10.0 + t))
    one = 0.01 / 3.9999
    found = rss(divider, inputs, box)[R]
    assert found.low is not None
    assert found.high is not None
    for end, sign in ((found.low, -1.0), (found.high, 1.0)):
        assert end.half_width == pytest.approx(math.sqrt(2.0) * one, rel=1e-9)
        assert end.bound == pytest.approx(0.5 + sign * math.sqrt(2.0) * one, rel=1e-12)
        assert end.predicted == pytest.approx(0.5 + sign * 2.0 * one, rel=1e-12)
        assert end.actual == pytest.approx(0.5 + sign * 0.005, rel=1e-12)
        assert end.error == pytest.approx(sign * (0.005 - 2.0 * one), rel=1e-6)
    assert dict(found.high.corner) == {"upper": 9.9, "lower": 10.1}
    assert dict(found.contributions) == pytest.approx({"upper": -one, "lower": one}, rel=1e-9)
    extreme = answer(divider, inputs, box).extents[R]
    assert (extreme.low, extreme.high) == pytest.approx((0.495, 0.505), rel=1e-12)


def test_divider_of_unequal_resistors() -> None:
    """90 and 10 kohm, 1 %: extreme value 10.1/(89.1 + 10.1) and 9.9/(90.9 + 9.9).

    Each end of one resistor by hand: r(90.9, 10) = 10/100.9, and so on.
    """
    inputs = {"upper": 90.0, "lower": 10.0}
    box = (("upper", 89.1, 90.9), ("lower", 9.9, 10.1))
    found = rss(divider, inputs, box)[R]
    by_upper = (10 / 100.9 - 10 / 99.1) / 2
    by_lower = (10.1 / 100.1 - 9.9 / 99.9) / 2
    assert found.high is not None
    assert found.high.half_width == pytest.approx(math.hypot(by_upper, by_lower), rel=1e-9)
    assert found.high.actual == pytest.approx(10.1 / 99.2, rel=1e-12)
    assert found.high.error == pytest.approx(10.1 / 99.2 - 0.1 + by_upper - by_lower, rel=1e-6)


def test_a_linear_quantity_has_no_error_and_is_the_root_of_the_squares() -> None:
    """3 a - 4 b with tolerances of 1 and 1: 5."""
    y = ("y", None)
    box = (("a", 1.0, 3.0), ("b", 4.0, 6.0))
    found = rss(lambda p: {y: 3.0 * p["a"] - 4.0 * p["b"]}, {"a": 2.0, "b": 5.0}, box)[y]
    assert found.low is not None
    assert found.high is not None
    assert (found.low.bound, found.value, found.high.bound) == (-19.0, -14.0, -9.0)
    assert found.low.error == found.high.error == 0.0
    assert (found.low.actual, found.high.actual) == (-21.0, -7.0)


def test_an_asymmetric_range_takes_the_distance_of_each_side() -> None:
    """3 a + 4 b; a in 2 - 1 + 4, b in 5 - 2 + 0: low sqrt(3^2 + 8^2), high 12."""
    y = ("y", None)
    box = (("a", 1.0, 6.0), ("b", 3.0, 5.0))
    found = rss(lambda p: {y: 3.0 * p["a"] + 4.0 * p["b"]}, {"a": 2.0, "b": 5.0}, box)[y]
    assert found.low is not None
    assert found.high is not None
    assert found.low.half_width == pytest.approx(math.sqrt(73.0))
    assert found.high.half_width == pytest.approx(12.0)


def test_what_a_straight_line_does_not_see_is_shown() -> None:
    """x^2 about 0 from -1 to 1: the chord is flat, the end is 1 above it."""
    y = ("y", None)
    found = rss(lambda p: {y: p["x"] ** 2}, {"x": 0.0}, (("x", -1.0, 1.0),))[y]
    assert found.high is not None
    assert found.high.half_width == 0.0
    assert found.high.error == 1.0


def test_parameters_of_one_group_are_refused() -> None:
    inputs = {"upper": 10.0, "lower": 10.0}
    box = (("upper", 9.0, 11.0), ("lower", 9.0, 11.0))
    with pytest.raises(NotIndependent, match=r"upper, lower \(network\)"):
        rss(divider, inputs, box, {"upper": "network", "lower": "network"})
    rss(divider, inputs, box, {"upper": "network", "lower": "other"})


def test_without_a_box_both_ends_are_the_value() -> None:
    found = rss(divider, {"upper": 10.0, "lower": 10.0}, (("upper", 10.0, 10.0),))[R]
    assert found.low is not None
    assert found.high is not None
    assert found.low.bound == found.high.bound == 0.5
    assert found.contributions == ()


def test_absent_and_other_cases() -> None:
    def rises(point: Mapping[str, float]) -> dict[tuple[str, str | None], Any]:
        return {("rise", "a"): point["x"], ("rise", "b"): absent("never rises")}

    found = rss(rises, {"x": 1.0}, (("x", 0.0, 2.0),))
    assert found["rise", "b"] == (None, None, None, (), "never rises")
    assert found["rise", "a"].value == 1.0

    def cases(point: Mapping[str, float]) -> dict[tuple[str, str | None], Any]:
        return {("rise", "hot" if point["x"] > 1.0 else "cold"): 1.0}

    with pytest.raises(OtherCases, match=r"cold.*hot"):
        rss(cases, {"x": 1.0}, (("x", 0.0, 2.0),))
