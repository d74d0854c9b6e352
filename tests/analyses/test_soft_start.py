"""Switch-on: by hand, direction of each input, the march below the closed form, worst corners."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.constants
from scipy.optimize import brentq

from analyses.soft_start import bypass_peak, soft_start, soft_start_waveform
from tests.analyses.declared import Declared, limits

CLOSED, MARCH = Declared(soft_start), Declared(soft_start_waveform)
find, march = CLOSED.find, MARCH.find
STATED = {"cell_temperature": (5.0, 35.0), "battery_voltage": (12.0, 16.8)}  # PWR-060


def test_resistances_by_hand() -> None:
    # 4/2 x 18 mohm at 20 degC, 25 mohm, 58 mohm; 1.5 ohm
    found = find(cell_temperature=20)
    assert found.bypass_resistance == pytest.approx(0.119, rel=1e-12)
    assert found.precharge_resistance == pytest.approx(1.619, rel=1e-12)
    warm = find(cell_temperature=35)
    falls = math.exp(20e3 / scipy.constants.R * (1 / 293.15 - 1 / 308.15))  # law of Arrhenius
    assert warm.bypass_resistance == pytest.approx(0.083 + 0.036 / falls, rel=1e-9)


def test_energy_by_hand() -> None:
    # 220 uF x (16.8 V)^2 / 2 = 31.0464 mJ
    assert find(battery_voltage=16.8).energy_lost == pytest.approx(31.0464e-3, rel=1e-12)
    for ohms in (0.5, 1.5, 5.0):
        assert find(precharge_resistor=ohms).energy_lost == find().energy_lost


def test_current_is_below_what_the_resistance_allows() -> None:
    found = find(battery_voltage=16.8, standby_current=0)
    assert 0.9 * 16.8 / found.precharge_resistance < found.precharge_peak
    assert found.precharge_peak < 16.8 / found.precharge_resistance


def test_stability_is_that_of_the_eigenvalues() -> None:
    """Linearise at the load's point: the ringing grows where the figure is below 1."""
    for power in (30.0, 60.0, 150.0, 300.0):
        found = find(discharge_power=power, input_inductance=100.0)
        R, L, C = found.bypass_resistance, 100e-6, 220e-6
        U = brentq(lambda u, p=power, R=R: 15.6 - R * p / u - u, 8.0, 15.6)
        system = np.array([[-R / L, -1 / L], [1 / C, power / (C * U * U)]])
        grows = np.linalg.eigvals(system).real.max() > 0
        assert grows == (found.load_stability < 1)


def test_the_first_peak_comes_without_ringing() -> None:
    for point in CLOSED.points(40):
        assert CLOSED.function(**point).precharge_damping > 1


@pytest.mark.parametrize(
    ("name", "worse"),
    [
        ("battery_voltage", +1),
        ("cell_pulse_resistance", -1),  # fresh cells
        ("cell_temperature", +1),  # warm cells
        ("harness_resistance", -1),
        ("input_path_resistance", -1),
        ("precharge_resistor", -1),
        ("input_inductance", -1),
        ("saturated_share", -1),  # a core that saturates more
        ("input_capacitance", +1),
        ("standby_current", +1),  # a load that is already on
    ],
)
def test_a_worse_input_raises_the_precharge_peak(name: str, worse: int) -> None:
    low, high = STATED.get(name, CLOSED.box[name])
    good, bad = (low, high) if worse > 0 else (high, low)
    assert find(**{name: bad}).precharge_peak > find(**{name: good}).precharge_peak


@pytest.mark.parametrize(
    ("name", "worse"),
    [
        ("discharge_power", +1),
        ("contact_gap", +1),
        ("saturated_share", -1),
        ("standby_current", +1),
        ("battery_voltage", -1),  # constant power takes more current
    ],
)
def test_a_worse_input_raises_the_peak_of_a_lost_contact(name: str, worse: int) -> None:
    low, high = STATED.get(name, CLOSED.box[name])
    good, bad = (low, high) if worse > 0 else (high, low)
    assert find(**{name: bad}).contact_peak > find(**{name: good}).contact_peak


