"""How far the pressure on the ground is from the one at which the recorder wakes up."""

from __future__ import annotations

from typing import NamedTuple

from analyses.physics.standard_atmosphere import air_at, profile
from closeout import analysis
from closeout.units import K, hPa, kPa, m


class GroundPressure(NamedTuple):
    true_threshold: kPa  # at which the sensor in error reads the threshold
    pad_pressure: kPa  # lowest at the sensors on the pad
    ground_margin: kPa
    transport_margin: kPa


@analysis(
    validated_by=(
        "tests/analyses/test_ground_pressure.py",
        "tests/analyses/test_standard_atmosphere.py",
    )
)
def ground_pressure(
    sea_level_pressure: hPa,
    temperature_offset: K,
    pad_geometric_altitude: m,
    ground_pressure_drop: kPa,
    cabin_pressure: kPa,
    pressure_threshold: kPa,
    pressure_sensor_error: kPa,
) -> GroundPressure:
    """Distance of the pressure on the pad and in an aircraft's cabin from the wake-up threshold.

    **Model.** Still air of the U.S. Standard Atmosphere 1976 with another pressure at sea level and
    an offset of the temperature (`analyses/physics/standard_atmosphere.py`), less a drop at the
    vents by wind and air-conditioning. A sensor reads p + error, so it reads the threshold at a
    true pressure that is lower by its error; a negative error brings that nearer to the ground.
    The same distances stand among the results of `pressure_threshold_timing`, whose march cannot be
    proved; here they are a closed form, and their worst case is.

    **Not covered.** A lost cabin pressure or an unpressurised hold, for which only the arming plug
    helps; the probability of failures in the vote; gusts beyond the declared drop.

    **Caution.** Pressures are absolute. A wake-up on the ground can power a transmitter beside
    people. The launch authority's rules decide how many inhibits there must be; this analysis
    shows a distance of pressure and is no evidence of an inhibit.
    """
    day = profile(100.0 * sea_level_pressure, temperature_offset)
    pad = air_at(pad_geometric_altitude, day).pressure / 1000.0 - ground_pressure_drop
    true_threshold = pressure_threshold - pressure_sensor_error
    return GroundPressure(
        true_threshold=true_threshold,
        pad_pressure=pad,
        ground_margin=pad - true_threshold,
        transport_margin=cabin_pressure - true_threshold,
    )
