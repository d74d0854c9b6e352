"""Levels of emission against published conversions and limits, and against quadrature."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
import scipy.constants
from scipy.integrate import quad

from analyses.physics import emission

MILLIWATT = -30.0  # dBm to dBW


# --- field of an EIRP -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dbm", "distance", "field", "digits"),
    [
        # 3roam.com, calculators of dBm and dBuV/m at 3 m: worked examples
        (-10.0, 3.0, 85.2, 0.05),
        (-40.2, 3.0, 55.0, 0.05),
        (-51.7, 3.0, 43.5, 0.05),
        # FCC: E(dBuV/m) = EIRP(dBm) + 95.2 at 3 m (KDB 412172, from memory)
        (0.0, 3.0, 95.2, 0.05),
        # -41.3 dBm/MHz and 500 uV/m at 3 m (47 CFR 15.209) are one limit: 53.98 dBuV/m
        (-41.3, 3.0, 20 * math.log10(500), 0.1),
        # E(dBuV/m) = 104.77 + EIRP(dBW) - 20 log d(km) - 30: broadcast practice in kW and km
        (60.0, 1000.0, 104.77, 0.01),
        # a half-wave dipole of 1 W (2.15 dBi) at 1 m: 7.02 V/m (any text on antennas)
        (32.15, 1.0, 20 * math.log10(7.016e6), 0.01),
    ],
)
def test_field(dbm: float, distance: float, field: float, digits: float) -> None:
    assert emission.field_of_eirp(dbm + MILLIWATT, distance) == pytest.approx(field, abs=digits)


def test_field_from_flux_density() -> None:
    """E^2 / Z0 is the flux density, with Z0 by CODATA (376.73 ohm) in place of 120 pi."""
    flux = 1.0 / (4 * math.pi)
    z0 = scipy.constants.mu_0 * scipy.constants.c
    expected = 20 * math.log10(math.sqrt(flux * z0) * 1e6)
    assert emission.field_of_eirp(0.0, 1.0) == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize(
    ("measured", "wanted", "fall"),
    [(3.0, 10.0, 10.46), (1.0, 3.0, 9.54), (1.0, 10.0, 20.0), (3.0, 30.0, 20.0)],
)
def test_distance(measured: float, wanted: float, fall: float) -> None:
    """10.46 dB from 3 m to 10 m (CISPR and FCC practice), 9.54 dB from 1 m to 3 m."""
    found = emission.at_distance(54.0, measured, wanted)
    assert found == pytest.approx(54.0 - fall, abs=5e-3)


def test_near_field() -> None:
    """lambda/(2 pi): 1 m at 47.7 MHz (any text on compatibility)."""
    assert emission.near_field_end(47.71) == pytest.approx(1.0, rel=1e-3)


# 47 CFR 15.209, at 3 m, uV/m and what is printed in dBuV/m.
@pytest.mark.parametrize(("field", "level"), [(100, 40.0), (150, 43.5), (200, 46.0), (500, 54.0)])
def test_a_field_is_twenty_log(field: float, level: float) -> None:
    """Ten log would halve it: amplitude levels and power levels are kept apart."""
    assert emission.amplitude_sum([0.0] * field) == pytest.approx(level, abs=0.05)
    assert emission.power_sum([0.0] * field) == pytest.approx(level / 2, abs=0.05)


# --- sums -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("levels", "amplitude", "power"),
    [
        ([40.0], 40.0, 40.0),
        ([40.0, 40.0], 46.02, 43.01),  # any text: 6 dB and 3 dB
        ([40.0, 30.0], 42.39, 40.41),  # 1 + 10^-0.5 = 1.3162; 1.1
        ([20.0, 20.0, 20.0, 20.0], 32.04, 26.02),  # 12 dB and 6 dB
        ([50.0, 20.0], 50.27, 50.00),
    ],
)
def test_sums(levels: list[float], amplitude: float, power: float) -> None:
    assert emission.amplitude_sum(levels) == pytest.approx(amplitude, abs=5e-3)
    assert emission.power_sum(levels) == pytest.approx(power, abs=5e-3)
    assert emission.amplitude_sum(levels) >= emission.power_sum(levels) - 1e-12


# --- bandwidth and detector -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measured", "wanted", "character", "rise"),
    [
        (10.0, 100.0, "noise", 10.0), (10.0, 100.0, "pulses", 20.0), (10.0, 100.0, "line", 0.0),
        (9.0, 120.0, "noise", 11.25),  # CISPR 16-1-1 bandwidths of bands B and C/D
        (9.0, 120.0, "pulses", 22.50),
        (100.0, 10.0, "noise", 0.0), (100.0, 10.0, "pulses", 0.0),  # never lowered
    ],
)  # fmt: skip
def test_bandwidth(measured: float, wanted: float, character: str, rise: float) -> None:
    found = emission.bandwidth_rise(measured, wanted, character)
    assert found == pytest.approx(rise, abs=5e-3)


def test_an_unknown_character_is_refused() -> None:
    with pytest.raises(ValueError, match="'hum' is no character"):
        emission.bandwidth_rise(1.0, 10.0, "hum")


def test_detectors_rank_as_cispr_has_them() -> None:
    """CISPR 16-1-1 (from memory): peak >= quasi-peak >= average."""
    order = sorted(emission.STRENGTH, key=lambda name: emission.STRENGTH[name])
    assert order == ["average", "quasi-peak", "peak"]


# --- masks ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("frequency", "limit"), [(100.0, 24.0), (1000.0, 44.0), (10_000.0, 64.0), (18_000.0, 69.1)]
)
def test_mask_of_a_standard(frequency: float, limit: float) -> None:
    """MIL-STD-461G RE102, aircraft external and space (from memory): 24 dBuV/m at 100 MHz, 20 dB a
    decade up to 69 dBuV/m at 18 GHz."""
    found = emission.limit_at(frequency, (100.0, 24.0), (18_000.0, 69.1055))
    assert found == pytest.approx(limit, abs=0.05)


def test_mask_that_falls() -> None:
    """CISPR 32, class B, mains, quasi-peak (from memory): 66 dBuV at 0.15 MHz to 56 at 0.5 MHz,
    with the logarithm: 60 dBuV at 0.3083 MHz."""
    middle = 0.15 * (0.5 / 0.15) ** 0.6
    assert emission.limit_at(middle, (0.15, 66.0), (0.5, 56.0)) == pytest.approx(60.0, abs=1e-9)
    assert emission.limit_at(0.15, (0.15, 66.0), (0.5, 56.0)) == 66.0
    assert emission.limit_at(0.5, (0.15, 66.0), (0.5, 56.0)) == pytest.approx(56.0)


# --- occupied bandwidth ---------------------------------------------------------------------------


@pytest.mark.parametrize("roll_off", [0.20, 0.25, 0.35])
def test_occupied_bandwidth_holds_the_power(roll_off: float) -> None:
    """ETSI EN 302 307-1 has these roll-offs. All power lies inside (1 + a) Rs, 99 % well inside."""

    def power(half: float) -> float:
        breaks = [0.0, (1 - roll_off) * 2.5, (1 + roll_off) * 2.5]
        edges = [min(x, half) for x in breaks]
        return 2 * sum(
            quad(lambda f: emission.raised_cosine(f, 5.0, roll_off), low, high)[0]
            for low, high in pairwise(edges)
        )

    whole = emission.shaped_bandwidth(5.0, roll_off)
    assert whole == pytest.approx(5.0 * (1 + roll_off), rel=1e-15)
    assert power(whole) == pytest.approx(5.0, rel=1e-9)  # the area of a raised cosine is Rs
    assert power(whole / 2) == pytest.approx(5.0, rel=1e-9)
    narrower = whole - 0.4 * roll_off * 5.0
    assert power(narrower / 2) > 0.99 * 5.0


def test_raised_cosine_is_half_at_half_the_symbol_rate() -> None:
    assert emission.raised_cosine(2.5, 5.0, 0.2) == pytest.approx(0.5, rel=1e-12)
    assert emission.raised_cosine(-2.5, 5.0, 0.2) == pytest.approx(0.5, rel=1e-12)
    assert emission.raised_cosine(3.01, 5.0, 0.2) == 0.0
