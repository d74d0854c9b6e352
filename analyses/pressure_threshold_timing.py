"""When the recorder wakes up in the ascent, and how far it is from waking up on the ground."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import inf, radians
from typing import TYPE_CHECKING, NamedTuple

from analyses.physics.ascent import Moment, Vehicle, fly
from analyses.physics.standard_atmosphere import (
    STANDARD_GRAVITY,
    Profile,
    air_at,
    profile,
)
from analyses.physics.vented_compartment import follow, local_pressure
from closeout import analysis
from closeout.units import K, Pa, count, deg_per_s, g0, hPa, kg, km, kN, kPa, m, m2, ratio, s

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DURATION = 100.0  # s after lift-off, before the first stage burns out
STEP = 0.25  # s; halving it moves the wake-up by about a millisecond
DRAWN_ERROR = 2.0  # kPa either way of the threshold, the band of the figure

# Axial drag coefficient against Mach number. Invented; the rise at Mach 1 and the fall behind it
# are common to slender launchers (common practice, no source).
DRAG_COEFFICIENT = (
    (0.0, 0.32), (0.6, 0.32), (0.8, 0.36), (0.95, 0.50), (1.05, 0.62), (1.2, 0.64), (1.5, 0.55),
    (2.0, 0.45), (3.0, 0.34), (5.0, 0.26), (10.0, 0.22), (30.0, 0.22),
)  # fmt: skip


class ThresholdTiming(NamedTuple):
    crossing_altitude: km  # geometric, above sea level, where the compartment passes the threshold
    mach_at_crossing: ratio
    crossing_time: s  # after lift-off, as are the next two
    earliest_wake_time: s
    latest_wake_time: s
    margin_to_fairing_release: s
    acceleration_margin: g0
    ground_margin: kPa
    transport_margin: kPa


@analysis(
    validated_by=(
        "tests/analyses/test_pressure_threshold_timing.py",
        "tests/analyses/test_ascent.py",
        "tests/analyses/test_standard_atmosphere.py",
    )
)
def pressure_threshold_timing(
    sea_level_pressure: hPa,
    temperature_offset: K,
    pad_geometric_altitude: m,
    ground_pressure_drop: kPa,
    cabin_pressure: kPa,
    lift_off_mass: kg,
    vacuum_thrust: kN,
    vacuum_specific_impulse: s,
    nozzle_exit_area: m2,
    drag_reference_area: m2,
    pitch_start_time: s,
    pitch_rate: deg_per_s,
    vent_pressure_coefficient: ratio,
    vent_time_constant: s,
    pressure_threshold: kPa,
    pressure_sensor_error: kPa,
    acceleration_threshold: g0,
    trigger_sampling_period: s,
    trigger_samples: count,
    camera_start_time: s,
    computer_restart_time: s,
    fairing_release_time: s,
) -> ThresholdTiming:
    """Time at which the recorder wakes up in the ascent, and the distance from a false wake-up.

    **Model.** The day is the U.S. Standard Atmosphere 1976 with another pressure at sea level and
    an offset of the temperature at each height, in hydrostatic balance. The launcher is a point
    mass in a vertical plane under thrust, drag and gravity with a programmed pitch
    (`analyses/physics/ascent.py`). The pressure at the vents is that of the free stream plus a
    pressure coefficient times the dynamic pressure (definition of the coefficient); the compartment
    follows it with a first-order lag, tau dp/dt = p_vent - p. A sensor reads p + error: a positive
    error wakes late, a negative one early and nearer to the ground.

    **Logic.** The computer samples once in each period. It is awake when the voted pressure is
    below the threshold and the voted axial acceleration above its own in each of n samples running.
    The latest wake-up is n periods after the last passage of the threshold (a sample was taken
    just before it), the earliest n - 1 periods after the first. The two channels are judged in the
    same samples and no latch keeps an old acceleration, so a shock on the ground neither arms nor
    disarms anything; the price is that the acceleration must hold until the wake-up, which
    `acceleration_margin` shows from lift-off to the latest wake-up.

    **Margins.** To the fairing release: its time less the latest wake-up, one restart of the
    computer at the worst moment and the start of the cameras. On the ground: the pressure of the
    day at the pad less a drop for wind over the vents, less the pressure at which a sensor in error
    reads the threshold. In transport: the same with the lowest pressure of a pressurised cabin.

    **Assumptions.** Two of three sensors decide; with one failed either way the voted crossing
    still lies between those of the two sound ones, so the bounds on one sensor's error hold. Time
    of release is taken as independent of the ascent, which is on the safe side for a release that
    is later in a slow ascent. Thrust and mass flow rise together, at constant specific impulse. The
    tolerance of the lift-off mass holds a share for drag and pitch, whose effect is a tenth of a
    second each.

    **Sources.** U.S. Standard Atmosphere 1976; the equations of motion of any text on rocket
    dynamics; the lag is the response of a first-order system. All vehicle data are invented.

    **Not covered.** Wind and its shear; the rotation of the Earth; lift and angle of attack; the
    build-up of thrust before lift-off, an engine that fails; a temperature profile with an
    inversion; a pressure coefficient that changes with Mach number or jumps as a shock passes a
    vent (the declared range of both signs must enclose it); a vent that is closed altogether; the
    probability of failures in the vote; accelerometer error (it is in the required margin); a lost
    cabin pressure or an unpressurised hold, for which only the arming plug helps. The march is
    evaluated on numbers only.

    **Caution.** Pressures are absolute. A wake-up on the ground can power a transmitter beside
    people. The launch authority's rules decide how many inhibits there must be; this analysis
    shows a distance of pressure and is no evidence of an inhibit.
    """
    day = profile(100.0 * sea_level_pressure, temperature_offset)
    flight = ascent(
        day, pad_geometric_altitude, lift_off_mass, vacuum_thrust, vacuum_specific_impulse,
        nozzle_exit_area, drag_reference_area, pitch_start_time, pitch_rate,
    )  # fmt: skip
    inside = compartment_pressure(flight, vent_pressure_coefficient, vent_time_constant)
    true_threshold = pressure_threshold - pressure_sensor_error  # kPa, when the sensor reads it
    first, last = passages([moment.time for moment in flight], inside, 1000.0 * true_threshold)
    earliest, latest = wake_times(first, last, trigger_sampling_period, trigger_samples)
    ground = lowest_ground_pressure(day, pad_geometric_altitude) / 1000.0 - ground_pressure_drop
    return ThresholdTiming(
        crossing_altitude=_at(last, flight, "geometric_altitude") / 1000.0,
        mach_at_crossing=_at(last, flight, "mach"),
        crossing_time=last,
        earliest_wake_time=earliest,
        latest_wake_time=latest,
        margin_to_fairing_release=(
            fairing_release_time - latest - computer_restart_time - camera_start_time
        ),
        acceleration_margin=lowest_acceleration(flight, latest) - acceleration_threshold,
        ground_margin=ground - true_threshold,
        transport_margin=cabin_pressure - true_threshold,
    )


@pressure_threshold_timing.figure
def pressure_in_ascent(
    sea_level_pressure: hPa,
    temperature_offset: K,
    pad_geometric_altitude: m,
    ground_pressure_drop: kPa,
    cabin_pressure: kPa,
    lift_off_mass: kg,
    vacuum_thrust: kN,
    vacuum_specific_impulse: s,
    nozzle_exit_area: m2,
    drag_reference_area: m2,
    pitch_start_time: s,
    pitch_rate: deg_per_s,
    vent_pressure_coefficient: ratio,
    vent_time_constant: s,
    pressure_threshold: kPa,
    pressure_sensor_error: kPa,
    acceleration_threshold: g0,
    trigger_sampling_period: s,
    trigger_samples: count,
    camera_start_time: s,
    computer_restart_time: s,
    fairing_release_time: s,
) -> Figure:
    """Pressure in the compartment and of the free stream after lift-off, at the inputs.
    The threshold (dashed) is the true pressure at which the sensor reads it, with a band of 2 kPa
    either way. Look at where the curve leaves the band, how far that is from pad and cabin, and how
    long before the release of the fairing. All data are invented.
    """
    from analyses import plotting

    found = pressure_threshold_timing(
        sea_level_pressure, temperature_offset, pad_geometric_altitude, ground_pressure_drop,
        cabin_pressure, lift_off_mass, vacuum_thrust, vacuum_specific_impulse, nozzle_exit_area,
        drag_reference_area, pitch_start_time, pitch_rate, vent_pressure_coefficient,
        vent_time_constant, pressure_threshold, pressure_sensor_error, acceleration_threshold,
        trigger_sampling_period, trigger_samples, camera_start_time, computer_restart_time,
        fairing_release_time,
    )  # fmt: skip
    day = profile(100.0 * sea_level_pressure, temperature_offset)
    vehicle = launcher(
        lift_off_mass, vacuum_thrust, vacuum_specific_impulse, nozzle_exit_area,
        drag_reference_area, pitch_start_time, pitch_rate,
    )  # fmt: skip
    flight = fly(vehicle, day, pad_geometric_altitude, DURATION, STEP)
    times = [moment.time for moment in flight]
    inside = compartment_pressure(flight, vent_pressure_coefficient, vent_time_constant)
    threshold = pressure_threshold - pressure_sensor_error

    figure, (axes,) = plotting.panels(height=4.6)
    axes.plot(times, [p / 1e3 for p in inside], color=plotting.BLUE, label="in the compartment")
    axes.plot(
        times, [moment.pressure / 1e3 for moment in flight], "--", color=plotting.SKY,
        label="of the free stream",
    )  # fmt: skip
    plotting.limit(axes, threshold, "threshold")
    axes.axhspan(
        threshold - DRAWN_ERROR, threshold + DRAWN_ERROR, color=plotting.RED, alpha=0.15,
        linewidth=0.0, label=f"threshold \N{PLUS-MINUS SIGN} {DRAWN_ERROR:g} kPa",
    )  # fmt: skip
    axes.axhline(cabin_pressure, color=plotting.GREEN, linestyle="-.", label="cabin in transport")
    axes.axvspan(
        found.earliest_wake_time, found.latest_wake_time, color=plotting.ORANGE, alpha=0.6,
        linewidth=0.0, label="wake-up, earliest to latest",
    )  # fmt: skip
    recording = found.latest_wake_time + computer_restart_time + camera_start_time
    plotting.moment(axes, recording, "cameras record, after a restart", style="--")
    plotting.moment(axes, fairing_release_time, "release of the fairing")
    axes.set_xlabel("time after lift-off (s)")
    axes.set_ylabel("absolute pressure (kPa)")
    axes.set_ylim(bottom=0.0)
    plotting.legend(figure)
    return figure


def launcher(
    mass: kg,
    thrust: kN,
    specific_impulse: s,
    exit_area: m2,
    drag_area: m2,
    pitch_start: s,
    pitch_rate: deg_per_s,
) -> Vehicle:
    """Return the launcher: upright until the pitch starts, then turning at a constant rate."""
    upright = radians(90.0)
    end = upright - radians(pitch_rate) * (DURATION - pitch_start)
    return Vehicle(
        mass, 1000.0 * thrust, specific_impulse, exit_area, drag_area,
        DRAG_COEFFICIENT, ((0.0, upright), (pitch_start, upright), (DURATION, end)),
    )  # fmt: skip


@lru_cache(maxsize=32)  # vents, sensors and logic change nothing in it
def ascent(
    day: Profile,
    pad_geometric_altitude: m,
    mass: kg,
    thrust: kN,
    specific_impulse: s,
    exit_area: m2,
    drag_area: m2,
    pitch_start: s,
    pitch_rate: deg_per_s,
) -> tuple[Moment, ...]:
    """Return the flight of the launcher on a day; the rest as :func:`launcher` has it."""
    vehicle = launcher(
        mass, thrust, specific_impulse, exit_area, drag_area, pitch_start, pitch_rate
    )
    return tuple(fly(vehicle, day, pad_geometric_altitude, DURATION, STEP))


def compartment_pressure(
    flight: Sequence[Moment], pressure_coefficient: ratio, time_constant: s
) -> list[Pa]:
    """Return the pressure in the compartment at each moment of the flight, in Pa."""
    outside = [local_pressure(x.pressure, x.dynamic_pressure, pressure_coefficient) for x in flight]
    return follow([x.time for x in flight], outside, time_constant)


def lowest_ground_pressure(day: Profile, pad_geometric_altitude: m) -> Pa:
    """Return the pressure of still air at the recorder on the pad, in Pa."""
    return air_at(pad_geometric_altitude, day).pressure


def passages(times: Sequence[s], pressures: Sequence[Pa], level: Pa) -> tuple[float, float]:
    """Return when the pressure first falls below a level, and when it does so for good.

    Straight lines between the points. Zero where it is below from the start: then the recorder is
    awake on the ground, which the ground margin tells.

    Raises:
        ValueError: the pressure is not below the level at the end.
    """
    if pressures[-1] >= level:
        raise ValueError(
            f"the compartment is still at {pressures[-1]:.0f} Pa {times[-1]:g} s after lift-off "
            f"and never passes {level:.0f} Pa; choose a higher threshold"
        )
    falls = [i for i in range(1, len(times)) if pressures[i - 1] >= level > pressures[i]]
    if not falls:
        return times[0], times[0]

    def passage(i: int) -> float:
        share = (pressures[i - 1] - level) / (pressures[i - 1] - pressures[i])
        return times[i - 1] + share * (times[i] - times[i - 1])

    first = times[0] if pressures[0] < level else passage(falls[0])
    return first, passage(falls[-1])


def wake_times(first: s, last: s, period: s, samples: count) -> tuple[float, float]:
    """Return the earliest and the latest wake-up over the unknown phase of the samples, in s."""
    return first + (samples - 1.0) * period, last + samples * period


def lowest_acceleration(flight: Sequence[Moment], until: s) -> g0:
    """Return the lowest axial acceleration from lift-off to a time in s, in g0.

    The moment behind that time is looked at too, so that nothing between two steps is missed.
    """
    before = -inf
    felt = []
    for moment in flight:
        if before >= until:
            break
        felt.append(moment.axial_acceleration)
        before = moment.time
    return min(felt) / STANDARD_GRAVITY


def _at(time: s, flight: Sequence[Moment], field: str) -> float:
    """Return a field of the flight at a time in s, by a straight line between moments."""
    after = next(i for i in range(1, len(flight)) if flight[i].time >= time)
    a, b = flight[after - 1], flight[after]
    share = (time - a.time) / (b.time - a.time)
    low: float = getattr(a, field)
    high: float = getattr(b, field)
    return low + share * (high - low)
