"""Energy, converters and path: pint, SciPy's roots and constants, and published examples."""

from __future__ import annotations

import pint
import pytest
import scipy.constants
from scipy.optimize import brentq

from analyses.physics.energy_budget import battery_power, converter_input, energy

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("watts", "minutes"), [(8.5, 11.5), (26.4, 48.0), (13.2, 43.67), (0.4, 30.0), (60.0, 0.5)]
)
def test_energy_in_watt_hours_as_pint_has_it(watts: float, minutes: float) -> None:
    expected = (UNITS.Quantity(watts, "W") * UNITS.Quantity(minutes, "min")).to("W h").magnitude
    assert energy(watts, minutes) == pytest.approx(expected, rel=1e-14)


def test_a_watt_hour_in_joules_and_in_british_thermal_units() -> None:
    """scipy.constants: hour, Btu (international table); printed: 3412.14 Btu/kWh (from memory)."""
    joules = energy(1000.0, 60.0) * scipy.constants.hour
    assert joules == pytest.approx(3.6e6, rel=1e-15)  # NIST SP 811, appendix B.8
    assert joules / scipy.constants.Btu_IT == pytest.approx(3412.14, abs=5e-3)


def test_battery_of_a_small_satellite_as_published() -> None:
    """Wertz and Larson, Space Mission Analysis and Design, 3rd edition, chapter 11.4 (from memory).

    FireSat: 110 W in an eclipse of 35.3 min, 90 % from battery to load, three batteries, 20 % depth
    of discharge: 119 W h each, 4.5 A h on a bus of 26.4 V.
    """
    taken = energy(converter_input(110.0, 0.90, 0.0), 35.3)
    each = taken / 3 / 0.20
    assert each == pytest.approx(119.0, abs=1.0)
    assert each / 26.4 == pytest.approx(4.5, abs=0.05)


@pytest.mark.parametrize(
    ("watts", "ohms", "volts"),
    [(11.9, 0.1, 12.0), (26.4, 0.05, 12.0), (50.0, 0.30, 12.0), (30.0, 0.08, 16.8)],
)
def test_path_as_a_root_finder_has_it(watts: float, ohms: float, volts: float) -> None:
    """scipy.optimize.brentq of (U - I R) I = P below the current of most power, U/(2 R)."""
    current = brentq(
        lambda i: (volts - i * ohms) * i - watts, 0.0, volts / (2 * ohms), xtol=1e-14, rtol=1e-14
    )
    assert battery_power(watts, ohms, volts) == pytest.approx(volts * current, rel=1e-12)


def test_most_power_comes_at_half_of_the_efficiency() -> None:
    """Maximum power transfer (Jacobi 1840; any text): U^2/(4 R) arrives, as much is lost."""
    assert battery_power(360.0, 0.1, 12.0) == pytest.approx(720.0, rel=1e-7)
    with pytest.raises(ValueError, match=r"."):
        battery_power(361.0, 0.1, 12.0)
