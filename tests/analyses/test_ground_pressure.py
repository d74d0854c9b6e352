"""The distance from a false wake-up on the ground, against the standard atmosphere."""

from __future__ import annotations

import pytest

from analyses.ground_pressure import ground_pressure
from analyses.pressure_threshold_timing import pressure_threshold_timing

CALM = {
    "sea_level_pressure": 1013.25,
    "temperature_offset": 0.0,
    "pad_geometric_altitude": 0.0,
    "ground_pressure_drop": 0.0,
    "cabin_pressure": 75.0,
    "pressure_threshold": 55.0,
    "pressure_sensor_error": 0.0,
}


def test_on_a_standard_day() -> None:
    # U.S. Standard Atmosphere 1976: 101 325 Pa at sea level, 89 876.285 Pa at 1 km (geometric).
    at_sea = ground_pressure(**CALM)
    assert at_sea.ground_margin == pytest.approx(101.325 - 55.0, rel=1e-12)
    assert at_sea.transport_margin == 20.0
    high = ground_pressure(**{**CALM, "pad_geometric_altitude": 1000.0})
    assert high.pad_pressure == pytest.approx(89.876285, rel=1e-8)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("sea_level_pressure", 800.0),
        ("pad_geometric_altitude", 60.0),
        ("ground_pressure_drop", 1.0),
        ("pressure_threshold", 56.0),
        ("pressure_sensor_error", -0.9),
    ],
)
def test_each_of_these_brings_the_ground_nearer_to_the_threshold(name: str, value: float) -> None:
    worse = ground_pressure(**{**CALM, name: value})
    assert worse.ground_margin < ground_pressure(**CALM).ground_margin


def test_cold_air_is_denser_and_thins_faster_with_height() -> None:
    above = {**CALM, "pad_geometric_altitude": 60.0}
    cold = ground_pressure(**{**above, "temperature_offset": -25.0})
    assert cold.ground_margin < ground_pressure(**above).ground_margin


def test_the_march_says_the_same() -> None:
    said = {**CALM, "pad_geometric_altitude": 30.0, "ground_pressure_drop": 1.0}
    launcher = {
        "lift_off_mass": 25_000.0, "vacuum_thrust": 400.0, "vacuum_specific_impulse": 290.0,
        "nozzle_exit_area": 0.6, "drag_reference_area": 2.5, "pitch_start_time": 8.0,
        "pitch_rate": 0.4, "vent_pressure_coefficient": 0.0, "vent_time_constant": 0.3,
        "acceleration_threshold": 1.0, "trigger_sampling_period": 0.1, "trigger_samples": 5.0,
        "camera_start_time": 5.0, "computer_restart_time": 5.0, "fairing_release_time": 150.0,
    }  # fmt: skip
    marched = pressure_threshold_timing(**said, **launcher)
    closed = ground_pressure(**said)
    assert marched.ground_margin == closed.ground_margin
    assert marched.transport_margin == closed.transport_margin
