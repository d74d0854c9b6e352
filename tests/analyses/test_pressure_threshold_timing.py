"""Wake-up in the ascent: closed forms, the direction of every effect, worst corners.

The figures of the launcher are the invented ones of the demonstration mission.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from analyses.physics.ascent import Moment, fly
from analyses.physics.standard_atmosphere import STANDARD, geometric_altitude_of, profile
from analyses.physics.vented_compartment import follow, local_pressure
from analyses.pressure_threshold_timing import (
    ThresholdTiming,
    launcher,
    passages,
    pressure_threshold_timing,
    wake_times,
)

NOMINAL: dict[str, float] = {
    "sea_level_pressure": 1013.25,
    "temperature_offset": 0.0,
    "pad_geometric_altitude": 60.0,
    "ground_pressure_drop": 1.0,
    "cabin_pressure": 75.0,
    "lift_off_mass": 20_000.0,
    "vacuum_thrust": 370.0,
    "vacuum_specific_impulse": 295.0,
    "nozzle_exit_area": 0.7,
    "drag_reference_area": 2.0,
    "pitch_start_time": 10.0,
    "pitch_rate": 0.5,
    "vent_pressure_coefficient": 0.0,
    "vent_time_constant": 0.5,
    "pressure_threshold": 55.0,
    "pressure_sensor_error": 0.0,
    "acceleration_threshold": 1.25,
    "trigger_sampling_period": 0.5,
    "trigger_samples": 5.0,
    "camera_start_time": 22.0,
    "computer_restart_time": 15.0,
    "fairing_release_time": 170.0,
}
# The side of each effect that wakes late; the other side wakes early.
LATE: dict[str, tuple[float, float]] = {  # (early end, late end)
    "sea_level_pressure": (960.0, 1045.0),
    "temperature_offset": (-25.0, 25.0),
    "lift_off_mass": (19_740.0, 20_260.0),
    "vacuum_thrust": (381.1, 358.9),
    "vent_pressure_coefficient": (-0.15, 0.10),
    "vent_time_constant": (0.1, 2.0),
    "pressure_sensor_error": (-1.5, 1.5),
    "trigger_sampling_period": (0.475, 0.525),
}


def timing(**changed: float) -> ThresholdTiming:
    """Return the answer with some inputs changed."""
    assert changed.keys() <= NOMINAL.keys()
    return pressure_threshold_timing(**(NOMINAL | changed))


STILL = timing()


def nominal_flight(step: float = 0.25, **changed: float) -> list[Moment]:
    """Return the flight of the nominal launcher on the standard day."""
    x = NOMINAL | changed
    vehicle = launcher(
        x["lift_off_mass"], x["vacuum_thrust"], x["vacuum_specific_impulse"],
        x["nozzle_exit_area"], x["drag_reference_area"], x["pitch_start_time"], x["pitch_rate"],
    )  # fmt: skip
    return fly(vehicle, STANDARD, x["pad_geometric_altitude"], 100.0, step)


# The compartment --------------------------------------------------------------------------------


@pytest.mark.parametrize("time_constant", [0.05, 0.5, 2.0, 30.0])
@pytest.mark.parametrize("step", [0.1, 0.25, 1.0])
def test_lag_behind_a_ramp(time_constant: float, step: float) -> None:
    """First-order response to a ramp: p0 + r (t - tau (1 - exp(-t/tau))), any text on control."""
    times = [step * i for i in range(41)]
    inside = follow(times, [1e5 - 1800.0 * t for t in times], time_constant)
    for t, p in zip(times, inside, strict=True):
        lag = time_constant * (1.0 - math.exp(-t / time_constant))
        assert p == pytest.approx(1e5 - 1800.0 * (t - lag), rel=1e-12)


def test_lag_behind_the_ascent_by_scipy() -> None:
    flight = nominal_flight()
    times, outside = [x.time for x in flight], [x.pressure for x in flight]

    def rate(t: float, p: Any) -> Any:
        i = min(int(t / 0.25), len(times) - 2)
        share = t / 0.25 - i
        return (outside[i] + share * (outside[i + 1] - outside[i]) - p) / 1.2

    end = solve_ivp(rate, (0.0, 50.0), [outside[0]], rtol=1e-9, atol=1e-6, max_step=0.25).y[0, -1]
    assert follow(times, outside, 1.2)[200] == pytest.approx(end, abs=0.05)


def test_no_lag_and_no_negative_lag() -> None:
    assert follow([0.0, 1.0], [5.0, 3.0], 0.0) == [5.0, 3.0]
    with pytest.raises(ValueError, match="below zero"):
        follow([0.0, 1.0], [5.0, 3.0], -1.0)


def test_pressure_coefficient_by_its_definition() -> None:
    """A stagnation point in incompressible flow has coefficient 1: p + q (Bernoulli)."""
    assert local_pressure(55e3, 35e3, 1.0) == 90e3
    assert local_pressure(55e3, 35e3, -0.1) == pytest.approx(51.5e3)


def orifice(flight: list[Moment], volume: float, area: float) -> float:
    """Return when a compartment behind a sharp orifice passes 55 kPa, by scipy.

    Isentropic nozzle flow with a discharge coefficient of 0.6, choked below the critical ratio
    (any text on compressible flow). The air inside stays at 288 K, because the walls warm it; air
    that cooled would fall in pressure sooner.
    """
    step, temperature, gas, gamma = 0.25, 288.15, 287.053, 1.4

    def flow(p: float, outside: float) -> float:
        if p <= outside:
            return 0.0
        r = max(outside / p, (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))
        root = r ** (2.0 / gamma) - r ** ((gamma + 1.0) / gamma)
        constant = 2.0 * gamma / ((gamma - 1.0) * gas * temperature)
        return 0.6 * area * p * math.sqrt(constant * root)

    def rate(t: float, y: Any) -> list[float]:
        i = min(int(t / step), len(flight) - 2)
        share = t / step - i
        outside = flight[i].pressure + share * (flight[i + 1].pressure - flight[i].pressure)
        return [-gas * temperature / volume * flow(float(y[0]), outside)]

    def passes(t: float, y: Any) -> float:
        return float(y[0]) - 55e3

    passes.terminal = True  # type: ignore[attr-defined]
    done = solve_ivp(
        rate, (0.0, 60.0), [flight[0].pressure], method="LSODA", events=passes,
        rtol=1e-7, atol=1e-3, max_step=0.1,
    )  # fmt: skip
    return float(done.t_events[0][0])


@pytest.mark.parametrize(
    ("volume", "area"),
    [
        (6.0, 0.020),  # invented bay under the fairing, m3 and m2 of vents
        (6.0, 0.007),  # a third of its vents open
        (3e-3, 4e-6),  # invented housing of the recorder, filter at a tenth of its area
    ],
)
def test_declared_time_constants_enclose_an_orifice(volume: float, area: float) -> None:
    """The first-order lag with 2.0 s is later than real vents, with 0 s it is earlier."""
    flight = nominal_flight()
    times, outside = [x.time for x in flight], [x.pressure for x in flight]
    prompt, late = (passages(times, follow(times, outside, tau), 55e3)[1] for tau in (0.0, 2.0))
    assert prompt - 1e-3 <= orifice(flight, volume, area) < late


# Passage and confirmation -----------------------------------------------------------------------


def test_passage_of_a_level() -> None:
    times = [0.0, 1.0, 2.0, 3.0]
    assert passages(times, [10.0, 8.0, 4.0, 2.0], 5.0) == (1.75, 1.75)
    # A pressure that comes back: the first passage counts for early, the last one for late.
    assert passages(times, [10.0, 4.0, 8.0, 2.0], 5.0) == (5.0 / 6.0, 2.5)
    # Low from the start is a wake-up on the ground.
    assert passages(times, [4.0, 3.0, 2.0, 1.0], 5.0) == (0.0, 0.0)
    assert passages(times, [4.0, 6.0, 4.0, 1.0], 5.0) == (0.0, 1.5)
    with pytest.raises(ValueError, match="never passes 5 Pa; choose a higher threshold"):
        passages(times, [10.0, 9.0, 8.0, 7.0], 5.0)


@given(
    crossing=st.floats(20.0, 60.0),
    phase=st.floats(0.0, 1.0, exclude_max=True),
    period=st.floats(0.05, 2.0),
    samples=st.integers(1, 10),
)
def test_wake_times_enclose_every_phase(
    crossing: float, phase: float, period: float, samples: int
) -> None:
    """Counting samples one by one, from any phase, stays within the two ends."""
    low, taken = 0, phase * period
    while True:
        low = low + 1 if taken > crossing else 0
        if low == samples:
            break
        taken += period
    earliest, latest = wake_times(crossing, crossing, period, samples)
    assert earliest - 1e-9 <= taken <= latest + 1e-9


def test_ends_of_the_phase_are_reached() -> None:
    earliest, latest = wake_times(30.0, 30.0, 0.5, 5)
    assert (earliest, latest) == (32.0, 32.5)


# The whole answer -------------------------------------------------------------------------------


def test_without_disturbance_it_is_the_standard_altitude() -> None:
    """Still air at 55 kPa: 4 868.94 m geometric, by inversion of the standard (test beside)."""
    prompt = timing(vent_time_constant=0.0)
    assert 1000.0 * prompt.crossing_altitude == pytest.approx(geometric_altitude_of(55e3), abs=0.5)
    assert 0.8 < prompt.mach_at_crossing < 1.1


def test_crossing_over_cold_and_hot_days() -> None:
    """55 kPa lies about 4.2 km to 5.4 km high (common practice, no source; days chosen here)."""
    cold = geometric_altitude_of(55e3, profile(99_000.0, -25.0))
    hot = geometric_altitude_of(55e3, profile(103_500.0, 25.0))
    assert cold == pytest.approx(4_200.0, abs=150.0)
    assert hot == pytest.approx(5_400.0, abs=150.0)
    day = timing(sea_level_pressure=1035.0, temperature_offset=25.0, vent_time_constant=0.0)
    assert 1000.0 * day.crossing_altitude == pytest.approx(hot, abs=1.0)


def test_a_little_more_than_half_a_minute_after_lift_off() -> None:
    """Half of the pressure at sea level (common practice, no source)."""
    half = timing(pressure_threshold=0.5 * 101.325)
    assert 30.0 < half.crossing_time < 45.0


def test_budget_adds_up() -> None:
    assert STILL.earliest_wake_time == pytest.approx(STILL.crossing_time + 4 * 0.5)
    assert STILL.latest_wake_time == pytest.approx(STILL.crossing_time + 5 * 0.5)
    assert STILL.margin_to_fairing_release == pytest.approx(
        170.0 - STILL.latest_wake_time - 15.0 - 22.0
    )
    assert STILL.transport_margin == pytest.approx(20.0)
    # Barometric formula of a thin layer: 60 m of air of 1.225 kg/m3, its own pressure's loss.
    assert STILL.ground_margin == pytest.approx(101.325 - 0.0120 * 60.0 - 1.0 - 55.0, abs=5e-3)


@pytest.mark.parametrize("name", LATE)
def test_late_side_of_each_effect(name: str) -> None:
    early_end, late_end = LATE[name]
    early, late = timing(**{name: early_end}), timing(**{name: late_end})
    assert early.latest_wake_time < STILL.latest_wake_time < late.latest_wake_time
    assert early.earliest_wake_time < STILL.earliest_wake_time < late.earliest_wake_time
    assert (
        early.margin_to_fairing_release
        > STILL.margin_to_fairing_release
        > late.margin_to_fairing_release
    )


@pytest.mark.parametrize(
    ("changed", "sign"),
    [
        ({"fairing_release_time": 160.0}, -1),
        ({"camera_start_time": 28.0}, -1),
        ({"computer_restart_time": 20.0}, -1),
        ({"trigger_samples": 8.0}, -1),
        ({"pressure_threshold": 45.0}, -1),
        ({"drag_reference_area": 2.3}, -1),
        ({"pitch_rate": 0.55}, -1),
    ],
)
def test_direction_of_the_margin_to_the_release(changed: Mapping[str, float], sign: int) -> None:
    change = timing(**changed).margin_to_fairing_release - STILL.margin_to_fairing_release
    assert math.copysign(1.0, change) == sign
    assert abs(change) > 1e-3


@pytest.mark.parametrize(
    "changed",
    [
        {"sea_level_pressure": 870.0},
        {"temperature_offset": -25.0},
        {"pad_geometric_altitude": 500.0},
        {"ground_pressure_drop": 2.0},
        {"pressure_sensor_error": -1.5},
        {"pressure_threshold": 60.0},
    ],
)
def test_what_brings_the_threshold_nearer_to_the_ground(changed: Mapping[str, float]) -> None:
    assert timing(**changed).ground_margin < STILL.ground_margin


def test_ground_margin_at_the_extremes_on_record() -> None:
    """About 870 hPa and 1084 hPa at sea level (WMO archive, from memory), sensor error beside."""
    low = timing(sea_level_pressure=870.0, pressure_sensor_error=-1.5, pad_geometric_altitude=0.0)
    high = timing(sea_level_pressure=1084.0, pad_geometric_altitude=0.0)
    assert low.ground_margin == pytest.approx(87.0 - 1.0 - 56.5)
    assert high.ground_margin == pytest.approx(108.4 - 1.0 - 55.0)


def test_transport_margin_falls_with_cabin_pressure_and_error() -> None:
    assert timing(pressure_sensor_error=-1.5).transport_margin == pytest.approx(18.5)
    assert timing(cabin_pressure=70.0).transport_margin == pytest.approx(15.0)
    # A lost cabin pressure at 8 km: nothing but the arming plug holds then.
    assert timing(cabin_pressure=35.6).transport_margin < 0.0


@pytest.mark.parametrize(
    ("changed", "sign"),
    [
        ({"vacuum_thrust": 358.9}, -1),
        ({"lift_off_mass": 20_260.0}, -1),
        ({"acceleration_threshold": 1.3}, -1),
        ({"nozzle_exit_area": 0.8}, -1),
        ({"sea_level_pressure": 960.0}, 1),
    ],
)
def test_direction_of_the_acceleration_margin(changed: Mapping[str, float], sign: int) -> None:
    change = timing(**changed).acceleration_margin - STILL.acceleration_margin
    assert math.copysign(1.0, change) == sign


def test_acceleration_is_lowest_where_the_drag_says_so() -> None:
    """At lift-off by Newton's law; on the way, with an absurdly large drag area."""
    at_lift_off = (370e3 - 0.7 * 100_606.0) / (20_000.0 * 9.80665)  # pressure at 60 m: thin layer
    assert STILL.acceleration_margin == pytest.approx(at_lift_off - 1.25, abs=2e-5)
    braked = timing(drag_reference_area=20.0)
    flight = nominal_flight(drag_reference_area=20.0)
    until = braked.latest_wake_time + 0.25  # one moment behind it
    felt = [x.axial_acceleration / 9.80665 for x in flight if x.time < until]
    assert felt[0] > min(felt) + 0.05
    assert braked.acceleration_margin == pytest.approx(min(felt) - 1.25, abs=1e-12)


