"""Conversion factors against publications and outside libraries; round trips."""

from __future__ import annotations

import math
from fractions import Fraction

import mpmath
import pint
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from closeout.measure import UnitError, Units
from closeout.measure.symbols import PI, SPELLINGS
from closeout.model.amount import read_amount

UNITS = Units()

SI_BROCHURE = "SI Brochure 9th ed., table 8, read in the copy of the National Physical Laboratory"
SI_PREFIX = "SI Brochure 9th ed., table 7, from memory"
SP_811 = "NIST SP 811, appendix B.8, from memory"
IEC_80000_13 = "IEC 80000-13, from memory"

EXACT = [
    ("1 min", "s", "60", SI_BROCHURE),
    ("1 h", "s", "3600", SI_BROCHURE),
    ("1 d", "s", "86400", SI_BROCHURE),
    ("1 L", "m^3", "1e-3", SI_BROCHURE),
    ("1 t", "kg", "1e3", SI_BROCHURE),
    ("1 eV", "J", "1.602176634e-19", SI_BROCHURE),
    ("1 deg", "arcmin", "60", SI_BROCHURE),
    ("1 arcmin", "arcsec", "60", SI_BROCHURE),
    ("1 atm", "Pa", "1.01325e5", SP_811),
    ("1 bar", "Pa", "1e5", SP_811),
    ("1 mbar", "hPa", "1", SP_811),
    ("1 W h", "J", "3.6e3", SP_811),
    ("1 kW h", "J", "3.6e6", SP_811),
    ("1 A h", "C", "3.6e3", SP_811),
    ("1 g0", "m/s^2", "9.80665", SP_811),
    ("1 W/cm^2", "W/m^2", "1e4", SP_811),
    ("36 km/h", "m/s", "10", SP_811 + ": 2.777778 E-01"),
    ("1 kohm", "ohm", "1e3", SI_PREFIX),
    ("1 um", "m", "1e-6", SI_PREFIX),
    ("1 pF", "F", "1e-12", SI_PREFIX),
    ("1 cm^3", "m^3", "1e-6", SI_PREFIX),
    ("1 byte", "bit", "8", IEC_80000_13),
    ("1 KiB", "byte", "1024", IEC_80000_13),
    ("1 GiB", "MiB", "1024", IEC_80000_13),
    ("1 GiB", "B", "1073741824", IEC_80000_13),
    ("1 GB", "B", "1e9", IEC_80000_13),
    ("1 rpm", "deg/s", "6", "definition: a turn is 360 deg"),
    ("1 a", "d", "365.25", "Julian year, IAU"),
    ("1 month", "d", "30.4375", "a twelfth of a Julian year; common practice, no source"),
    ("28 d", "s", "2419200", "closed form"),
    ("1 %", "1", "0.01", "SI Brochure 9th ed., 5.4.7, from memory"),
    ("1 ppm", "%", "1e-4", "SI Brochure 9th ed., 5.4.7, from memory"),
    ("1 Gy", "m^2/s^2", "1", "SI Brochure 9th ed., table 4, from memory"),
    ("0.4 g0^2/Hz", "m^2/s^3", "38.468153689", "0.4 x 9.80665 squared, by hand"),
]


@pytest.mark.parametrize(("amount", "unit", "number", "source"), EXACT)
def test_exact_factors(amount, unit, number, source):
    assert UNITS.convert(read_amount(amount), unit) == Fraction(number), source


@pytest.mark.parametrize(
    ("amount", "unit", "printed"),
    [
        ("1 deg", "rad", 1.745329e-02),
        ("1 arcmin", "rad", 2.908882e-04),
        ("1 arcsec", "rad", 4.848137e-06),
        ("1 rpm", "rad/s", 1.047198e-01),
        ("1 turn", "rad", 6.283185),
    ],
)
def test_angles_as_printed(amount, unit, printed):
    """NIST SP 811, appendix B.8 (from memory), seven digits."""
    assert UNITS.nearest(read_amount(amount), unit) == pytest.approx(printed, rel=5e-7)


def test_pi_has_the_digits_of_mpmath():
    with mpmath.workdps(80):
        assert abs(mpmath.mpf(PI) - mpmath.pi) < mpmath.mpf(10) ** -64
    assert UNITS.nearest(read_amount("180 deg"), "rad") == math.pi


@pytest.mark.parametrize(
    ("unit", "base", "value"),
    [
        ("atm", "Pa", scipy.constants.atm),
        ("bar", "Pa", scipy.constants.bar),
        ("eV", "J", scipy.constants.eV),
        ("g0", "m/s^2", scipy.constants.g),
        ("h", "s", scipy.constants.hour),
        ("d", "s", scipy.constants.day),
        ("a", "s", scipy.constants.Julian_year),
        ("L", "m^3", scipy.constants.liter),
        ("arcsec", "rad", scipy.constants.arcsec),
        ("GiB", "B", scipy.constants.gibi),
    ],
)
def test_factors_of_scipy(unit, base, value):
    assert UNITS.nearest(read_amount(f"1 {unit}"), base) == pytest.approx(value, rel=1e-15)


# Names in the registry that pint ships, where our symbol is another one there.
SHIPPED = {
    "%": "percent",
    "deg": "degree",
    "mdeg": "millidegree",
    "marcsec": "milliarcsecond",
    "g0": "standard_gravity",
    "mg0": "millistandard_gravity",
    "ug0": "microstandard_gravity",
    "a": "julian_year",
}
# No unit there, or none that its registry keeps apart from a plain number.
OURS = {"symbol", "count", "dB", "bit", "byte", "B"}


