"""When the aneroid switch of the transmitter's third timer closes in the ascent."""

from __future__ import annotations

from typing import NamedTuple

from analyses.physics.ascent import fly
from analyses.physics.standard_atmosphere import profile
from analyses.pressure_threshold_timing import (
    DURATION,
    compartment_pressure,
    launcher,
    passages,
)
from closeout import analysis
from closeout.units import K, deg_per_s, hPa, kg, kN, kPa, m, m2, ratio, s

STEP = 0.5  # s; halving it moves the closing by a millisecond


class AneroidClosing(NamedTuple):
    closing_time: s  # after lift-off


@analysis(validated_by="tests/analyses/test_aneroid_closing.py")
def aneroid_closing(
    sea_level_pressure: hPa,
    temperature_offset: K,
    pad_geometric_altitude: m,
    lift_off_mass: kg,
    vacuum_thrust: kN,
    vacuum_specific_impulse: s,
    nozzle_exit_area: m2,
    drag_reference_area: m2,
    pitch_start_time: s,
    pitch_rate: deg_per_s,
    vent_pressure_coefficient: ratio,
    vent_time_constant: s,
    aneroid_closing_pressure: kPa,
) -> AneroidClosing:
    """Time at which the pressure in the recorder's compartment falls to that of the switch.

    **Model.** Ascent, day and compartment of `pressure_threshold_timing`: the switch closes at the
    first passage of its pressure. It has no clock and no vote.

    **Assumptions, sources.** As for `pressure_threshold_timing`.

    **Not covered.** A switch that is stuck or leaks (`unwanted_emission` counts it); contacts that
    bounce; as for `pressure_threshold_timing`. The march is evaluated on numbers only.

    **Caution.** The switch is a barrier between the battery and people's surroundings. A time on
    paper is no evidence of an inhibit; the launch authority decides what counts as one.
    """
    day = profile(100.0 * sea_level_pressure, temperature_offset)
    vehicle = launcher(
        lift_off_mass, vacuum_thrust, vacuum_specific_impulse, nozzle_exit_area,
        drag_reference_area, pitch_start_time, pitch_rate,
    )  # fmt: skip
    flight = fly(vehicle, day, pad_geometric_altitude, DURATION, STEP)
    inside = compartment_pressure(flight, vent_pressure_coefficient, vent_time_constant)
    times = [moment.time for moment in flight]
    first, _ = passages(times, inside, 1000.0 * aneroid_closing_pressure)
    return AneroidClosing(first)
