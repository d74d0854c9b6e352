"""Levels in decibels: references, 10 and 20 log, reference bandwidths, what does not compare."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.measure import UnitError, Units
from closeout.model.amount import read_amount

UNITS = Units()


@pytest.mark.parametrize(
    ("amount", "unit", "number"),
    [
        # Definition of the absolute power level: CCITT B.12 and ITU-R V.574; powers are 10 log.
        ("0 dBm", "dBW", "-30"),
        ("30 dBm", "dBW", "0"),
        ("-3.7 dBW", "dBm", "26.3"),
        ("5 dBm", "dB(mW)", "5"),
        ("5 dBm", "dB(W)", "-25"),
        # Voltage, current and field are 20 log: CCITT B.12, A.1.2.
        ("0 dBV", "dBuV", "120"),
        ("60 dBuV", "dBmV", "0"),
        ("120 dB\u00b5V/m", "dB(V/m)", "0"),
        ("0 dB(A)", "dBuA", "120"),
        ("40 dBuA/m", "dB(A/m)", "-80"),
        ("0 dB(T)", "dBpT", "240"),
        ("60 dBHz", "dB(MHz)", "0"),
        ("10 dBW/m2", "dBm/cm2", "0"),
        ("-228.6 dB(J/K)", "dB(mJ/K)", "-198.6"),
        ("20 dBsm", "dB(m^2)", "20"),
        ("12.5 dB/K", "dB(1/K)", "12.5"),
        ("-144 dBW/m2/4kHz", "dB(W/m^2/4kHz)", "-144"),
        ("-144 dB(W/m2/4 kHz)", "dB(W/m^2/4000 Hz)", "-144"),
        ("-144 dB(W/(m^2 4kHz))", "dB(W/m^2)/4 kHz", "-144"),
        ("-144 dBm/m2/4kHz", "dBW/m2/4kHz", "-174"),
        ("-174 dBm/Hz", "dBW/Hz", "-204"),
        ("0.2 dB/km", "dB/m", "2e-4"),
        ("3 dB/deg", "dB/arcmin", "0.05"),
    ],
)
def test_levels_convert_exactly(amount, unit, number):
    assert UNITS.convert(read_amount(amount), unit) == Fraction(number)


@given(st.floats(min_value=1e-12, max_value=1e9))
def test_levels_are_logarithms_of_what_they_name(watts):
    in_dbw = 10 * math.log10(watts)
    in_dbm = 10 * math.log10(watts / 1e-3)
    converted = UNITS.convert_number(Fraction(in_dbw), "dBW", "dBm")
    assert float(converted) == pytest.approx(in_dbm, abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "other", "shift"),
    [
        # One watt is 60 J/min, one metre a second 3.6 km/h: 10 log and 20 log of that.
        ("dB(W)", "dB(J/min)", 10 * math.log10(60)),
        ("dB(m/s)", "dB(km/h)", 20 * math.log10(3.6)),
    ],
)
def test_references_that_are_no_power_of_ten(unit, other, shift):
    assert float(UNITS.convert_number(Fraction(0), unit, other)) == pytest.approx(shift, abs=1e-12)


@pytest.mark.parametrize("unit", ["dBW", "dBm", "dBi", "dBic", "dBuV", "dB/K", "dB(Hz)", "dBc/Hz"])
def test_a_difference_of_levels_is_in_decibels(unit):
    scale = UNITS.scale(unit)
    assert scale.kind == "level"
    assert scale.difference == UNITS.scale("dB").dimension
    assert scale.dimension != scale.difference


@pytest.mark.parametrize(
    ("amount", "unit", "cure"),
    [
        ("5 dBi", "dBic", "polarisations"),
        ("5 dBic", "dBi", "polarisations"),
        ("5 dB", "dBi", "dB is a difference"),
        ("5 dBi", "dB", "dB is a difference"),
        ("2 W", "dBW", "logarithm"),
        ("3 dBW", "W", "logarithm"),
        ("3 dBW", "dBV", "same reference"),
        ("3 dBW", "J", "write it in J"),
        ("-144 dB(W/m^2/1MHz)", "dB(W/m^2/4kHz)", "same reference bandwidth"),
        ("-144 dB(W/m^2)", "dB(W/m^2/4kHz)", "same reference bandwidth"),
        ("-100 dBm/MHz", "dBm/Hz", "same reference bandwidth"),
        ("-100 dBc/Hz", "dBc", "same reference bandwidth"),
        ("60 dB/Hz", "dBHz", "dBHz"),
        ("3 dB(km)", "dB(m)", "same reference"),
        ("20 degC", "dBm", "dBm"),
    ],
)
def test_levels_that_do_not_compare(amount, unit, cure):
    with pytest.raises(UnitError) as caught:
        UNITS.convert(read_amount(amount), unit)
    assert cure in caught.value.cure


def test_message_states_both_bandwidths():
    with pytest.raises(UnitError) as caught:
        UNITS.convert(read_amount("-144 dB(W/m^2/1MHz)"), "dB(W/m^2/4kHz)")
    assert "1000000 Hz" in caught.value.message
    assert "4000 Hz" in caught.value.message


@pytest.mark.parametrize("unit", ["dB/deg", "dB/km", "dB/m", "dB/month", "dB/(km s)"])
def test_decibels_for_each_linear_unit(unit):
    assert UNITS.scale(unit).kind == "linear"


@pytest.mark.parametrize(
    "text",
    [
        "dB km", "km dB", "W dBW", "1/dB", "W/dB", "dB^2", "dBW^2", "dBi/K", "dBi deg", "dB dB",
        "dB(dB)", "dB(dBW)", "dB(1)", "dB(%)", "dBA", "dBFoo", "dB(foo)", "dB(degC)",
        "dB/degC", "dB(4kHz)", "dB(W/4kHz/3kHz)", "dB(W 4kHz)", "dB(W/0Hz)", "dB(W/4)",
        "dBW/m2/4", "dBi/Hz", "dBc/m", "dB(W/(4kHz)^2)",
    ],
)  # fmt: skip
def test_levels_that_are_refused(text):
    with pytest.raises(UnitError) as caught:
        UNITS.scale(text)
    assert caught.value.cure


def test_figure_of_merit_is_no_coefficient_of_temperature():
    """dB/K names G/T, so dB/degC must not be cured to it."""
    with pytest.raises(UnitError) as caught:
        UNITS.scale("dB/degC")
    assert "write dB/K" not in caught.value.cure