def test_every_symbol_against_the_definitions_that_pint_ships():
    registry = pint.UnitRegistry()
    compared = {text for text, factor in SPELLINGS.items() if factor.symbol.text not in OURS}
    assert len(compared) > 120
    for text in compared:
        theirs = registry.Quantity(1.0, SHIPPED.get(text, text)).to_base_units().magnitude
        assert float(UNITS.scale(text).factor) == pytest.approx(theirs, rel=1e-12), text


@pytest.mark.parametrize(
    ("amount", "unit", "cure"),
    [
        ("3 A h", "W h", "charge"),
        ("52 W", "W h", "energy"),
        ("14 g", "g0", "standard gravity"),
        ("0.1 g", "m/s^2", "standard gravity"),
        ("20 C", "degC", "coulomb"),
        ("9600 bit/s", "Hz", "bit, symbol and cycle"),
        ("9600 bit/s", "symbol/s", "bit, symbol and cycle"),
        ("9600 symbol/s", "Hz", "bit, symbol and cycle"),
        ("3 count", "1", "count"),
        ("3 count/s", "Hz", "bit, symbol and cycle"),
        ("45 deg", "1", "angle"),
        ("1 rpm", "Hz", "turning"),
        ("52", "W h", "write 52 W h"),
        ("52 W h", "", "plain number"),
        ("1 MiB", "MHz", "MHz"),
        ("3 km", "kg", "mass"),
        ("5 dB", "%", "logarithm"),
    ],
)
def test_units_that_do_not_compare(amount, unit, cure):
    with pytest.raises(UnitError) as caught:
        UNITS.convert(read_amount(amount), unit)
    assert cure in caught.value.cure
    assert read_amount(amount).unit in caught.value.message
    assert unit in caught.value.message


def test_mismatch_names_units_and_dimensions():
    with pytest.raises(UnitError) as caught:
        UNITS.convert(read_amount("52 W"), "W h")
    assert caught.value.message == (
        "wrong dimension in '52 W': power is given, energy or torque in 'W h' expected"
    )


def test_gram_and_gravity_never_meet():
    assert UNITS.scale("g0^2/Hz").dimension == "length^2 time^-3"
    assert "mass" in UNITS.scale("g").dimension
    assert UNITS.convert(read_amount("1 mg0"), "um/s^2") == Fraction("9806.65")


def test_number_with_degree_is_read_apart():
    """``Quantity("20 degC")`` raises in pint; here number and unit are read apart."""
    assert UNITS.convert(read_amount("20 degC"), "K") == Fraction("293.15")
    assert UNITS.convert(read_amount("3 dB"), "dB") == 3


@pytest.mark.parametrize(
    ("amount", "unit", "number"),
    [
        # NIST SP 811 B.8, from memory: T/K = t/degC + 273.15, t/degC = (t/degF - 32)/1.8.
        ("0 degC", "K", "273.15"),
        ("273.15 K", "degC", "0"),
        ("32 degF", "degC", "0"),
        ("212 degF", "degC", "100"),
        ("-40 degC", "degF", "-40"),
        ("-40 mK", "K", "-0.04"),
        ("0 K", "degF", "-459.67"),
    ],
)
def test_points_of_temperature(amount, unit, number):
    assert UNITS.convert(read_amount(amount), unit) == Fraction(number)


def test_one_rounding_only():
    """0.1 in a decimal text meets the double 0.1, through any decimal prefix."""
    assert UNITS.nearest(read_amount("100 mA"), "A") == 0.1
    assert UNITS.nearest(read_amount("0.1 kW h"), "W h") == 100.0
    assert UNITS.nearest(read_amount("0.3 %"), "1") == 0.003
    assert UNITS.nearest(read_amount("3 month"), "month") == 3.0


def test_number_beyond_the_doubles():
    with pytest.raises(UnitError, match="too large"):
        UNITS.nearest(read_amount("9e300 GiB"), "bit")


NUMBERS = st.fractions(min_value=-(10**12), max_value=10**12, max_denominator=10**12)
FAMILIES = [
    ["W h", "J", "kJ", "eV", "N m", "kW s"],
    ["uA", "A", "mA", "C/s", "A h/d"],
    ["degC", "K", "degF", "mK"],
    ["deg", "rad", "turn", "arcsec"],
    ["%/month", "1/d", "1/s", "Hz", "ppm/h"],
    ["dBW", "dBm", "dB(kW)", "dB(uW)"],
    ["dB/km", "dB/m", "dB/mm"],
    ["GiB", "GB", "bit", "byte"],
]
PAIRS = st.sampled_from(FAMILIES).flatmap(
    lambda family: st.tuples(st.sampled_from(family), st.sampled_from(family))
)


@given(NUMBERS, PAIRS)
def test_round_trip_is_exact(number, pair):
    one, other = pair
    there = UNITS.convert_number(number, one, other)
    assert UNITS.convert_number(there, other, one) == number


@given(NUMBERS, NUMBERS, PAIRS)
def test_conversion_keeps_the_order(low, high, pair):
    one, other = pair
    converted = [UNITS.convert_number(number, one, other) for number in (low, high)]
    assert (low < high) == (converted[0] < converted[1])


@given(NUMBERS, st.sampled_from(FAMILIES).flatmap(lambda f: st.permutations(f)))
def test_conversion_in_two_steps_is_that_in_one(number, family):
    one, between, other = family[:3]
    step = UNITS.convert_number(number, one, between)
    assert UNITS.convert_number(step, between, other) == UNITS.convert_number(number, one, other)