def test_latest_and_earliest_corner_are_the_expected_ones() -> None:
    """Of all 2^8: hot, high, slow, drifted up, choked is latest; the reverse is earliest."""
    late = {name: ends[1] for name, ends in LATE.items()}
    early = {name: ends[0] for name, ends in LATE.items()}
    corners = [
        timing(**dict(zip(LATE, ends, strict=True))) for ends in itertools.product(*LATE.values())
    ]
    latest, earliest = timing(**late), timing(**early)
    assert latest.latest_wake_time == max(c.latest_wake_time for c in corners)
    assert earliest.earliest_wake_time == min(c.earliest_wake_time for c in corners)
    assert latest.latest_wake_time > STILL.latest_wake_time + 5.0
    assert earliest.earliest_wake_time < STILL.earliest_wake_time - 5.0


def test_share_of_the_mass_stands_for_drag_and_pitch() -> None:
    """0.3 % of the mass moves the wake-up more than 15 % of drag and 10 % of pitch rate do."""
    late = timing(drag_reference_area=2.3, pitch_rate=0.55).latest_wake_time
    early = timing(drag_reference_area=1.7, pitch_rate=0.45).latest_wake_time
    assert timing(lift_off_mass=20_060.0).latest_wake_time > late > STILL.latest_wake_time
    assert timing(lift_off_mass=19_940.0).latest_wake_time < early < STILL.latest_wake_time


