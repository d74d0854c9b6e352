"""Root sum square beside the extreme value, on cases whose closed form is derived here."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest

from closeout import absent
from closeout.arithmetic.chance import linearised
from closeout.arithmetic.chance.rss import NotIndependent, rss
from closeout.arithmetic.proof.search import OtherCases, answer
from closeout.model.answer import Assurance

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


def test_absent_and_other_cases() -> None:
    def rises(point: Mapping[str, float]) -> dict[tuple[str, str | None], Any]:
        return {("rise", "a"): point["x"], ("rise", "b"): absent("never rises")}

    found = rss(rises, {"x": 1.0}, (("x", 0.0, 2.0),))
    assert found["rise", "b"] == (None, None, None, "never rises")
    assert found["rise", "a"].value == 1.0

    def cases(point: Mapping[str, float]) -> dict[tuple[str, str | None], Any]:
        return {("rise", "hot" if point["x"] > 1.0 else "cold"): 1.0}

    with pytest.raises(OtherCases, match=r"cold.*hot"):
        rss(cases, {"x": 1.0}, (("x", 0.0, 2.0),))


# How far straight lines are off.


def extent_of(formula: Any, unit: str = "W", **box: tuple[float, float]) -> Any:
    """Return the extent of one quantity by root sum square, about the middle of its box."""
    y = ("y", None)
    middle = {name: 0.5 * (low + high) for name, (low, high) in box.items()}
    found = linearised.answer(
        lambda point: {y: formula(**point)},
        middle,
        tuple((name, *ends) for name, ends in box.items()),
        {"groups": {}, "sides": [], "added": [], "reach": {}, "units": {"y": unit}},
    )
    assert found.assurance is Assurance.LINEARISED
    return found.extents[y]


def saddle(a: Any, b: Any) -> Any:
    """12 (a/5)^2 - 12 (b/5)^2: over 0 +/- 2 from -1.92 to 1.92, and flat along both chords."""
    return 12.0 * (a / 5.0) * (a / 5.0) - 12.0 * (b / 5.0) * (b / 5.0)


def on_numbers(formula: Any) -> Any:
    """Return a formula that no range is let through, as a library's function."""
    return lambda **point: formula(**{name: float(value) for name, value in point.items()})


def test_what_two_parameters_hide_from_one_corner_is_seen_by_the_proved_extremes() -> None:
    """At (2, 2) both halves cancel; the extremes are at (2, 0) and (0, 2), by hand."""
    found = extent_of(saddle, a=(-2.0, 2.0), b=(-2.0, 2.0))
    assert (found.low, found.high) == (0.0, 0.0)
    assert found.off == pytest.approx(1.92, rel=1e-6)
    assert found.unproved == ("linearisation error up to 1.92 W (against the proved extremes)")


def test_without_a_proof_each_parameter_is_looked_at_alone() -> None:
    found = extent_of(on_numbers(saddle), a=(-2.0, 2.0), b=(-2.0, 2.0))
    assert found.off == pytest.approx(1.92, rel=1e-12)
    assert "error up to 1.92 W (checked at the worst corner" in found.unproved
    assert "nothing is proved: " in found.unproved


@pytest.mark.parametrize(
    ("formula", "least"),
    [
        # Both ends are level and the slope is not: x^3 - x over [-1, 1] reaches 2/(3 sqrt 3).
        (lambda x: x * x * x - x, 0.384),
        # The extreme is inside, where the ends and the slope at the inputs see nothing of it.
        (lambda x: math.cos(3.0 * x), 0.9),
        # A kink at the inputs: |x| is 1 at both ends.
        (lambda x: abs(x), 1.0),
    ],
)  # fmt: skip
def test_each_end_the_middle_and_the_slope_are_looked_at(formula: Any, least: float) -> None:
    assert extent_of(on_numbers(formula), x=(-1.0, 1.0)).off >= least


def test_a_straight_line_is_off_by_nothing_with_and_without_a_proof() -> None:
    for formula in (lambda a, b: 3.0 * a - 4.0 * b, on_numbers(lambda a, b: 3.0 * a - 4.0 * b)):
        found = extent_of(formula, a=(1.0, 3.0), b=(4.0, 6.0))
        assert found.off == pytest.approx(0.0, abs=1e-12)


def test_a_product_is_off_at_its_corner() -> None:
    """a b about (2, 3) by 0.2 and 0.1: 2.2 x 3.1 = 6.82, straight lines say 6 + 0.6 + 0.2."""
    for formula in (lambda a, b: a * b, on_numbers(lambda a, b: a * b)):
        found = extent_of(formula, unit="degC", a=(1.8, 2.2), b=(2.9, 3.1))
        assert found.off == pytest.approx(0.02, rel=1e-6)
        assert found.unproved.startswith("linearisation error up to 0.02 K (")


def test_how_far_is_rounded_up_where_it_is_shown() -> None:
    found = extent_of(lambda x: x * x, x=(-0.11111, 0.11111))
    assert found.off == pytest.approx(0.0123454, rel=1e-5)
    assert "linearisation error up to 0.0124 W" in found.unproved
