"""Groups in series: SciPy's integrator, matrix exponential and quadrature, and published cells.

Every expected value is the library's or the publication's that is named beside it; capacities,
charges and losses of the rows are invented.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.linalg import expm

from analyses.physics.cell_string import (
    Group,
    charge_given,
    energy_given,
    rest_voltage,
    rested,
)
from analyses.physics.lithium_ion import OPEN_CIRCUIT_VOLTAGE, arrhenius_factor, stored_energy
from tests.analyses.physics.test_lithium_ion import published_voltage

X, Y = zip(*OPEN_CIRCUIT_VOLTAGE, strict=True)
CHORD = 0.0014  # W h/A h: at most so far is the stored energy above the integral (lithium_ion)


def volts(fraction: float) -> float:
    """Return the open-circuit voltage by NumPy."""
    return float(np.interp(fraction, X, Y))


def energy_by_quad(low: float, high: float) -> float:
    """Return the integral of the open-circuit voltage, in W h for each A h, by SciPy."""
    knots = [x for x in X if low < x < high]
    return float(quad(volts, low, high, points=knots or None, epsabs=1e-12, limit=200)[0])


# rest


@pytest.mark.parametrize(
    ("groups", "losses", "temperatures", "microamperes", "days"),
    [
        # a full string on the pad; the second group leaks more, is warmer and smaller
        ((Group(6.6, 0.97), Group(6.4, 0.96)), (0.018, 0.022), (26.5, 27.5), 70.0, 28.0),
        # a third charged, three months of transport
        ((Group(6.6, 0.30), Group(6.5, 0.29)), (0.02, 0.03), (20.0, 24.0), 20.0, 90.0),
        # a drain that takes as much as the leak does
        ((Group(3.0, 0.80), Group(2.9, 0.75)), (0.01, 0.05), (35.0, 35.0), 300.0, 60.0),
    ],
)
def test_two_groups_in_series_rest_as_scipy_integrates_them(
    groups: tuple[Group, Group], losses: tuple[float, float], temperatures: tuple[float, float],
    microamperes: float, days: float,
) -> None:  # fmt: skip
    """scipy.integrate.solve_ivp of both at once, dq/dt = -k q - I, one current through both."""
    rates = [
        -math.log(1 - loss) / 30.4375 * 2.0 ** ((warm - 20) / 10)
        for loss, warm in zip(losses, temperatures, strict=True)
    ]
    march = solve_ivp(
        lambda _, q: [-rates[0] * q[0] - microamperes * 24e-6,
                      -rates[1] * q[1] - microamperes * 24e-6],
        (0, days), [g.capacity * g.charge for g in groups], method="DOP853", rtol=1e-12, atol=1e-13,
    )  # fmt: skip
    found = [
        rested(group, loss, 2.0, warm, 20.0, microamperes * 24e-6, days)
        for group, loss, warm in zip(groups, losses, temperatures, strict=True)
    ]
    for group, left in zip(found, march.y[:, -1], strict=True):
        assert group.charge * group.capacity == pytest.approx(left, rel=1e-10)
        assert rest_voltage(group) == pytest.approx(volts(left / group.capacity), abs=1e-9)


@pytest.mark.parametrize(("loss", "microamperes", "days"), [(0.02, 70.0, 28.0), (0.10, 5.0, 200.0)])
def test_rest_as_the_matrix_exponential_has_it(
    loss: float, microamperes: float, days: float
) -> None:
    """scipy.linalg.expm of (q, 1)' = ((-k, -I), (0, 0)) (q, 1): no integrator, no closed form."""
    rate = -math.log(1 - loss) / 30.4375
    step = expm(np.array([[-rate, -microamperes * 24e-6], [0.0, 0.0]]) * days)
    left = float((step @ [6.5 * 0.97, 1.0])[0])
    found = rested(Group(6.5, 0.97), loss, 2.0, 20.0, 20.0, microamperes * 24e-6, days)
    assert found.charge * 6.5 == pytest.approx(left, rel=1e-12)


