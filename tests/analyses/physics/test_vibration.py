"""Vibration formulas against published levels, handbook factors, finite elements and quadrature."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.linalg import eigh
from scipy.optimize import brentq

from analyses.physics import vibration as v

# GSFC-STD-7000A, Table 2.4-3, up to 22.7 kg.
QUALIFICATION = [(20.0, 0.026), (50.0, 0.16), (800.0, 0.16), (2000.0, 0.026)]
# MIL-STD-1540B, workmanship of components; the level is printed with it (from memory).
COMPONENT = [(20.0, 0.0053), (150.0, 0.04), (600.0, 0.04), (2000.0, 0.0036)]


# --- levels -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spectrum", "printed"),
    [
        (QUALIFICATION, 14.1),
        # GSFC-STD-7000A, Table 2.4-3, acceptance.
        ([(20.0, 0.013), (50.0, 0.08), (800.0, 0.08), (2000.0, 0.013)], 10.0),
        # GSFC-STD-7000A, minimum workmanship, 3 dB an octave up and down (from memory).
        ([(20.0, 0.01), (80.0, 0.04), (500.0, 0.04), (2000.0, 0.01)], 6.8),
        # NAVMAT P-9492, stress screening, printed 6.06 (from memory).
        ([(20.0, 0.01), (80.0, 0.04), (350.0, 0.04), (2000.0, 0.007)], 6.06),
        (COMPONENT, 6.1),
    ],
)
def test_overall_level_as_printed(spectrum: list[tuple[float, float]], printed: float) -> None:
    digits = 0.05 if printed != 6.06 else 0.005
    assert v.overall_level(spectrum) == pytest.approx(printed, abs=digits)


def test_overall_level_with_more_digits() -> None:
    """GSFC-STD-7000A, Table 2.4-3: 14.135614 by the closed form of each piece."""
    assert v.overall_level(QUALIFICATION) == pytest.approx(14.135614, abs=5e-7)


@pytest.mark.parametrize("spectrum", [QUALIFICATION, COMPONENT, [(50.0, 0.16), (100.0, 0.08)]])
def test_overall_level_by_quadrature(spectrum: list[tuple[float, float]]) -> None:
    """SciPy's quad over the density; the last spectrum falls with exactly 3 dB an octave."""
    area = sum(
        quad(lambda f: v.density_at(f, spectrum), low, high, epsabs=0, epsrel=1e-11)[0]
        for (low, _), (high, _) in pairwise(spectrum)
    )
    assert v.overall_level(spectrum) == pytest.approx(math.sqrt(area), rel=1e-9)


def test_three_decibels_an_octave_is_the_logarithmic_case() -> None:
    """S = S1 f1/f has the area S1 f1 ln(f2/f1)."""
    assert v.overall_level([(50.0, 0.16), (100.0, 0.08)]) == pytest.approx(
        math.sqrt(8.0 * math.log(2.0)), rel=1e-12
    )


def test_density_is_straight_on_log_log_paper() -> None:
    """GSFC-STD-7000A prints +6 dB an octave from 20 Hz to 50 Hz: 4 times at twice the frequency."""
    assert v.density_at(40.0, QUALIFICATION) / 0.026 == pytest.approx(4.0, rel=0.02)
    assert v.density_at(800.0, QUALIFICATION) == pytest.approx(0.16, rel=1e-12)
    with pytest.raises(ValueError, match="outside the table"):
        v.density_at(10.0, QUALIFICATION)


# --- response of one mode -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("frequency", "amplification", "density", "rms"),
    [(200.0, 20.0, 0.04, 15.85331), (300.0, 10.0, 0.1, 21.70804)],
)
def test_miles(frequency: float, amplification: float, density: float, rms: float) -> None:
    """R. Simmons, NASA GSFC FEMCI (2001): sqrt(pi/2 fn Q ASD)."""
    assert v.miles(frequency, amplification, density) == pytest.approx(rms, abs=5e-6)


def test_transmissibility() -> None:
    """Any text on vibration: 1 at rest, sqrt(1 + Q^2) at the mode, 1 again at sqrt(2) times it."""
    assert v.transmissibility_squared(0.0, 10.0) == 1.0
    assert v.transmissibility_squared(1.0, 10.0) == pytest.approx(101.0, rel=1e-12)
    assert v.transmissibility_squared(math.sqrt(2.0), 10.0) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("amplification", [3.0, 10.0, 25.0])
