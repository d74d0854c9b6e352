"""Two modes of a box on its mounting, against scipy's eigenvalues and integrals."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.linalg import eigh

from analyses.physics import two_modes, vibration
from analyses.physics.two_modes import TwoModes, sliding_and_rocking

mass = st.floats(0.1, 50.0)
flexibility = st.floats(1e-9, 1e-6)
length = st.floats(0.005, 0.5)
turning = st.floats(1e2, 1e7)


def by_scipy(m: float, c: float, h: float, r: float, k: float) -> TwoModes:
    """Return the same of displacement and rotation in the mounting plane, by scipy.linalg.eigh."""
    inertia = np.array([[m, m * h], [m * h, m * (h * h + r * r)]])
    squares, shapes = eigh(np.diag([1 / c, k]), inertia)
    taken = shapes.T @ inertia @ np.array([1.0, 0.0])
    # Of a mode: m x'' of the centre of gravity, and m h x'' + m r^2 theta'' over m h.
    shear = (shapes[0] + h * shapes[1]) * taken
    moment = shear + r * r / h * shapes[1] * taken
    first, second = np.sqrt(squares) / (2 * math.pi)
    return TwoModes((first, second), tuple(shear), tuple(moment))


@given(m=mass, c=flexibility, h=length, r=length, k=turning)
@example(m=1.0, c=1e-8, h=0.1, r=0.1, k=1e6)
@example(m=1.0, c=1e-9, h=0.01, r=0.2, k=1e6)  # rocks first
def test_modes_as_scipy_has_them(m: float, c: float, h: float, r: float, k: float) -> None:
    found, known = sliding_and_rocking(m, c, h, r, k), by_scipy(m, c, h, r, k)
    assert found.frequency == pytest.approx(known.frequency, rel=1e-6)
    assert found.shear == pytest.approx(known.shear, rel=1e-6, abs=1e-6)
    assert found.moment == pytest.approx(known.moment, rel=1e-6, abs=1e-6 * (1 + r / h))


@given(m=mass, c=flexibility, h=length, r=length, k=turning)
def test_a_box_at_rest_follows_its_base(m: float, c: float, h: float, r: float, k: float) -> None:
    """Slowly moved: shear m x a and moment m x h x a, without any of m r^2 theta''."""
    found = sliding_and_rocking(m, c, h, r, k)
    assert sum(found.shear) == pytest.approx(1.0, rel=1e-12)
    assert sum(found.moment) == pytest.approx(1.0, abs=1e-9 * (1 + r / h))


@given(m=mass, c=flexibility, h=length, r=length, k=turning)
def test_dunkerley_is_below_the_first_mode(
    m: float, c: float, h: float, r: float, k: float
) -> None:
    """S: the lower bound is safe for stiffness; what is below the mode is unsafe for loads."""
    bound = vibration.translation_and_rocking(m, c, h, r, k)
    assert bound <= sliding_and_rocking(m, c, h, r, k).frequency[0] * (1 + 1e-12)


def test_sliding_alone_and_rocking_alone() -> None:
    """On a stiff spring for turning the first mode is sqrt(k/m); rocking has no share then."""
    found = sliding_and_rocking(2.0, 1e-6, 0.05, 0.05, 1e12)
    assert found.frequency[0] == pytest.approx(vibration.natural_frequency(1e6, 2.0), rel=1e-6)
    assert found.shear == pytest.approx((1.0, 0.0), abs=1e-6)
    assert found.moment == pytest.approx((1.0, 0.0), abs=1e-6)


# What two modes answer --------------------------------------------------------------------------


def gain_by_hand(f: float, modes: tuple[float, float], shares: tuple[float, float], q: float):  # type: ignore[no-untyped-def]
    """Return |p1 H1 + p2 H2|^2 with viscous damping, of the equation of motion of each mode."""
    total = 0.0
    for mode, share in zip(modes, shares, strict=True):
        w, w0 = 2 * math.pi * f, 2 * math.pi * mode
        total += share * (w0**2 + 1j * w * w0 / q) / (w0**2 - w**2 + 1j * w * w0 / q)
    return abs(total) ** 2


CASES = [
    ((260.0, 830.0), (0.979, 0.021), 9.0),
    ((260.0, 830.0), (1.109, -0.109), 9.0),
    ((100.0, 103.0), (0.6, 0.4), 20.0),
    ((100.0, 103.0), (1.7, -0.7), 20.0),
    ((100.0, 100.0), (0.3, 0.7), 5.0),
    ((50.0, 1900.0), (0.5, 0.5), 3.0),
]


@pytest.mark.parametrize(("modes", "shares", "q"), CASES)
def test_flat_response_by_quadrature(
    modes: tuple[float, float], shares: tuple[float, float], q: float
) -> None:
    """SciPy's quad from zero to infinity, cut at the modes and far above them."""
    cuts = [0.0, *sorted({0.9 * modes[0], *modes, 1.1 * modes[1], 10 * modes[1]}), math.inf]
    area = sum(
        quad(gain_by_hand, low, high, args=(modes, shares, q), epsrel=1e-10, limit=400)[0]
        for low, high in itertools.pairwise(cuts)
    )
    found = two_modes.flat_response(modes, shares, q, 0.16)
    assert found == pytest.approx(math.sqrt(0.16 * area), rel=1e-8)


@pytest.mark.parametrize(("modes", "shares", "q"), CASES)
def test_integrated_response_by_quadrature(
    modes: tuple[float, float], shares: tuple[float, float], q: float
) -> None:
    spectrum = [(20.0, 0.026), (50.0, 0.16), (800.0, 0.16), (2000.0, 0.026)]
    cuts = sorted({20.0, 50.0, 800.0, 2000.0, *modes})
    area = sum(
        quad(
            lambda f: gain_by_hand(f, modes, shares, q) * vibration.density_at(f, spectrum),
            low, high, epsrel=1e-10, limit=400,
        )[0]
        for low, high in itertools.pairwise(cuts)
    )  # fmt: skip
    found = two_modes.integrated_response(modes, shares, q, spectrum)
    assert found == pytest.approx(math.sqrt(area), rel=1e-4)
    assert found <= two_modes.flat_response(modes, shares, q, 0.16)


def test_one_mode_is_the_single_one() -> None:
    one = vibration.flat_response(200.0, 9.0, 0.04)
    assert two_modes.flat_response((200.0, 700.0), (1.0, 0.0), 9.0, 0.04) == pytest.approx(one)
    # Two halves of one frequency move as one.
    assert two_modes.flat_response((200.0, 200.0), (0.4, 0.6), 9.0, 0.04) == pytest.approx(one)


def test_the_root_of_the_sum_of_squares_is_no_bound() -> None:
    """S: with shares of one sign near each other, modes combined by squares are too low."""
    modes, shares, q = (100.0, 103.0), (0.6, 0.4), 20.0
    squares = math.hypot(
        *(p * vibration.flat_response(f, q, 1.0) for f, p in zip(modes, shares, strict=True))
    )
    assert squares < 0.8 * two_modes.flat_response(modes, shares, q, 1.0)
