"""Heat balance of small bodies: radiation, lumped nodes, free-molecular heating, Earth's shadow.

SI units, temperatures in K unless a name says degC. Solar constant: 1361 W/m2 (Kopp and Lean, 2011;
the mean at 1 au); ECSS-E-ST-10-04C and ASTM E490 state 1366.1 W/m2. It is an argument everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Annotated, NamedTuple

from closeout.math import asin, exp, exprel, log, pi, power, sqrt, table
from closeout.units import J_per_K, K, Unit, W, W_m2, W_per_K, kg_m3, km, m2, m_s, ratio, s

J_per_m2 = Annotated[float, Unit("J/m^2")]
kg_per_m2 = Annotated[float, Unit("kg/m^2")]

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), exact in the SI to these digits
ZERO_CELSIUS = 273.15  # K
EARTH_RADIUS = 6378.137  # km, equatorial radius of WGS 84
EARTH_GM = 398_600.4418  # km3/s2, WGS 84

# U.S. Standard Atmosphere 1976, table of the upper part, from memory: geometric altitude in km,
# density in kg/m3. A day at high solar activity is denser above about 150 km.
UPPER_DENSITY = (
    (100.0, 5.604e-7), (110.0, 9.708e-8), (120.0, 2.222e-8), (130.0, 8.152e-9),
    (140.0, 3.831e-9), (150.0, 2.076e-9), (160.0, 1.233e-9), (180.0, 5.194e-10),
    (200.0, 2.541e-10), (250.0, 6.073e-11), (300.0, 1.916e-11), (400.0, 2.803e-12),
    (500.0, 5.215e-13),
)  # fmt: skip


def radiated(temperature: K) -> W_m2:
    """Return what a black body radiates: sigma T^4, in W/m2."""
    return STEFAN_BOLTZMANN * power(temperature, 4)


def equilibrium_temperature(absorbed: W, emittance: ratio, area: m2) -> K:
    """Return the temperature at which an area radiates what a body takes in, in W, to deep space.

    (Q / (epsilon sigma A))^(1/4). The 2.7 K of deep space are left out: they are 3e-6 W/m2.
    """
    return sqrt(sqrt(absorbed / (emittance * STEFAN_BOLTZMANN * area)))


def approach(start: K, end: K, time: s, time_constant: s) -> K:
    """Return where a first-order body is after a time: end + (start - end) e^(-t/tau)."""
    return end + (start - end) * exp(-time / time_constant)


def view_of_earth(geometric_altitude: km) -> ratio:
    """Return the view factor from a small plate that faces Earth: (R / (R + h))^2; km.

    Any handbook of view factors: disc or sphere against a small plate that faces it.
    """
    return power(EARTH_RADIUS / (EARTH_RADIUS + geometric_altitude), 2)


def orbit_period(geometric_altitude: km) -> s:
    """Return the period of a circular orbit in s: 2 pi sqrt(a^3/GM); km."""
    return 2.0 * pi * sqrt(power(EARTH_RADIUS + geometric_altitude, 3) / EARTH_GM)


def longest_shadow(geometric_altitude: km) -> s:
    """Return the longest time in Earth's shadow of a circular orbit in s; km.

    The Sun in the orbit's plane, a cylinder of shadow: P/pi asin(R / (R + h)).
    """
    angle = asin(EARTH_RADIUS / (EARTH_RADIUS + geometric_altitude))
    return orbit_period(geometric_altitude) / pi * angle


# free-molecular heating


def upper_density(geometric_altitude: km) -> kg_m3:
    """Return the density of the air in kg/m3 from 100 km to 500 km, exponential between points."""
    return exp(table(geometric_altitude, [(z, log(rho)) for z, rho in UPPER_DENSITY]))


def free_molecular_flux(density: kg_m3, speed: m_s) -> W_m2:
    """Return the heating of a face that meets the air, in W/m2: 1/2 rho v^3.

    Free molecular flow, accommodation coefficient 1, face across the flow: the usual criterion for
    the release of a fairing. kg/m3 and m/s.
    """
    return 0.5 * density * power(speed, 3)


def column_above(geometric_altitude: km) -> kg_per_m2:
    """Return the mass of air above an altitude up to 500 km, in kg/m2; exponential between points.

    The column above each point of the table is the sum of the exact integrals of its pieces.
    """
    columns = [(UPPER_DENSITY[-1][0], 0.0)]
    for (z1, rho1), (z0, rho0) in pairwise(reversed(UPPER_DENSITY)):
        piece = rho0 * (z1 - z0) * 1e3 * exprel(log(rho1 / rho0))
        columns.append((z0, columns[-1][1] + piece))
    points = [(z, log(column)) for z, column in reversed(columns) if column > 0.0]
    return exp(table(geometric_altitude, points))


def free_molecular_dose(geometric_altitude: km, speed: m_s, climb_rate: m_s) -> J_per_m2:
    """Return the heat of a climb through the air above, in J/m2: 1/2 v^3 (column) / w.

    The integral of 1/2 rho v^3 over the time, at a constant speed (m/s) and rate of climb (m/s).
    """
    return 0.5 * power(speed, 3) * column_above(geometric_altitude) / climb_rate


# two nodes


class TwoNodes(NamedTuple):
    """An outer node that radiates and is tied to a base, and an inner node tied to the outer one.

    Heat capacities in J/K, conductances in W/K, radiating area x emittance in m2.
    """

    outer_capacity: J_per_K
    inner_capacity: J_per_K
    base_conductance: W_per_K
    inner_conductance: W_per_K
    radiating_area: m2


Heat = Callable[[float], tuple[float, float, float]]  # at a time: W outer, W inner, K of the base
Radiation = Callable[[float], float]  # at a time: black-body surroundings of the outer node, W/m2


def march(
    nodes: TwoNodes,
    start: tuple[float, float],
    heat: Heat,
    surroundings: Radiation,
    times: list[s],
) -> list[tuple[float, float]]:
    """Return the temperatures (outer, inner) in K at each time, by the fourth-order Runge-Kutta.

    C1 dT1/dt = Q1 + G1 (Tb - T1) + G2 (T2 - T1) + A eps (q - sigma T1^4)
    C2 dT2/dt = Q2 + G2 (T1 - T2)

    Heat and surroundings are constant over a step, as at its middle, so that a step in them between
    two times is met exactly.
    """

    def rates(outer: float, inner: float) -> tuple[float, float]:
        between = nodes.inner_conductance * (inner - outer)
        sky = nodes.radiating_area * (around - STEFAN_BOLTZMANN * outer**4)
        out = warm + nodes.base_conductance * (base - outer) + between + sky
        return out / nodes.outer_capacity, (inside - between) / nodes.inner_capacity

    course = [start]
    for low, high in pairwise(times):
        at, step = 0.5 * (low + high), high - low
        (warm, inside, base), around = heat(at), surroundings(at)
        x, y = course[-1]
        a = rates(x, y)
        b = rates(x + 0.5 * step * a[0], y + 0.5 * step * a[1])
        c = rates(x + 0.5 * step * b[0], y + 0.5 * step * b[1])
        d = rates(x + step * c[0], y + step * c[1])
        course.append(
            (
                x + step / 6.0 * (a[0] + 2.0 * (b[0] + c[0]) + d[0]),
                y + step / 6.0 * (a[1] + 2.0 * (b[1] + c[1]) + d[1]),
            )
        )
    return course
