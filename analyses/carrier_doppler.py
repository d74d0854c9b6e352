"""How far and how fast the received carrier moves during a pass."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from analyses.physics import radio
from analyses.physics.orbit import J2
from closeout import analysis
from closeout.math import power
from closeout.units import MHz, Unit, kHz, km, ppm, ratio


class CarrierDoppler(NamedTuple):
    orbit_doppler: kHz  # at the horizon, Earth at rest
    rotation_doppler: kHz  # Earth's turning, with the bad sign
    oscillator_offset: kHz
    carrier_offset: kHz  # the three together
    doppler_rate: Annotated[float, Unit("kHz/s")]  # at the top of an overhead pass


@analysis(validated_by="tests/analyses/test_carrier_doppler.py")
def carrier_doppler(
    carrier_frequency: MHz, oscillator_error: ppm, stage_geometric_altitude: km
) -> CarrierDoppler:
    """Greatest offset and greatest rate of the carrier that a station's receiver has to follow.

    Model: circular orbit, law of cosines. The offset is greatest at the horizon of a station in the
    orbit plane, f/c v R/(R + h); the rate is greatest overhead. Earth's rotation is taken at its
    worst, a station on the equator that moves against the orbit; no other place and inclination
    gives more. There the Earth's bulge makes the orbit faster, by 3/4 J2 (R/r)^2. The oscillator's
    error is added to the offset.

    Sources: classical Doppler shift to first order; constants of WGS 84, J2 of EGM-96; circular
    speed on the equator from the radial gravity there, mu/r^2 (1 + 3/2 J2 (R/r)^2) (Vallado,
    Fundamentals of Astrodynamics, the potential of the second zonal harmonic, from memory).

    Assumptions: circular orbit at the altitude asked for; on an ellipse take the perigee, where
    the speed is a few per cent above the circular one (for 200 km to 500 km 1.1 %). The lowest
    altitude gives both greatest values. First order in v/c: the next term is below 1 Hz.

    Not covered: a thrusting stage, tumbling of the antenna, the time that an acquisition takes.

    Caution: a test with the carrier on is radiation: inside a shielded set-up, or under a licence.
    """
    faster = oblateness_factor(stage_geometric_altitude)
    orbit = radio.horizon_doppler(carrier_frequency, stage_geometric_altitude) * faster
    turning = radio.EARTH_RATE * radio.EARTH_RADIUS  # km/s, at the equator
    rotation = carrier_frequency * 1.0e3 * turning / radio.SPEED_OF_LIGHT
    offset = carrier_frequency * 1.0e-3 * oscillator_error
    return CarrierDoppler(
        orbit_doppler=orbit,
        rotation_doppler=rotation,
        oscillator_offset=offset,
        carrier_offset=orbit + rotation + offset,
        # The rate goes with the square of the speed, that against the station with less of it.
        doppler_rate=radio.overhead_doppler_rate(
            carrier_frequency, stage_geometric_altitude, turning
        )
        * power(faster, 2),
    )


def oblateness_factor(geometric_altitude: km) -> ratio:
    """Return by what factor the Earth's bulge speeds up an equatorial orbit: 1 + 3/4 J2 (R/r)^2."""
    return 1 + 0.75 * J2 * power(radio.EARTH_RADIUS / (radio.EARTH_RADIUS + geometric_altitude), 2)
