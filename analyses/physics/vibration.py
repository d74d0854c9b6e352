"""Vibration of small structures: natural frequencies, and the response to a random base motion.

SI units: m, kg, N/m, Pa, Hz; spectral densities of acceleration in g0^2/Hz and accelerations in g0,
where g0 is standard gravity and never the gram. "rms" is root mean square.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import ceil
from typing import Annotated

from closeout.math import exp, exprel, log, pi, power, sqrt, table
from closeout.units import Hz, N_per_m, Pa, Unit, g0, g02_per_Hz, kg, m, ratio

N_m_per_rad = Annotated[float, Unit("N m/rad")]
kg_per_m = Annotated[float, Unit("kg/m")]
kg_per_m2 = Annotated[float, Unit("kg/m^2")]
m4 = Annotated[float, Unit("m^4")]
m_per_N = Annotated[float, Unit("m/N")]

STANDARD_GRAVITY = 9.80665  # m/s2, 3rd CGPM (1901)
SHEAR_FACTOR = 6.0 / 5.0  # of a rectangular section

Spectrum = Sequence[tuple[float, float]]  # (frequency in Hz, spectral density), frequency rising


# natural frequencies


def natural_frequency(stiffness: N_per_m, mass: kg) -> Hz:
    """Return the frequency of a mass on a spring: sqrt(k / m) / (2 pi)."""
    return sqrt(stiffness / mass) / (2.0 * pi)


def rectangle_inertia(width: m, thickness: m) -> m4:
    """Return the second moment of area of a rectangle that bends across its thickness, b t^3/12."""
    return width * power(thickness, 3) / 12.0


def shear_modulus(elastic_modulus: Pa, poisson: ratio) -> Pa:
    """Return G = E / (2 (1 + nu)) of an isotropic material."""
    return elastic_modulus / (2.0 * (1.0 + poisson))


def guided_leg_stiffness(
    elastic_modulus: Pa, poisson: ratio, width: m, thickness: m, length: m
) -> N_per_m:
    """Return the stiffness of a leg that is clamped below and guided (not turned) above.

    Bending and shear in series: 1/k = L^3/(12 E I) + 1.2 L/(G A). Bending across the thickness.
    Source: Young, Roark's Formulas for Stress and Strain, beam with one end fixed and the other
    guided (from memory), and the shear factor 6/5 of a rectangle.
    """
    bending = power(length, 3) / (12.0 * elastic_modulus * rectangle_inertia(width, thickness))
    shear = SHEAR_FACTOR * length / (shear_modulus(elastic_modulus, poisson) * width * thickness)
    return 1.0 / (bending + shear)


def beam_frequency(
    factor: ratio, elastic_modulus: Pa, inertia: m4, line_mass: kg_per_m, length: m
) -> Hz:
    """Return a frequency of a uniform beam: lambda^2/(2 pi L^2) sqrt(E I / m').

    Source: Blevins, Formulas for Natural Frequency and Mode Shape, table 8-1 (from memory); the
    first lambda is 1.87510 clamped and free, 3.92660 clamped and pinned, 4.73004 clamped at both
    ends, pi pinned at both ends.
    """
    root = sqrt(elastic_modulus * inertia / line_mass)
    return power(factor, 2) / (2.0 * pi * power(length, 2)) * root


def plate_frequency(
    elastic_modulus: Pa,
    poisson: ratio,
    thickness: m,
    area_mass: kg_per_m2,
    length: m,
    width: m,
) -> Hz:
    """Return the first frequency of a rectangular plate, simply supported at its four edges.

    (pi/2) (1/a^2 + 1/b^2) sqrt(D / m''), with D = E t^3/(12 (1 - nu^2)) and m'' the mass of an area
    with all that is mounted on it. Source: Blevins, Formulas for Natural Frequency and Mode Shape,
    table 11-4 (from memory); Leissa, NASA SP-160.
    """
    rigidity = elastic_modulus * power(thickness, 3) / (12.0 * (1.0 - power(poisson, 2)))
    waves = 1.0 / power(length, 2) + 1.0 / power(width, 2)
    return pi / 2.0 * waves * sqrt(rigidity / area_mass)


def translation_and_rocking(
    mass: kg, flexibility: m_per_N, height: m, gyration: m, rocking_stiffness: N_m_per_rad
) -> Hz:
    """Return a lower bound of the first frequency of a body that slides and rocks on its mounting.

    Safe where a frequency has to be high enough, and unsafe for loads, which rise with it: those
    take :func:`analyses.physics.two_modes.sliding_and_rocking`.

    Dunkerley (1894): 1/omega^2 is at most the sum over the motions, each alone: m (c + h^2/k_r) of
    the centre of gravity at a height h, and m r^2/k_r of the body's turning about it. c is the
    flexibility of the mounting in m/N, k_r its stiffness against rocking in N m/rad.
    """
    rocking = (power(height, 2) + power(gyration, 2)) / rocking_stiffness
    return 1.0 / (2.0 * pi * sqrt(mass * (flexibility + rocking)))


# random vibration


def density_at(frequency: Hz, spectrum: Spectrum) -> g02_per_Hz:
    """Return the spectral density at a frequency inside the spectrum; straight on log-log paper."""
    points = [(log(f), log(density)) for f, density in spectrum]
    return exp(table(log(frequency), points))


def overall_level(spectrum: Spectrum) -> g0:
    """Return the rms acceleration of a spectrum: the root of its area.

    A piece with S = S1 (f/f1)^n has the area S1 f1 ((f2/f1)^(n + 1) - 1)/(n + 1). It is written by
    exprel, so that n = -1 (3 dB an octave down), where this is S1 f1 ln(f2/f1), is no other case.
    """
    area = 0.0
    for (f1, s1), (f2, s2) in pairwise(spectrum):
        octaves = log(f2 / f1)
        area = area + s1 * f1 * octaves * exprel(log(s2 / s1) + octaves)
    return sqrt(area)


def miles(frequency: Hz, amplification: ratio, density: g02_per_Hz) -> g0:
    """Return the rms response in g0 of one mode to a random base motion: sqrt(pi/2 f Q S).

    Source: Miles (1954), as in R. Simmons, "Miles' Equation", NASA GSFC FEMCI (2001). It holds for
    one mode and a spectrum that is flat around it, from zero to infinity; otherwise it can be
    unsafe, and so it is a bound for no use; :func:`integrated_response` is the measure.
    """
    return sqrt(pi / 2.0 * frequency * amplification * density)


def flat_response(frequency: Hz, amplification: ratio, density: g02_per_Hz) -> g0:
    """Return the rms response in g0 of one mode to a spectrum flat from zero to infinity.

    sqrt(pi/2 f Q (1 + 1/Q^2) S), the whole integral of :func:`transmissibility_squared`, of which
    Miles leaves out 1/Q^2. With the highest density of any spectrum it is an upper bound of the
    response to that spectrum: safe for loads.
    """
    return miles(frequency, amplification, density) * sqrt(1.0 + 1.0 / power(amplification, 2))


def transmissibility_squared(ratio: ratio, amplification: ratio) -> ratio:
    """Return |H|^2 of absolute acceleration over the base's, at a ratio of frequencies f/f0.

    (1 + (r/Q)^2) / ((1 - r^2)^2 + (r/Q)^2) with Q = 1/(2 zeta): one viscously damped mode on a
    moving base, any text on vibration.
    """
    damping = power(ratio / amplification, 2)
    return (1.0 + damping) / (power(1.0 - power(ratio, 2), 2) + damping)


def integrated_response(frequency: Hz, amplification: ratio, spectrum: Spectrum) -> g0:
    """Return the rms response in g0 of one mode, integrated over the whole spectrum."""
    return integrated(
        lambda f: transmissibility_squared(f / frequency, amplification), amplification, spectrum
    )


def integrated(
    gain_squared: Callable[[float], float],
    amplification: ratio,
    spectrum: Spectrum,
    steps_per_bandwidth: float = 8.0,
) -> g0:
    """Return the rms response in g0 to a spectrum of what has modes with one amplification Q.

    The root of the integral of |H(f)|^2 S(f) df, by Simpson's rule in the logarithm of the
    frequency, each piece of the spectrum for itself. The step is the half-power bandwidth 1/Q, in
    the logarithm, over `steps_per_bandwidth`. For numbers alone.
    """
    area = 0.0
    for (f1, s1), (f2, s2) in pairwise(spectrum):
        octaves = log(f2 / f1)
        slope = log(s2 / s1) / octaves
        pairs = ceil(octaves * amplification * steps_per_bandwidth / 2.0)
        step = octaves / (2 * pairs)
        total = 0.0
        for i in range(2 * pairs + 1):
            x = i * step
            f = f1 * exp(x)
            weight = 1.0 if i in (0, 2 * pairs) else 4.0 if i % 2 else 2.0
            total += weight * gain_squared(f) * f * exp(slope * x)
        area += s1 * total * step / 3.0
    return sqrt(area)
