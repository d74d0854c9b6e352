"""Radio link formulas: path, pointing, polarisation, noise, flux density, Doppler.

Closed forms on numbers with the functions of :mod:`closeout.math`; lengths in km, frequencies in
MHz, angles in deg, ratios in dB, unless the name of an argument says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from closeout.math import atan, cos, exp, log, log10, pi, power, sin, sqrt
from closeout.units import K, MHz, Unit, dB, dBi, dBW, deg, kHz, km, km_s, m, rad, ratio

kHz_per_s = Annotated[float, Unit("kHz/s")]

SPEED_OF_LIGHT = 299_792.458  # km/s, exact (SI)
BOLTZMANN = -228.599167  # dB(W/(K Hz)): 10 log10 of 1.380649e-23, exact in the SI
EARTH_RADIUS = 6378.137  # km, equatorial radius of WGS 84
EARTH_GM = 398_600.4418  # km3/s2, WGS 84
EARTH_RATE = 7.292115e-5  # rad/s, WGS 84
REFERENCE_TEMPERATURE = 290.0  # K, at which noise figures are stated
MEDIUM_TEMPERATURE = 275.0  # K, effective temperature of absorbing air and rain, ITU-R P.618
COSMIC_TEMPERATURE = 2.7  # K, ITU-R P.618
TABLE_ELEVATION = 5.0  # deg, at which the station table states attenuation and spillover
_SINE_AT_TABLE = sin(TABLE_ELEVATION * pi / 180.0)


def from_db(level: dB) -> ratio:
    """Return the power ratio of a level in dB."""
    return exp(level * (log(10.0) / 10.0))


def to_db(ratio: float) -> float:
    """Return the level in dB of a power ratio."""
    return 10.0 * log10(ratio)


def radians(angle: deg) -> rad:
    """Return an angle given in deg in rad."""
    return angle * (pi / 180.0)


def free_space_loss(frequency: MHz, distance: km) -> dB:
    """Return the free-space basic transmission loss in dB; MHz and km.

    ITU-R P.525: 20 log10(4 pi d / lambda). The recommendation prints the constant for MHz and km
    as 32.4; here it is kept whole (32.4478).
    """
    constant = 20.0 * log10(4.0e6 * pi / SPEED_OF_LIGHT)
    return constant + 20.0 * log10(frequency) + 20.0 * log10(distance)


def slant_range(geometric_altitude: km, elevation: deg) -> km:
    """Return the distance in km from a place at sea level to a height above a spherical Earth.

    Law of cosines in the triangle of Earth's centre, station and spacecraft. No refraction: at
    5 deg it would lower the true elevation by about 0.15 deg.
    """
    angle = radians(elevation)
    radius = EARTH_RADIUS + geometric_altitude
    across = power(EARTH_RADIUS * cos(angle), 2)
    return sqrt(power(radius, 2) - across) - EARTH_RADIUS * sin(angle)


def beam_loss(offset: deg, beamwidth: deg) -> dB:
    """Return in dB how far gain falls at an angle from the axis: 12 (offset / beamwidth)^2.

    Quadratic main lobe, beamwidth at half power; good inside about the beamwidth. Common
    practice, in textbooks of satellite communication.
    """
    return 12.0 * power(offset / beamwidth, 2)


def dish_gain(diameter_m: m, frequency: MHz, efficiency: ratio) -> dBi:
    """Return the gain of a dish on its axis in dBi: efficiency (pi D / lambda)^2."""
    turns = pi * diameter_m * frequency * 1.0e3 / SPEED_OF_LIGHT
    return to_db(efficiency) + 20.0 * log10(turns)


def dish_beamwidth(diameter_m: m, frequency: MHz) -> deg:
    """Return the half-power beamwidth of a dish in deg: 70 lambda / D (common practice)."""
    return 70.0 * SPEED_OF_LIGHT / (frequency * 1.0e3 * diameter_m)


def polarisation_loss(axial_ratio_a: dB, axial_ratio_b: dB) -> dB:
    """Return the loss in dB between two antennas of one sense, at the worst tilt of the ellipses.

    Axial ratios in dB, 0 dB circular; a linear antenna is a large number (60 dB). With the angles
    a and b whose tangents are the inverse axial ratios the received share is sin(a + b)^2, which is
    the general formula of :func:`polarisation_efficiency` at a tilt of 90 deg. Linear to circular
    gives 3.01 dB.
    """
    angle = atan(from_db(-0.5 * axial_ratio_a)) + atan(from_db(-0.5 * axial_ratio_b))
    return -20.0 * log10(sin(angle))


def polarisation_efficiency(axial_ratio_a: dB, axial_ratio_b: dB, tilt: deg) -> ratio:
    """Return the received share of power between two elliptical polarisations of one sense.

    Axial ratios in dB, tilt between the major axes in deg. Standard result for the match of two
    points on the Poincare sphere; in antenna textbooks, from memory.
    """
    a, b = from_db(-0.5 * axial_ratio_a), from_db(-0.5 * axial_ratio_b)
    turned = (1.0 - power(a, 2)) * (1.0 - power(b, 2)) * cos(2.0 * radians(tilt))
    whole = (1.0 + power(a, 2)) * (1.0 + power(b, 2))
    return (whole + 4.0 * a * b + turned) / (2.0 * whole)


def noise_of_figure(noise_figure: dB) -> K:
    """Return the noise temperature in K of a noise figure in dB: 290 (F - 1)."""
    return REFERENCE_TEMPERATURE * (from_db(noise_figure) - 1.0)


def noise_of_loss(loss: dB, temperature: K = REFERENCE_TEMPERATURE) -> K:
    """Return the noise temperature in K, at its input, of a matched loss at a temperature."""
    return temperature * (from_db(loss) - 1.0)


def cascade_noise(stages: Sequence[tuple[float, float]]) -> K:
    """Return the noise temperature in K of a chain, at the input of its first stage (Friis).

    Each stage is (noise temperature in K at its own input, gain in dB; a loss is negative).
    """
    total, gain = 0.0, 0.0
    for temperature, stage_gain in stages:
        total = total + temperature * from_db(-gain)
        gain = gain + stage_gain
    return total


def sky_noise(attenuation: dB) -> K:
    """Return the noise temperature in K of the sky behind an attenuation in dB.

    ITU-R P.618, noise of an absorbing medium: Tm (1 - 10^(-A/10)) + 2.7 K 10^(-A/10).
    """
    passed = from_db(-attenuation)
    return MEDIUM_TEMPERATURE - (MEDIUM_TEMPERATURE - COSMIC_TEMPERATURE) * passed


def at_elevation(value_at_5_deg: dB, elevation: deg) -> dB:
    """Return an attenuation in dB, stated at 5 deg, at another elevation: cosecant law.

    Flat layers, as ITU-R P.676 and P.618 use from 5 deg upward; below 5 deg it is too high, which
    is the safe side of a link.
    """
    return value_at_5_deg * (_SINE_AT_TABLE / sin(radians(elevation)))


def scintillation_at_elevation(fade_at_5_deg: dB, elevation: deg) -> dB:
    """Return a scintillation fade in dB, stated at 5 deg, at another elevation.

    ITU-R P.618: the standard deviation goes with the sine to the power -1.2.
    """
    return fade_at_5_deg * exp(-1.2 * log(sin(radians(elevation)) / _SINE_AT_TABLE))


def spillover_noise(at_5_deg: K, at_zenith: K, elevation: deg) -> K:
    """Return the noise in K that an antenna takes from the ground at an elevation.

    Our own form between two stated values: it goes with the cosecant, is the stated value at
    5 deg, and at the zenith.
    """
    share = (1.0 / sin(radians(elevation)) - 1.0) / (1.0 / _SINE_AT_TABLE - 1.0)
    return at_zenith + (at_5_deg - at_zenith) * share


def flux_density(eirp: dBW, distance: km) -> float:
    """Return the power flux density in dB(W/m^2) at a distance from an EIRP.

    No unit is declared: of a carrier that falls in a bandwidth whole it is the density in that.
    """
    return eirp - to_db(4.0 * pi) - 20.0 * log10(distance * 1.0e3)


def circular_speed(geometric_altitude: km) -> km_s:
    """Return the speed in km/s on a circular orbit."""
    return sqrt(EARTH_GM / (EARTH_RADIUS + geometric_altitude))


def horizon_doppler(frequency: MHz, geometric_altitude: km) -> kHz:
    """Return the Doppler shift in kHz seen from the orbit plane at 0 deg elevation.

    Circular orbit, Earth at rest: f/c v R/(R + h). No place sees more from that orbit.
    """
    radial = circular_speed(geometric_altitude) * EARTH_RADIUS / (EARTH_RADIUS + geometric_altitude)
    return frequency * 1.0e3 * radial / SPEED_OF_LIGHT


def overhead_doppler_rate(
    frequency: MHz, geometric_altitude: km, station_speed: km_s = 0.0
) -> kHz_per_s:
    """Return the greatest rate of the Doppler shift in kHz/s, at the top of an overhead pass.

    Circular orbit of radius r and speed v; the station moves at ``station_speed`` (km/s) against
    it, 0 for an Earth at rest. The second derivative of the distance at closest approach is
    (v + u)^2/h - v^2/r + u^2/R: relative speed across the line of sight, and the two
    centripetal accelerations along it.
    """
    speed = circular_speed(geometric_altitude)
    across = power(speed + station_speed, 2) / geometric_altitude
    fall = power(speed, 2) / (EARTH_RADIUS + geometric_altitude)
    curvature = across - fall + power(station_speed, 2) / EARTH_RADIUS
    return frequency * 1.0e3 * curvature / SPEED_OF_LIGHT
