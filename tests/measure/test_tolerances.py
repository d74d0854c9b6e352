"""Tolerances, withins and uncertainties: differences, shares of the value, and refusals.

The rules are the project's own: a tolerance of a level is a difference, a percentage is of the
value. Expected numbers are worked by hand.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.measure import UnitError, Units
from closeout.model.amount import read_amount

UNITS = Units()


def half_width(text: str, unit: str, of: str) -> Fraction:
    return UNITS.convert_difference(read_amount(text), unit, Fraction(of))


@pytest.mark.parametrize(
    ("text", "unit", "of", "expected"),
    [
        ("10 uA", "mA", "0.095", "0.01"),
        ("10 %", "W h", "52", "5.2"),
        ("10 %", "W h", "-52", "5.2"),
        ("20 ppm", "MHz", "2245", "0.0449"),
        ("1 %", "W h", "0", "0"),
        ("2 K", "degC", "20", "2"),
        ("2 K", "K", "293", "2"),
        ("2 K", "degF", "68", "3.6"),
        ("500 mK", "degC", "20", "0.5"),
        ("1 dB", "dBW", "10", "1"),
        ("1 dB", "dBm", "40", "1"),
        ("0.4 dB", "dBi", "5", "0.4"),
        ("0.4 dB", "dB(W/m^2/4kHz)", "-144", "0.4"),
        ("0.4 dB", "dB/K", "12", "0.4"),
        ("0.4 dB", "dB", "3", "0.4"),
        ("10 %", "dB/km", "0.2", "0.02"),
        ("1 h", "d", "28", "1/24"),
        # The value is a plain number: a percentage is of the value.
        ("1 %", "1", "0.9", "0.009"),
        ("1 %", "", "0.9", "0.009"),
        ("0.01", "1", "0.9", "0.01"),
        # The value is in % itself: percentage points. Another ratio is a share, a number is not.
        ("1 %", "%", "90", "1"),
        ("0.01", "%", "90", "1"),
        ("10 ppm", "%", "90", "0.0009"),
        ("5 ppm", "ppm", "20", "5"),
        ("10 %", "ppm", "20", "2"),
        ("10 %", "%/month", "2", "0.2"),
        ("0.1 %/month", "%/month", "2", "0.1"),
    ],
)
def test_half_widths(text, unit, of, expected):
    assert half_width(text, unit, of) == Fraction(expected)


@pytest.mark.parametrize(
    ("text", "unit", "cure"),
    [
        ("2 degC", "degC", "write 2 K"),
        ("2.5 \u00b0C", "degC", "write 2.5 K"),
        ("2 degC", "K", "write 2 K"),
        ("1 dBW", "dBW", "write 1 dB"),
        ("1 dBi", "dBi", "write 1 dB"),
        ("1 dBm", "dBW", "write 1 dB"),
        ("9 degF", "degF", "5/9 K"),
        ("10 %", "dBi", "in dB"),
        ("5 %", "dB", "in dB"),
        ("10 %", "degC", "in K"),
        ("10 ppm", "dBm", "in dB"),
        ("1 K", "dBW", "in dB"),
        ("1 dB", "degC", "in K"),
        ("1 W", "dBW", "in dB"),
        ("0.5", "W h", "W h"),
        ("1 W", "W h", "energy"),
    ],
)
def test_tolerances_that_are_refused(text, unit, cure):
    with pytest.raises(UnitError) as caught:
        half_width(text, unit, "20")
    assert cure in caught.value.cure


@pytest.mark.parametrize(
    ("value", "tolerance", "unit", "expected"),
    [
        ("90 %", "1 %", "1", "0.01"),
        ("0.9", "1 %", "%", "0.9"),
        ("95 uA", "10 %", "mA", "0.0095"),
        ("20 degC", "2 K", "K", "2"),
        ("20 degC", "2 K", "degF", "3.6"),
        ("40 dBm", "1 dB", "dBW", "1"),
    ],
)
def test_a_tolerance_is_read_against_the_value_as_written(value, tolerance, unit, expected):
    found = UNITS.tolerance(read_amount(value), read_amount(tolerance), unit)
    assert found == Fraction(expected)


def test_a_tolerance_of_a_value_in_a_unit_that_does_not_compare():
    with pytest.raises(UnitError):
        UNITS.tolerance(read_amount("95 uA"), read_amount("10 %"), "W h")


PLAIN = st.fractions(min_value=-(10**6), max_value=10**6, max_denominator=10**6)


@given(PLAIN, PLAIN, st.sampled_from([("degC", "K"), ("dBm", "dB"), ("W h", "W h"), ("degF", "K")]))
def test_a_tolerance_is_the_difference_of_two_values(one, two, units):
    """The ends of a range and the tolerance that gives the same range agree."""
    point, difference = units
    base = {"degC": "K", "dBm": "dBW", "W h": "J", "degF": "K"}[point]
    ends = [UNITS.convert_number(number, point, base) for number in (one, one + two)]
    factor = UNITS.scale(point).factor if point == "degF" else Fraction(1)
    half = UNITS.convert_number(two * factor, difference, difference)
    if base == "J":
        half = UNITS.convert_number(half, "W h", "J")
    assert ends[1] - ends[0] == half