def test_flat_response_is_the_whole_integral(amplification: float) -> None:
    """SciPy's quad from zero to infinity, the resonance given as a break."""

    def density(f: float) -> float:
        return 0.1 * v.transmissibility_squared(f / 200.0, amplification)

    area = sum(
        quad(density, low, high, epsabs=0, epsrel=1e-10, limit=400)[0]
        for low, high in [(0.0, 190.0), (190.0, 210.0), (210.0, 1000.0), (1000.0, np.inf)]
    )
    assert v.flat_response(200.0, amplification, 0.1) == pytest.approx(math.sqrt(area), rel=1e-8)


@pytest.mark.parametrize("spectrum", [QUALIFICATION, COMPONENT])
@pytest.mark.parametrize("frequency", [15.0, 40.0, 140.0, 700.0, 1500.0, 3000.0])
@pytest.mark.parametrize("amplification", [5.0, 12.0, 50.0])
def test_integrated_response_by_quadrature(
    spectrum: list[tuple[float, float]], frequency: float, amplification: float
) -> None:
    def density(f: float) -> float:
        ratio = f / frequency
        damping = (ratio / amplification) ** 2
        gain = (1 + damping) / ((1 - ratio**2) ** 2 + damping)
        return gain * v.density_at(f, spectrum)

    breaks = sorted({f for f, _ in spectrum} | {x * frequency for x in (0.9, 1.0, 1.1)})
    breaks = [f for f in breaks if spectrum[0][0] <= f <= spectrum[-1][0]]
    area = sum(
        quad(density, low, high, epsabs=0, epsrel=1e-9, limit=400)[0]
        for low, high in pairwise(breaks)
    )
    found = v.integrated_response(frequency, amplification, spectrum)
    assert found == pytest.approx(math.sqrt(area), rel=2e-4)


@pytest.mark.parametrize("frequency", [25.0, 40.0, 140.0, 400.0, 800.0, 1200.0, 1990.0])
@pytest.mark.parametrize("amplification", [5.0, 12.0, 50.0])
def test_no_response_is_above_the_bound(frequency: float, amplification: float) -> None:
    for spectrum in (QUALIFICATION, COMPONENT):
        highest = max(density for _, density in spectrum)
        bound = v.flat_response(frequency, amplification, highest)
        assert v.integrated_response(frequency, amplification, spectrum) < bound
        density = v.density_at(frequency, spectrum)
        assert v.miles(frequency, amplification, density) < bound


def test_miles_is_unsafe_where_the_spectrum_is_not_flat() -> None:
    """S: on a slope Miles can be too low; in the middle of a wide flat it is nearly exact."""
    for frequency in (1200.0, 1500.0, 1800.0):  # at 1990 Hz the spectrum's end cuts the resonance
        low = v.miles(frequency, 8.0, v.density_at(frequency, QUALIFICATION))
        assert v.integrated_response(frequency, 8.0, QUALIFICATION) > 1.05 * low
    middle = v.miles(200.0, 20.0, 0.16)
    assert v.integrated_response(200.0, 20.0, QUALIFICATION) == pytest.approx(middle, rel=5e-3)


# --- natural frequencies --------------------------------------------------------------------------


def characteristic(ends: str, x: float) -> float:
    """Return the characteristic function of a uniform beam, zero at lambda."""
    product = math.cos(x) * math.cosh(x)
    return {
        "clamped, free": product + 1.0,
        "clamped, clamped": product - 1.0,
        "clamped, pinned": math.tan(x) - math.tanh(x),
    }[ends]


# Blevins, Formulas for Natural Frequency and Mode Shape, table 8-1 (from memory).
@pytest.mark.parametrize(
    ("ends", "bracket", "factor"),
    [
        ("clamped, free", (1.5, 2.5), 1.87510407),
        ("clamped, clamped", (4.0, 5.0), 4.73004074),
        ("clamped, pinned", (3.8, 4.2), 3.92660231),
    ],
)
def test_handbook_factors_are_roots(ends: str, bracket: tuple[float, float], factor: float) -> None:
    root = brentq(lambda x: characteristic(ends, x), *bracket, xtol=1e-13)
    assert root == pytest.approx(factor, abs=5e-9)


def beam_matrices(stiffness: float, line_mass: float, length: float, count: int):
    """Return stiffness and mass of a beam of cubic elements (Hermite), 2 unknowns a node."""
    h = length / count
    k = np.array(
        [
            [12, 6 * h, -12, 6 * h],
            [6 * h, 4 * h * h, -6 * h, 2 * h * h],
            [-12, -6 * h, 12, -6 * h],
            [6 * h, 2 * h * h, -6 * h, 4 * h * h],
        ]
    ) * (stiffness / h**3)
    m = np.array(
        [
            [156, 22 * h, 54, -13 * h],
            [22 * h, 4 * h * h, 13 * h, -3 * h * h],
            [54, 13 * h, 156, -22 * h],
            [-13 * h, -3 * h * h, -22 * h, 4 * h * h],
        ]
    ) * (line_mass * h / 420)
    whole_k, whole_m = np.zeros((2 * count + 2,) * 2), np.zeros((2 * count + 2,) * 2)
    for e in range(count):
        part = slice(2 * e, 2 * e + 4)
        whole_k[part, part] += k
        whole_m[part, part] += m
    return whole_k, whole_m


