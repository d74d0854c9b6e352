"""What is shown agrees with what was decided, for every pair of doubles."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from closeout.model.difference_unit import difference_unit
from closeout.model.probability import probability_text
from closeout.render.numbers import (
    number,
    show,
    show_beside,
    show_extent,
    show_margin,
)

finite = st.floats(allow_nan=False, allow_infinity=False)


@st.composite
def neighbours(draw: st.DrawFn) -> tuple[float, float]:
    """Two doubles, often only a few steps apart."""
    limit = draw(st.one_of(finite, st.integers(-1000, 1000).map(float), st.just(9999.9999999)))
    step = draw(st.sampled_from([0.0, 1e-16, -1e-16, 1e-9, -1e-9, 1e-4, -1e-4]))
    value = draw(
        st.one_of(
            finite,
            st.just(limit + limit * step),
            st.just(math.nextafter(limit, math.inf)),
            st.just(math.nextafter(limit, -math.inf)),
        )
    )
    assume(math.isfinite(value))
    return value, limit


def sign(left: Fraction | float, right: Fraction | float) -> int:
    return (left > right) - (left < right)


@given(neighbours())
@example((51.9999996, 52.0))
@example((0.1 + 0.2, 0.3))
@example((9999.9999999, 10000.0))
@example((9999999.6, 1e7))
@example((-0.0, 0.0))
@example((5e-324, 0.0))
def test_the_shown_comparison_is_the_true_one(pair: tuple[float, float]) -> None:
    value, limit = pair
    (shown,), (bound,) = show_beside([value], [limit])
    left, right = Fraction(shown), Fraction(bound)
    assert sign(left, right) == sign(value, limit)


@given(st.lists(finite, max_size=3), st.lists(finite, max_size=2))
def test_every_value_is_on_its_side_of_every_limit(
    values: list[float], limits: list[float]
) -> None:
    shown, bounds = show_beside(values, limits)
    for value, left in zip(values, shown, strict=True):
        for limit, right in zip(limits, bounds, strict=True):
            assert sign(Fraction(left), Fraction(right)) == sign(value, limit)


@given(finite, finite)
def test_texts_keep_the_order_of_numbers(left: float, right: float) -> None:
    low, high = sorted((left, right))
    assert Fraction(number(low)) <= Fraction(number(high))


@given(finite)
def test_a_shown_number_is_near_the_true_one(value: float) -> None:
    assert abs(Fraction(number(value)) - Fraction(value)) <= abs(Fraction(value)) / 2000 + Fraction(
        5e-324
    )


@given(finite)
@example(-0.004)
@example(5e-324)
@example(-1e-300)
def test_a_margin_keeps_its_sign_and_is_zero_only_when_it_is(margin: float) -> None:
    text = show_margin(margin, None)
    assert text.startswith("+") == (margin > 0)
    assert text.startswith("-") == (margin < 0)
    assert sign(Fraction(text), 0) == sign(margin, 0.0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (show(63.2, "W h"), "63.2 W h"),
        (show(63.21448, "W h"), "63.21 W h"),
        (show(12345.6, "Pa"), "12346 Pa"),
        (show(9999.6, "Pa"), "10000 Pa"),
        (show(1.2345e9, "Hz"), "1.234e9 Hz"),
        (show(3.2e-7, "A"), "3.2e-7 A"),
        (show(0.25, "1"), "0.25"),
        (show(12.5, "%"), "12.5 %"),
        (show(-0.0, "V"), "0 V"),
        (show(math.inf, "V"), "infinite V"),
        (show_margin(-0.004, "dB"), "-0.004 dB"),
        (show_margin(3.1234, "W h"), "+3.12 W h"),
        (show_margin(-0.0, "dB"), "0 dB"),
        (show_margin(-math.inf, "dB"), "-infinite dB"),
    ],
)
def test_form(text: str, expected: str) -> None:
    assert text == expected


def test_a_value_that_misses_its_limit_is_not_shown_as_the_limit() -> None:
    assert show_beside([51.9999996], [52.0]) == (("51.9999996",), ("52",))
    assert show_beside([52.0], [52.0]) == (("52",), ("52",))
    assert show_beside([math.inf], [52.0]) == (("infinite",), ("52",))


@pytest.mark.parametrize(
    ("unit", "difference"),
    # A difference of two levels is a ratio in dB, of two Celsius temperatures a number of kelvin
    # (ISO 80000-5, 5-2, for the temperature; common practice, no source, for levels).
    [
        ("degC", "K"),
        ("dBW", "dB"),
        ("dBi", "dB"),
        ("dB/K", "dB"),
        ("dB(W/m^2)", "dB"),
        ("dB/deg", "dB/deg"),
        ("W h", "W h"),
        (None, None),
    ],
)
def test_unit_of_a_margin(unit: str | None, difference: str | None) -> None:
    assert difference_unit(unit) == difference


@given(finite, finite, finite)
@example(2245.0, 2244.99, 2245.01)
def test_ends_that_differ_are_shown_as_different(value: float, low: float, high: float) -> None:
    shown = show_extent(value, low, high, None)
    numbers = (value, low, high)
    for left, text in zip(numbers, shown, strict=True):
        for right, other in zip(numbers, shown, strict=True):
            assert (left == right) == (text == other)


@pytest.mark.parametrize(
    ("value", "beside", "text"),
    [
        (0.99, None, "0.99"),
        (0.9999999, None, "0.9999999"),
        (1.0, None, "1"),
        (0.0, None, "0"),
        (1.0 - 2.0**-53, None, "0.9999999999999999"),
        (0.989999999, 0.99, "0.989999999"),
        (0.9999683287581669, None, "0.9999683"),
        (1.0 - 3.518e-6, None, "0.99999648"),
        (0.95, 0.95, "0.95"),
        (1e-7, None, "1e-07"),
    ],
)
def test_a_probability_is_shown_on_its_side_of_one_and_of_what_is_required(value, beside, text):
    assert probability_text(value, beside) == text


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_no_probability_is_shown_across_another(value, beside):
    shown = float(probability_text(value, beside))
    assert (shown < beside, shown > beside) == (value < beside, value > beside)
    assert (shown == 1.0) == (value == 1.0)
