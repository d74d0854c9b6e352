"""When the aneroid switch closes: published altitudes reached by SciPy, step, directions."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp

from analyses import aneroid_closing as module
from analyses.aneroid_closing import aneroid_closing
from tests.analyses.declared import Declared

OWN = Declared(aneroid_closing)
# A rocket without air, upright, light: 1 000 kg under 20 kN in vacuum, which burns next to nothing.
SIMPLE = {
    "lift_off_mass": 1000.0, "vacuum_thrust": 20.0, "vacuum_specific_impulse": 1e7,
    "nozzle_exit_area": 0.0, "drag_reference_area": 0.0, "pitch_rate": 0.0,
    "pad_geometric_altitude": 0.0, "sea_level_pressure": 1013.25, "temperature_offset": 0.0,
    "vent_pressure_coefficient": 0.0, "vent_time_constant": 1e-3,
}  # fmt: skip


@pytest.mark.parametrize(
    ("pressure", "altitude"), [(40.0, 7193.568), (20.0, 11805.934)]
)  # U.S. Standard Atmosphere 1976, by the library fluids 1.3.1: geometric altitudes in m
def test_it_closes_at_the_altitude_of_the_standard_atmosphere(
    pressure: float, altitude: float
) -> None:
    """20 m/s2 less gravity, by SciPy: when such a body is at the published altitude."""
    reached = solve_ivp(
        lambda _, y: [y[1], 20.0 - 9.80665 * (6356766.0 / (6356766.0 + y[0])) ** 2],
        (0, 100), [0.0, 0.0], events=lambda _, y: y[0] - altitude, rtol=1e-10, atol=1e-8,
    ).t_events[0][0]  # fmt: skip
    found = OWN.find(**SIMPLE, aneroid_closing_pressure=pressure).closing_time
    assert found == pytest.approx(reached, abs=0.02)


def test_half_the_step_moves_it_by_milliseconds(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = OWN.find().closing_time
    monkeypatch.setattr(module, "STEP", module.STEP / 2)
    assert OWN.find().closing_time == pytest.approx(whole, abs=0.005)


@pytest.mark.parametrize(
    ("name", "sign"),
    [
        ("aneroid_closing_pressure", -1), ("sea_level_pressure", +1), ("lift_off_mass", +1),
        ("vacuum_thrust", -1), ("vent_time_constant", +1), ("vent_pressure_coefficient", +1),
        ("temperature_offset", +1),
    ],
)  # fmt: skip
def test_directions(name: str, sign: int) -> None:
    """S: a switch at a higher pressure, a cold day of low pressure, a fast ascent: it is early."""
    low, high = (OWN.find(**{name: end}).closing_time for end in OWN.box[name])
    assert math.copysign(1, high - low) == sign