def test_half_the_step_moves_the_passage_by_less_than_two_milliseconds() -> None:
    found = []
    for step in (0.25, 0.125):
        flight = nominal_flight(step)
        times = [x.time for x in flight]
        found.append(passages(times, follow(times, [x.pressure for x in flight], 0.5), 55e3)[1])
    assert found[0] == pytest.approx(found[1], abs=2e-3)
    assert found[0] == pytest.approx(STILL.crossing_time, abs=1e-9)


def test_a_threshold_above_the_ground_pressure_is_told_by_the_margin() -> None:
    awake = timing(pressure_threshold=102.0)
    assert awake.crossing_time == 0.0
    assert awake.crossing_altitude == pytest.approx(0.06)
    assert awake.ground_margin < 0.0


def test_a_threshold_that_is_never_passed_says_so() -> None:
    with pytest.raises(ValueError, match="never passes 10 Pa"):
        timing(pressure_threshold=0.01)


def test_crossing_time_is_where_the_lagged_pressure_is_the_threshold() -> None:
    """Root of the same pressure between moments, by scipy."""
    flight = nominal_flight()
    times = [x.time for x in flight]
    inside = follow(times, [x.pressure - 0.05 * x.dynamic_pressure for x in flight], 0.5)

    def above(t: float) -> float:
        i = min(int(t / 0.25), len(times) - 2)
        return inside[i] + (t / 0.25 - i) * (inside[i + 1] - inside[i]) - 54e3

    found = timing(vent_pressure_coefficient=-0.05, pressure_sensor_error=1.0)
    assert found.crossing_time == pytest.approx(brentq(above, 1.0, 60.0, xtol=1e-12), abs=1e-9)
