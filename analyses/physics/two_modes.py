"""The two modes of a rigid body that slides and rocks on its mounting, and what they answer.

SI units: m, kg, N/m, N m/rad, Hz. The body stands on a spring for sliding and one for turning, both
in the mounting plane; its centre of gravity is at a height over it. Everything is in closed form,
so that the same formula is evaluated on numbers, intervals, arrays and symbols.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple

from analyses.physics import vibration
from analyses.physics.vibration import Spectrum
from closeout.math import atan2, cos, pi, power, sin, sqrt, tan
from closeout.units import Hz, Unit, g0, g02_per_Hz, kg, m, rad, ratio

N_m_per_rad = Annotated[float, Unit("N m/rad")]
m_per_N = Annotated[float, Unit("m/N")]

Pair = tuple[float, float]


class TwoModes(NamedTuple):
    """First and second mode. Of a mode, the base gets the shear `shear` x m x a and the moment
    `moment` x m x h x a in the mounting plane, where a is the mode's absolute acceleration for a
    unit of the base's. Each pair of shares adds up to one: at rest the body follows its base.
    """

    frequency: Pair  # Hz
    shear: Pair
    moment: Pair


def sliding_and_rocking(
    mass: kg, flexibility: m_per_N, height: m, gyration: m, rocking_stiffness: N_m_per_rad
) -> TwoModes:
    """Return both modes of a body that slides and rocks, without approximation.

    ``flexibility`` c of the mounting in m/N, ``rocking_stiffness`` k_r in N m/rad, ``height`` h of
    the centre of gravity above the mounting plane, ``gyration`` r about it. With the displacement
    of the centre of gravity and r times the rotation as coordinates, the mass matrix is m times the
    unit matrix and the flexibility matrix is [[c k_r + h^2, h r], [h r, r^2]]/k_r. Its eigenvectors
    are (cos a, sin a) and (-sin a, cos a) with

        tan 2a = 2 h r/(c k_r + h^2 - r^2),

    and 1/(m omega^2) are its eigenvalues, c + h (h + r tan a)/k_r and r (r - h tan a)/k_r. A motion
    of the base drives the first coordinate alone, so that cos^2 a and sin^2 a are the shares of the
    shear. Those of the moment m h x'' + m r^2 theta'' are cos a (cos a + (r/h) sin a) and
    sin a (sin a - (r/h) cos a): where the second mode's is negative, the first one's is above one.
    The angle stands for what roots of the characteristic equation would repeat: ranges of the
    inputs are bounded the better by it.

    Source: eigenvectors of a symmetric matrix of two rows (Jacobi's rotation), and participation
    factors as in any text on vibration, e.g. Clough and Penzien, Dynamics of Structures (from
    memory). Checked against scipy.linalg.eigh. The sum of the eigenvalues is Dunkerley's, see
    :func:`analyses.physics.vibration.translation_and_rocking`.
    """
    h, r = height, gyration
    angle = _angle(flexibility, rocking_stiffness, height, gyration)
    along, across, slope = cos(angle), sin(angle), tan(angle)
    frequency = (
        _first_frequency(mass, flexibility, height, gyration, rocking_stiffness, slope),
        _second_frequency(mass, height, gyration, rocking_stiffness, slope),
    )
    return TwoModes(
        frequency=frequency,
        shear=(power(along, 2), power(across, 2)),
        moment=(along * (along + r / h * across), across * (across - r / h * along)),
    )


def _angle(flexibility: m_per_N, rocking_stiffness: N_m_per_rad, height: m, gyration: m) -> rad:
    """Return the angle a of the eigenvectors."""
    h, r = height, gyration
    slack = flexibility * rocking_stiffness + power(h, 2) - power(r, 2)
    return atan2(2.0 * h * r, slack) / 2.0


def _first_frequency(
    mass: kg,
    flexibility: m_per_N,
    height: m,
    gyration: m,
    rocking_stiffness: N_m_per_rad,
    slope: ratio,
) -> Hz:
    """Return the frequency of the first mode; ``slope`` is tan a."""
    h, r = height, gyration
    first = mass * (flexibility + h * (h + r * slope) / rocking_stiffness)
    return 1.0 / (2.0 * pi * sqrt(first))


def _second_frequency(
    mass: kg, height: m, gyration: m, rocking_stiffness: N_m_per_rad, slope: ratio
) -> Hz:
    """Return the frequency of the second mode; ``slope`` is tan a."""
    h, r = height, gyration
    second = mass * r * (r - h * slope) / rocking_stiffness
    return 1.0 / (2.0 * pi * sqrt(second))


def flat_response(frequency: Pair, shares: Pair, amplification: ratio, density: g02_per_Hz) -> g0:
    """Return the rms in g0 of two modes together, to a spectrum flat from zero to infinity.

    The root of S times the integral of |p1 H1 + p2 H2|^2, with the shares p and the transfer
    functions H of absolute acceleration, both modes with the same Q. The integral is
    (pi/2) Q (1 + 1/Q^2) (p1^2 f1 + p2^2 f2 + 2 p1 p2 sqrt(f1 f2) c), with the correlation

        c = 2/sqrt(4 + v) (1 + 1/(v + 1/Q^2)) / (1 + Q^2), v = f2/f1 + f1/f2 - 2,

    which is one where the modes have one frequency and falls to nearly zero where they are apart.
    With the highest density of a spectrum this is an upper bound of the response to it, since
    the integrand is nowhere negative: safe for loads, and only for loads. It rests on no single
    mode and on no likely phase between the two: neither Miles' formula of each nor the root of the
    sum of their squares is a bound where the shares have one sign, for c is positive.

    Source: complete quadratic combination of modes (Der Kiureghian, 1981, from memory) has the term
    of the relative displacement; that of absolute acceleration was derived here from the
    covariances of two oscillators under white noise (Lyapunov's equation) and is checked against
    scipy's integral. With one mode it is Miles' value times sqrt(1 + 1/Q^2).
    """
    (f1, f2), (p1, p2) = frequency, shares
    both = _joint_width(f1, f2, p1, p2, _correlation(f1, f2, amplification))
    peak = amplification + 1.0 / amplification
    return sqrt(pi / 2.0 * density * peak * both)


def _correlation(f1: Hz, f2: Hz, amplification: ratio) -> ratio:
    """Return c, how much two modes of one amplification answer together."""
    apart = sqrt(f2 / f1)
    apart = power(apart - 1.0 / apart, 2)
    common = 1.0 + 1.0 / (apart + 1.0 / power(amplification, 2))
    return 2.0 / sqrt(4.0 + apart) * common / (1.0 + power(amplification, 2))


def _joint_width(f1: Hz, f2: Hz, p1: ratio, p2: ratio, common: ratio) -> Hz:
    """Return p1^2 f1 + p2^2 f2 + 2 p1 p2 sqrt(f1 f2) c.

    As a sum of squares, so that it stays above zero over ranges of the inputs too.
    """
    first, second = p1 * sqrt(f1), p2 * sqrt(f2)
    return power(first + common * second, 2) + (1.0 - power(common, 2)) * power(second, 2)


def gain_squared(frequency: Hz, modes: Pair, shares: Pair, amplification: ratio) -> ratio:
    """Return |p1 H1 + p2 H2|^2 at a frequency, with the shares p of the modes; for numbers alone.

    H = (1 + i r/Q)/(1 - r^2 + i r/Q) with the ratio r of the frequency to the mode's: absolute
    acceleration over the base's, whose square is that of
    :func:`analyses.physics.vibration.transmissibility_squared`.
    """
    gain = 0j
    for mode, share in zip(modes, shares, strict=True):
        ratio = frequency / mode
        damping = 1j * ratio / amplification
        gain += share * (1.0 + damping) / (1.0 - ratio * ratio + damping)
    return abs(gain) ** 2


def integrated_response(modes: Pair, shares: Pair, amplification: ratio, spectrum: Spectrum) -> g0:
    """Return the rms in g0 of two modes together, integrated over the whole spectrum."""
    return vibration.integrated(
        lambda f: gain_squared(f, modes, shares, amplification), amplification, spectrum
    )
