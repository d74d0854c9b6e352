"""A source under constant power, against the laws that its formulas come from and SciPy's roots."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from analyses.physics.source_under_load import (
    discharge_efficiency,
    regulator_input_current,
    source_voltage_at,
    terminal_voltage,
)

voltages = st.floats(6, 60)
resistances = st.floats(0.001, 0.3)
powers = st.floats(0.1, 25)


def test_worked_by_hand() -> None:
    # 13 V behind 0.2 ohm give 12 V at 5 A, which is 60 W: 13 - 5 x 0.2 = 12.
    assert source_voltage_at(12, 0.2, 60) == pytest.approx(13, rel=1e-15)
    assert terminal_voltage(13, 0.2, 60) == pytest.approx(12, rel=1e-15)
    assert discharge_efficiency(12, 0.2, 60) == pytest.approx(12 / 13, rel=1e-15)


@given(voltages, resistances, powers)
def test_kirchhoff_and_power_hold(source: float, resistance: float, power: float) -> None:
    terminal = terminal_voltage(source, resistance, power)
    assert source - power / terminal * resistance == pytest.approx(terminal, rel=1e-9)
    assert source_voltage_at(terminal, resistance, power) == pytest.approx(source, rel=1e-9)
    assert discharge_efficiency(terminal, resistance, power) == pytest.approx(
        terminal / source, rel=1e-9
    )


def test_upper_root_is_the_one_a_root_finder_finds() -> None:
    found = brentq(lambda u: u * (16 - u) / 0.25 - 60, 8, 16, xtol=1e-13)
    assert terminal_voltage(16, 0.25, 60) == pytest.approx(found, rel=1e-12)


def test_maximum_power_is_at_half_the_voltage() -> None:
    # Maximum power transfer (Jacobi): E^2 / (4 R).
    assert terminal_voltage(16, 0.25, 256) == 8
    with pytest.raises(ValueError, match=r"."):
        terminal_voltage(16, 0.25, 257)


@given(voltages, st.floats(0.1, 10), resistances, powers)
def test_efficiency_falls_with_the_voltage(
    source: float, fall: float, resistance: float, power: float
) -> None:
    before = terminal_voltage(source + fall, resistance, power)
    after = terminal_voltage(source, resistance, power)
    assert discharge_efficiency(after, resistance, power) < discharge_efficiency(
        before, resistance, power
    )


def test_regulator_takes_constant_power() -> None:
    # 3.3 V x 95 uA = 313.5 uW out; at 80 % 391.875 uW in: 32.65625 uA at 12 V, 24.4921875 at 16 V.
    assert regulator_input_current(3.3, 95, 0.8, 12) == pytest.approx(32.65625, rel=1e-14)
    assert regulator_input_current(3.3, 95, 0.8, 16) == pytest.approx(24.4921875, rel=1e-14)


@given(st.floats(6, 60), st.floats(0.1, 20))
def test_regulator_draws_more_as_the_voltage_falls(voltage: float, fall: float) -> None:
    low = regulator_input_current(3.3, 95, 0.8, voltage)
    assert low > regulator_input_current(3.3, 95, 0.8, voltage + fall)