def test_a_wider_window_of_the_bypass_raises_its_peak_and_its_voltage() -> None:
    circuit = (0.1, 0.12, 2.8e-6, 220e-6)  # A, ohm, H, F
    assert bypass_peak(1.0, *circuit) > bypass_peak(0.6, *circuit)
    assert find(bypass_window=1.0).peak_voltage > find(bypass_window=0.6).peak_voltage


def test_a_lower_trip_leaves_less() -> None:
    apart = find(protection_trip_current=25).trip_margin
    assert find(protection_trip_current=22).trip_margin == pytest.approx(apart - 3)


def test_too_much_standby_load_never_lets_the_bypass_close() -> None:
    assert find().bypass_headroom > 0
    assert find(standby_current=600).bypass_headroom < 0  # 1.6 ohm x 0.6 A is above 0.8 V
    slow = find(standby_current=600).precharge_time
    assert math.isfinite(slow)
    assert slow > 3 * find().precharge_time


def test_precharge_is_over_before_the_load_starts() -> None:
    least = MARCH.box["load_start_delay"][0]
    for point in CLOSED.points(60):
        assert CLOSED.function(**point).precharge_time < least


def test_the_march_is_below_the_closed_form() -> None:
    """At corners and inside, with the load that the march knows: the bound holds, and is near."""
    ratios = []
    for point in MARCH.points(60, seed=5):
        if point["cell_temperature"] > 12:
            point["cell_temperature"] += 15  # up to the 35 degC of the statement
        shared = {name: point[name] for name in CLOSED.values if name in point}
        bound = find(**shared).peak_current
        found = march(**point)
        assert found.peak_current <= bound
        assert found.peak_voltage <= find(**shared).peak_voltage + 0.02
        ratios.append(found.peak_current / bound)
    assert min(ratios) > 0.6


@pytest.mark.parametrize(
    ("name", "worse"),
    [
        ("discharge_power", +1),
        ("battery_voltage", -1),
        ("cell_temperature", -1),  # cold cells
        ("harness_resistance", +1),
        ("input_inductance", +1),
        ("input_capacitance", -1),
        ("reset_voltage", +1),
        ("contact_gap", +1),
    ],
)
def test_a_worse_input_lowers_the_margin_to_the_reset(name: str, worse: int) -> None:
    low, high = STATED.get(name, MARCH.box[name])
    good, bad = (low, high) if worse > 0 else (high, low)
    base = {"battery_voltage": 12.0, "discharge_power": 60.0}
    before, after = (march(**{**base, name: end}).reset_margin for end in (good, bad))
    assert after < before


def test_a_load_that_starts_before_the_precharge_is_over_has_no_margin() -> None:
    assert march(load_start_delay=0.5, battery_voltage=12).reset_margin < 0


def test_limits_are_kept_at_corners() -> None:
    fixed = {"resistance_activation": 23.0, "protection_trip_current": 22.0,
             "cell_temperature": 35.0, "cell_pulse_resistance": 15.0}  # fmt: skip
    sides = ("input_path_resistance", "precharge_resistor", "input_inductance", "saturated_share",
             "input_capacitance", "bypass_window", "discharge_power", "contact_gap")  # fmt: skip
    for requirement, quantity, sign in (
        ("PWR-060", "peak_current", +1), ("PWR-062", "trip_margin", -1),
        ("PWR-064", "peak_voltage", +1),
    ):  # fmt: skip
        _, limit = limits(requirement, quantity)
        for corner in CLOSED.corners(*sides):
            for volts in STATED["battery_voltage"]:
                found = find(**fixed, **corner, battery_voltage=volts, standby_current=200.0)
                assert sign * (limit - getattr(found, quantity)) >= 0