def test_a_rate_that_doubles_from_25_to_35_degc() -> None:
    """An activation energy of 52.9 kJ/mol: the rule of thumb of general chemistry (from memory)."""
    assert arrhenius_factor(52.9, 35.0, 25.0) == pytest.approx(2.0, abs=2e-3)


# energy


@pytest.mark.parametrize(
    ("charge", "taken", "near"),
    [
        (0.90, 4.2, 1e-9),  # from knot to knot of the curve, 0.90 to 0.20: exact
        (1.00, 6.0, 1e-9),  # the whole of 6 A h
        (0.967, 4.5, 6 * CHORD),  # between knots a chord stands for the parabola
        (0.31, 1.33, 6 * CHORD),
    ],
)
def test_energy_given_by_quadrature(charge: float, taken: float, near: float) -> None:
    """scipy.integrate.quad of the open-circuit voltage."""
    expected = 6.0 * energy_by_quad(charge - taken / 6.0, charge)
    assert energy_given(Group(6.0, charge), taken) == pytest.approx(expected, abs=near)


@pytest.mark.parametrize(
    ("strong", "weak", "floor", "watts"),
    [
        (Group(6.6, 0.96), Group(6.4, 0.95), 0.05, 13.0),
        (Group(6.6, 0.96), Group(5.9, 0.70), 0.10, 26.0),  # a weak one that ends it early
        (Group(3.3, 0.50), Group(3.2, 0.50), 0.02, 3.0),
    ],
)
def test_two_groups_discharged_at_constant_power(
    strong: Group, weak: Group, floor: float, watts: float
) -> None:
    """scipy.integrate.solve_ivp of dq/dt = -P/(U1 + U2) until the weak one is at the floor."""

    def rates(_: float, q: np.ndarray) -> list[float]:
        current = watts / (volts(q[0] / strong.capacity) + volts(q[1] / weak.capacity))
        return [-current, -current]

    def ends(_: float, q: np.ndarray) -> float:
        return float(q[1] / weak.capacity - floor)

    ends.terminal = True  # type: ignore[attr-defined]
    march = solve_ivp(
        rates, (0, 40), [g.capacity * g.charge for g in (strong, weak)], events=ends,
        rtol=1e-9, atol=1e-10, max_step=0.02,
    )  # fmt: skip
    hours = float(march.t_events[0][0])
    taken = charge_given(weak, floor)
    assert taken == pytest.approx(strong.capacity * strong.charge - march.y[0, -1], abs=1e-7)
    found = energy_given(strong, taken) + energy_given(weak, taken)
    assert found == pytest.approx(watts * hours, abs=CHORD * (strong.capacity + weak.capacity))


@pytest.mark.parametrize(("high", "low"), [(0.96, 0.10), (0.96, 0.50), (0.30, 0.05)])
def test_energy_lies_a_little_below_that_of_a_published_cell(high: float, low: float) -> None:
    """Chen et al., J. Electrochem. Soc. 167 (2020) 080534, by scipy.integrate.quad.

    The invented curve is drawn 0 mV to 60 mV below it (test_lithium_ion), so its energy is too.
    """
    published = quad(published_voltage, low, high, epsabs=1e-10)[0]
    found = energy_given(Group(1.0, high), high - low)
    assert -0.005 * (high - low) <= published - found <= 0.06 * (high - low)


@pytest.mark.parametrize(
    ("ampere_hours", "watt_hours"),
    # Data sheets of 18650 and 21700 cells of this chemistry, LG MJ1 and LG M50 (from memory).
    [(3.5, 12.72), (5.0, 18.2)],
)
def test_energy_of_a_full_cell_is_that_of_data_sheets(
    ampere_hours: float, watt_hours: float
) -> None:
    """They print the energy under a load of a fifth of the capacity: some per cent below rest."""
    assert 1.0 < ampere_hours * stored_energy(1.0) / watt_hours < 1.05
