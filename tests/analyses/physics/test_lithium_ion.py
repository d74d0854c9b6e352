"""Cells at rest, against published values, SciPy's integrator and a published voltage curve."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from analyses.physics.lithium_ion import (
    DAYS_PER_MONTH,
    EMPTY_CELL_VOLTAGE,
    FULL_CELL_VOLTAGE,
    GAS_CONSTANT,
    OPEN_CIRCUIT_VOLTAGE,
    arrhenius_factor,
    charge_after,
    charge_fraction,
    charge_fraction_of_energy,
    days_until_charge,
    open_circuit_voltage,
    q10_factor,
    self_discharge_rate,
    stored_energy,
)

fractions = st.floats(0, 1)
charges = st.floats(0.1, 50)  # A h
losses = st.floats(0.002, 0.6)  # in a month
drains = st.floats(1e-4, 0.5)  # A h/d


@pytest.mark.parametrize(
    ("loss", "microamperes", "days", "expected"),
    [
        # Closed form worked out apart from this project: 3.35 A h, month of 30.4375 d.
        (0.02, 50, 90, 3.050904),
        (0.03, 50, 180, 2.600133),
    ],
)
def test_self_discharge_and_drain_together(
    loss: float, microamperes: float, days: float, expected: float
) -> None:
    found = charge_after(3.35, self_discharge_rate(loss), microamperes * 24e-6, days)
    assert found == pytest.approx(expected, abs=5e-7)


def test_adding_the_two_losses_is_another_and_lower_value() -> None:
    rate, drain = self_discharge_rate(0.02), 50 * 24e-6
    added = 3.35 * math.exp(-rate * 90) - drain * 90
    assert added == pytest.approx(3.047741, abs=5e-7)  # the wrong one, worked out in the same way
    assert added < charge_after(3.35, rate, drain, 90)


@given(charges, losses, drains, st.floats(0.1, 400))
def test_adding_the_two_losses_is_on_the_safe_side(
    charge: float, loss: float, drain: float, days: float
) -> None:
    rate = self_discharge_rate(loss)
    added = charge * math.exp(-rate * days) - drain * days
    assert added <= charge_after(charge, rate, drain, days) + 1e-9 * (charge + drain * days)


@given(charges, losses, drains, st.floats(0.1, 400))
def test_closed_form_solves_the_differential_equation(
    charge: float, loss: float, drain: float, days: float
) -> None:
    rate = -math.log(1 - loss) / 30.4375
    march = solve_ivp(
        lambda _, q: -rate * q - drain, (0, days), [charge], method="DOP853", rtol=1e-12, atol=1e-13
    )
    found = charge_after(charge, self_discharge_rate(loss), drain, days)
    assert found == pytest.approx(march.y[0, -1], rel=1e-9, abs=1e-9 * (charge + drain * days))


@given(charges, losses, drains, st.floats(0.1, 400))
def test_days_until_charge_inverts_the_closed_form(
    charge: float, loss: float, drain: float, days: float
) -> None:
    rate = self_discharge_rate(loss)
    left = charge_after(charge, rate, drain, days)
    assume(left >= 0)
    assert days_until_charge(charge, rate, drain, left) == pytest.approx(days, rel=1e-6)


def test_days_until_a_charge_that_is_not_there_are_none() -> None:
    assert days_until_charge(3.0, 7e-4, 1e-3, 3.0) == 0
    assert days_until_charge(3.0, 7e-4, 1e-3, 4.0) == 0


def test_month_is_a_twelfth_of_the_julian_year() -> None:
    assert 12 * DAYS_PER_MONTH == 365.25  # d; IAU Style Manual (1989), from memory
    assert math.exp(-self_discharge_rate(0.02) * DAYS_PER_MONTH) == pytest.approx(0.98, rel=1e-14)


def test_no_self_discharge_is_no_division_by_zero() -> None:
    rate = self_discharge_rate(0.0)
    assert charge_after(3.0, rate, 1e-3, 100) == pytest.approx(2.9, abs=1e-6)
    assert days_until_charge(3.0, rate, 1e-3, 2.9) == pytest.approx(100, rel=1e-5)


def test_q10() -> None:
    # 2^1.5, tabulated square root: 2.82843
    assert q10_factor(2, 35, 20) == pytest.approx(2.82843, abs=5e-6)
    assert q10_factor(2, 20, 35) == pytest.approx(1 / 2.82843, abs=5e-6)
    assert q10_factor(2.4, 20, 20) == 1


def test_arrhenius() -> None:
    # 50 kJ/mol from 293.15 K to 313.15 K, worked out apart from this project: 3.70676
    assert arrhenius_factor(50, 40, 20) == pytest.approx(3.70676, abs=5e-6)
    assert arrhenius_factor(50, 20, 40) == pytest.approx(1 / 3.70676, abs=5e-6)


def test_gas_constant_is_the_library_s() -> None:
    from scipy.constants import R  # CODATA, in J/(mol K)

    assert pytest.approx(R / 1000, rel=1e-9) == GAS_CONSTANT


@given(st.floats(1.1, 4), st.floats(-20, 60), st.floats(0.1, 20))
def test_warmer_cells_lose_more(q10: float, temperature: float, rise: float) -> None:
    assert q10_factor(q10, temperature + rise, 20) > q10_factor(q10, temperature, 20)
    assert arrhenius_factor(20, temperature + rise, 20) > arrhenius_factor(20, temperature, 20)


def published_voltage(fraction: float) -> float:
    """Return the open-circuit voltage of an NMC/graphite cell after Chen et al. (2020).

    J. Electrochem. Soc. 167, 080534: fits of both electrodes. The stoichiometries at 2.5 V and
    4.2 V are from memory; that they are right is seen from the two voltages, see the test.
    """
    x = 0.026347 + (0.910612 - 0.026347) * fraction
    y = 0.853974 + (0.263847 - 0.853974) * fraction
    negative = 1.9793 * math.exp(-39.3631 * x) + 0.2482
    negative -= 0.0909 * math.tanh(29.8538 * (x - 0.1234))
    negative -= 0.04478 * math.tanh(14.9159 * (x - 0.2769))
    negative -= 0.0205 * math.tanh(30.4444 * (x - 0.6103))
    positive = -0.8090 * y + 4.4875 - 0.0428 * math.tanh(18.5138 * (y - 0.5542))
    positive -= 17.7326 * math.tanh(15.7890 * (y - 0.3117))
    positive += 17.5842 * math.tanh(15.9308 * (y - 0.3120))
    return positive - negative


def test_voltage_curve_lies_a_little_below_a_published_one() -> None:
    assert published_voltage(0) == pytest.approx(2.5, abs=1e-4)
    assert published_voltage(1) == pytest.approx(4.2, abs=1e-4)
    for fraction in np.linspace(0, 1, 401):
        below = published_voltage(float(fraction)) - open_circuit_voltage(float(fraction))
        assert -0.005 <= below <= 0.06, fraction


def test_voltage_curve_rises_and_has_its_ends() -> None:
    voltages = [voltage for _, voltage in OPEN_CIRCUIT_VOLTAGE]
    assert voltages == sorted(set(voltages))
    assert (open_circuit_voltage(0), open_circuit_voltage(1)) == (2.5, 4.2)
    assert (EMPTY_CELL_VOLTAGE, FULL_CELL_VOLTAGE) == (2.5, 4.2)


@given(fractions)
def test_charge_fraction_inverts_the_voltage(fraction: float) -> None:
    assert charge_fraction(open_circuit_voltage(fraction)) == pytest.approx(fraction, abs=1e-12)


def test_charge_fraction_of_a_voltage_beyond_the_curve_is_its_end() -> None:
    assert charge_fraction(2.0) == 0
    assert charge_fraction(4.5) == 1


@given(fractions)
def test_stored_energy_inverts(fraction: float) -> None:
    assert charge_fraction_of_energy(stored_energy(fraction)) == pytest.approx(fraction, abs=1e-12)


def test_stored_energy_is_the_integral_of_the_voltage() -> None:
    x, y = zip(*OPEN_CIRCUIT_VOLTAGE, strict=True)
    for fraction in np.linspace(0, 1, 101):
        knots = [point for point in x if 0 < point < fraction]
        integral, _ = quad(lambda z: np.interp(z, x, y), 0, fraction, points=knots or None)
        assert -1e-9 <= stored_energy(float(fraction)) - integral <= 0.0014
    whole, _ = quad(lambda z: np.interp(z, x, y), 0, 1, points=x[1:-1])
    assert stored_energy(1) == pytest.approx(whole, abs=1e-9)


def test_energy_that_a_cell_cannot_store_is_a_full_cell() -> None:
    assert charge_fraction_of_energy(5.0) == 1


def test_a_fraction_outside_the_curve_is_refused() -> None:
    with pytest.raises(ValueError, match="outside the table"):
        open_circuit_voltage(1.01)
