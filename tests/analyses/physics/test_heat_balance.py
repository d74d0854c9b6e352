"""Heat balance against published temperatures, SciPy's integrators and the standard atmosphere."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
import scipy.constants
from scipy.integrate import quad, solve_ivp

from analyses.physics import heat_balance as heat


def test_constants() -> None:
    """CODATA 2018 by scipy.constants; ITS: 0 degC is 273.15 K."""
    assert scipy.constants.sigma == pytest.approx(heat.STEFAN_BOLTZMANN, rel=1e-10)
    assert scipy.constants.zero_Celsius == heat.ZERO_CELSIUS


# Published equilibrium temperatures; the solar constant stands beside each.
@pytest.mark.parametrize(
    ("absorbed", "emittance", "area", "kelvin", "digits"),
    [
        # sphere, absorptance = emittance, 1361 W/m2: 278.3 K (effective temperature at 1 au)
        (1361.0 * math.pi, 1.0, 4 * math.pi, 278.3214, 5e-5),
        # insulated plate that faces the Sun, 1361 W/m2: 393.6 K
        (1361.0, 1.0, 1.0, 393.6059, 5e-5),
        # plate that radiates on both faces, 1361 W/m2: 393.6059 / 2^(1/4) = 330.98 K
        (1361.0, 1.0, 2.0, 330.98, 5e-3),
        # insulated plate in white paint 0.20/0.88, 1361 W/m2: 271.8 K printed (NASA-HDBK-2001)
        (0.20 * 1361.0, 0.88, 1.0, 271.8, 0.05),
        # Earth without its air: albedo 0.30, 1361 W/m2: 255 K (any text on climate, from memory)
        (0.70 * 1361.0 * math.pi, 1.0, 4 * math.pi, 254.6, 0.1),
        # Moon below the Sun: albedo 0.11, 1361 W/m2: about 382 K (from memory)
        (0.89 * 1361.0, 1.0, 1.0, 382.3, 0.1),
        # insulated plate with 1366.1 W/m2 (ASTM E490): 393.97 K, 0.37 K more than with 1361
        (1366.1, 1.0, 1.0, 393.974, 5e-4),
    ],
)
def test_equilibrium(
    absorbed: float, emittance: float, area: float, kelvin: float, digits: float
) -> None:
    found = heat.equilibrium_temperature(absorbed, emittance, area)
    assert found == pytest.approx(kelvin, abs=digits)


def test_black_body() -> None:
    """sigma T^4: 459.30 W/m2 at 300 K (any text on heat transfer)."""
    assert heat.radiated(300.0) == pytest.approx(459.30, abs=5e-3)


def test_first_order() -> None:
    """After one time constant 63.2 % of the way is done (any text on control)."""
    assert heat.approach(0.0, 100.0, 7.0, 7.0) == pytest.approx(63.212, abs=5e-4)
    assert heat.approach(300.0, 280.0, 0.0, 7.0) == 300.0


# --- orbit ----------------------------------------------------------------------------------------


def test_orbit() -> None:
    """Circular orbit at 500 km: 94.6 min, 35.8 min of shadow at most (from memory)."""
    assert heat.orbit_period(500.0) / 60 == pytest.approx(94.6, abs=0.05)
    assert heat.longest_shadow(500.0) / 60 == pytest.approx(35.8, abs=0.05)
    # geostationary, 35 786 km: one sidereal day, 86 164 s, and 69.4 min of cylinder shadow
    assert heat.orbit_period(35786.0) == pytest.approx(86_164, abs=3)
    assert heat.longest_shadow(35786.0) / 60 == pytest.approx(69.4, abs=0.1)


def test_view_factor_of_a_sphere() -> None:
    """(R/r)^2: by quadrature over the cap that is seen, cosine of the angle off the plate."""
    ratio = 6378.137 / 6878.137
    half = math.asin(ratio)
    seen = quad(lambda a: 2 * math.sin(a) * math.cos(a), 0.0, half)[0]
    assert heat.view_of_earth(500.0) == pytest.approx(seen, rel=1e-12)


# --- free-molecular heating -----------------------------------------------------------------------


# Computed with ussa1976 0.3.4, a general-purpose implementation of the U.S. Standard Atmosphere
# 1976 that integrates its equations: geometric altitude in km, kg/m3, and how near it is to the
# printed table. Its integration drifts away from the print with altitude.
@pytest.mark.parametrize(
    ("altitude", "density", "near"),
    [
        (100.0, 5.6123e-7, 0.01), (110.0, 9.7491e-8, 0.01), (120.0, 2.2393e-8, 0.01),
        (130.0, 8.2387e-9, 0.02), (140.0, 3.8825e-9, 0.02), (150.0, 2.1092e-9, 0.02),
        (160.0, 1.2568e-9, 0.02), (180.0, 5.3216e-10, 0.03), (200.0, 2.6169e-10, 0.03),
        (250.0, 6.3344e-11, 0.05), (300.0, 2.0186e-11, 0.06), (400.0, 2.9843e-12, 0.07),
        (500.0, 5.5630e-13, 0.07),
    ],
)  # fmt: skip
def test_density_of_the_standard(altitude: float, density: float, near: float) -> None:
    assert heat.upper_density(altitude) == pytest.approx(density, rel=near)


def test_density_between_the_points() -> None:
    """ussa1976 0.3.4 at 112 km, 115 km and 116 km: a straight line of the logarithm is up to a
    tenth higher, on the safe side."""
    for altitude, density in ((112.0, 6.8720e-8), (115.0, 4.3149e-8), (116.0, 3.7441e-8)):
        assert density < heat.upper_density(altitude) < 1.10 * density


def test_free_molecular_flux() -> None:
    """1/2 rho v^3: 2.222e-8 kg/m3 (120 km) at 4 km/s gives 711 W/m2; 1135 W/m2 (0.1 BTU/ft2 s) is
    the usual limit at fairing release (from memory)."""
    assert heat.free_molecular_flux(2.222e-8, 4000.0) == pytest.approx(711.04, abs=5e-3)
    # 0.1 BTU/(ft2 s) in W/m2
    limit = 0.1 * scipy.constants.Btu / scipy.constants.foot**2
    assert limit == pytest.approx(1135, abs=1)


@pytest.mark.parametrize("altitude", [100.0, 110.0, 120.0, 150.0, 200.0])
def test_column_and_dose_by_quadrature(altitude: float) -> None:
    points = [z for z, _ in heat.UPPER_DENSITY if altitude <= z]
    column = sum(
        quad(lambda z: 1e3 * heat.upper_density(z), low, high, epsrel=1e-10)[0]
        for low, high in pairwise(points)
    )
    assert heat.column_above(altitude) == pytest.approx(column, rel=1e-8)
    dose = 0.5 * 4200.0**3 * column / 900.0
    assert heat.free_molecular_dose(altitude, 4200.0, 900.0) == pytest.approx(dose, rel=1e-8)


def test_column_between_the_points() -> None:
    """A straight line of the logarithm is up to 6 % higher, on the safe side."""
    column = sum(
        quad(lambda z: 1e3 * heat.upper_density(z), low, high, epsrel=1e-10)[0]
        for low, high in [(114.0, 120.0), (120.0, 150.0), (150.0, 200.0), (200.0, 500.0)]
    )
    assert column < heat.column_above(114.0) < 1.06 * column


# --- two nodes ------------------------------------------------------------------------------------


def test_march_against_scipy() -> None:
    """scipy.integrate.solve_ivp with a jump of the heat, tight tolerances."""
    nodes = heat.TwoNodes(2000.0, 400.0, 3.2, 0.6, 0.043)

    def warmth(t: float) -> tuple[float, float, float]:
        return (40.0 if t < 1500.0 else 5.0), 1.2, 288.0

    def rates(t: float, y: list[float], outer: float) -> list[float]:
        sky = 0.043 * (100.0 - 5.670374419e-8 * y[0] ** 4)
        between = 0.6 * (y[1] - y[0])
        return [
            (outer + 3.2 * (288.0 - y[0]) + between + sky) / 2000.0,
            (1.2 - between) / 400.0,
        ]

    exact = [290.0, 295.0]
    for span, outer in (((0.0, 1500.0), 40.0), ((1500.0, 5000.0), 5.0)):
        exact = solve_ivp(
            rates, span, exact, args=(outer,), method="DOP853", rtol=1e-11, atol=1e-10
        ).y[:, -1]
    times = [20.0 * i for i in range(251)]
    found = heat.march(nodes, (290.0, 295.0), warmth, lambda t: 100.0, times)
    assert found[-1] == pytest.approx(tuple(exact), abs=1e-5)


def test_march_without_radiation_ends_at_the_balance() -> None:
    """Two resistors in series: outer base + (Q1 + Q2)/G1, inner + Q2/G2."""
    nodes = heat.TwoNodes(100.0, 50.0, 2.0, 0.5, 0.0)
    found = heat.march(
        nodes, (290.0, 290.0), lambda t: (10.0, 3.0, 280.0), lambda t: 0.0,
        [10.0 * i for i in range(400)],
    )  # fmt: skip
    assert found[-1] == pytest.approx((280.0 + 13.0 / 2.0, 280.0 + 6.5 + 6.0), abs=1e-6)


def test_march_with_radiation_alone_ends_at_the_equilibrium() -> None:
    nodes = heat.TwoNodes(50.0, 5.0, 0.0, 1.0, 0.88)
    found = heat.march(
        nodes, (300.0, 300.0), lambda t: (0.2 * 1361.0, 0.0, 0.0), lambda t: 0.0,
        [5.0 * i for i in range(800)],
    )  # fmt: skip
    assert found[-1][0] == pytest.approx(271.8, abs=0.05)  # white paint, see above