@pytest.mark.parametrize(
    ("factor", "free"),
    [(1.87510407, slice(2, None)), (4.73004074, slice(2, -2)), (math.pi, None)],
)
def test_beam_frequency_by_finite_elements(factor: float, free: slice | None) -> None:
    """Twenty cubic elements with scipy.linalg.eigh: cantilever, clamped at both ends, pinned."""
    k, m = beam_matrices(33.6, 0.81, 0.3, 20)
    kept = np.arange(len(k))
    kept = kept[free] if free is not None else np.delete(kept, [0, len(k) - 2])
    lowest = eigh(k[np.ix_(kept, kept)], m[np.ix_(kept, kept)], eigvals_only=True)[0]
    found = v.beam_frequency(factor, 33.6 / 4e-10, 4e-10, 0.81, 0.3)
    assert found == pytest.approx(math.sqrt(lowest) / (2 * math.pi), rel=1e-5)


def test_guided_leg_by_finite_elements() -> None:
    """A slender leg: clamped below, the top moved by a unit force and kept from turning."""
    inertia = v.rectangle_inertia(0.14, 0.004)
    k, _ = beam_matrices(70e9 * inertia, 1.0, 1.0, 4)
    kept = np.delete(np.arange(len(k)), [0, 1, len(k) - 1])
    force = np.zeros(len(kept))
    force[-1] = 1.0
    deflection = np.linalg.solve(k[np.ix_(kept, kept)], force)[-1]
    assert v.guided_leg_stiffness(70e9, 0.33, 0.14, 0.004, 1.0) == pytest.approx(
        1 / deflection, rel=1e-4
    )


def test_shear_softens_a_short_leg() -> None:
    """Bending alone gives 12 E I/L^3 (Young, from memory); shear comes in series."""
    bending = 12 * 70e9 * v.rectangle_inertia(0.004, 0.14) / 0.04**3
    assert v.guided_leg_stiffness(70e9, 0.33, 0.004, 0.14, 0.04) < 0.1 * bending


def test_plate_by_finite_differences() -> None:
    """Simple supports: the plate's eigenvalue is the square of the membrane's (Laplacian)."""

    def lowest(length: float, count: int) -> float:
        h = length / count
        line = (2 * np.eye(count - 1) - np.eye(count - 1, k=1) - np.eye(count - 1, k=-1)) / h**2
        return float(eigh(line, eigvals_only=True)[0])

    membrane = lowest(0.14, 300) + lowest(0.10, 300)
    rigidity = 22e9 * 0.0016**3 / (12 * (1 - 0.12**2))
    expected = membrane * math.sqrt(rigidity / 5.0) / (2 * math.pi)
    assert v.plate_frequency(22e9, 0.12, 0.0016, 5.0, 0.14, 0.10) == pytest.approx(
        expected, rel=1e-4
    )


def test_square_plate_factor() -> None:
    """Leissa, NASA SP-160: omega a^2 sqrt(m''/D) = 19.739 for a square on simple supports."""
    rigidity = 70e9 * 0.002**3 / (12 * (1 - 0.3**2))
    omega = 2 * math.pi * v.plate_frequency(70e9, 0.3, 0.002, 5.4, 0.2, 0.2)
    assert omega * 0.04 * math.sqrt(5.4 / rigidity) == pytest.approx(19.739, abs=5e-4)


def test_dunkerley_is_below_the_exact_frequency() -> None:
    """Two degrees of freedom (sliding, rocking) solved by scipy.linalg.eigh."""
    mass, height, gyration, k, kr = 3.2, 0.055, 0.05, 9.0e6, 4.0e5
    inertia = np.diag([mass, mass * gyration**2])
    # motion of the centre of gravity u and turn t: the mounting moves by u - h t
    stiffness = np.array([[k, -k * height], [-k * height, k * height**2 + kr]])
    exact = math.sqrt(eigh(stiffness, inertia, eigvals_only=True)[0]) / (2 * math.pi)
    found = v.translation_and_rocking(mass, 1 / k, height, gyration, kr)
    assert 0.95 * exact < found < exact


def test_standard_gravity_is_no_gram() -> None:
    """3rd CGPM (1901): g0 = 9.80665 m/s2."""
    assert v.STANDARD_GRAVITY == 9.80665
