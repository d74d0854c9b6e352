"""Lithium-ion cells at rest: self-discharge, temperature, open-circuit voltage, stored energy.

Charge in A h, time in days (86 400 s), rate in 1/d, drain in A h/d, temperature in degC, voltage in
V of one cell. A charge fraction is the charge that can still be taken out, over that of the full
cell: 0 at 2.50 V, 1 at 4.20 V, both at rest. The formulas hold for a cell and for a battery, and
for charge fractions as well as for charges.

Nothing here tells whether a cell is safe. Cells vent and burn; a cell that was over-discharged,
reversed, swollen or shaken is never recovered on a number from here.
"""

from itertools import pairwise
from typing import Annotated

from closeout.math import clip, exp, exprel, log, log1prel, maximum, minimum, table
from closeout.units import Unit, V, day, degC, kJ_per_mol, per_day, per_month, ratio, uA

A_h_per_day = Annotated[float, Unit("A h/d")]
W_h_per_A_h = Annotated[float, Unit("W h/(A h)")]

A_h_PER_DAY = 24e-6  # of 1 uA
DAYS_PER_MONTH = 30.4375  # a twelfth of the Julian year of 365.25 d
GAS_CONSTANT = 8.314462618e-3  # kJ/(mol K); CODATA 2018, exact to these digits
ZERO_CELSIUS = 273.15  # K

# A rate or a drain of exactly zero has no logarithm. These floors lose 4e-5 of the charge, and
# 4e-5 A h, in a century.
LOWEST_RATE = 1e-9  # 1/d
LOWEST_DRAIN = 1e-9  # A h/d

# Open-circuit voltage of the demonstration cell, NMC against graphite, at 20 degC, in discharge.
# Invented: drawn a little below the published fit of Chen et al., J. Electrochem. Soc. 167 (2020)
# 080534, with which the tests compare it. (charge fraction, V)
OPEN_CIRCUIT_VOLTAGE = (
    (0.00, 2.50), (0.02, 2.85), (0.04, 3.03), (0.06, 3.15), (0.08, 3.22), (0.10, 3.29),
    (0.15, 3.42), (0.20, 3.48), (0.25, 3.52), (0.30, 3.57), (0.40, 3.66), (0.50, 3.74),
    (0.60, 3.83), (0.70, 3.94), (0.80, 4.03), (0.90, 4.09), (0.95, 4.12), (1.00, 4.20),
)  # fmt: skip
EMPTY_CELL_VOLTAGE = OPEN_CIRCUIT_VOLTAGE[0][1]
FULL_CELL_VOLTAGE = OPEN_CIRCUIT_VOLTAGE[-1][1]


def self_discharge_rate(loss_per_month: per_month) -> per_day:
    """Return the rate k in 1/d of a cell at rest that loses this share (0 to 1) in a month.

    First order, dq/dt = -k q, so k = -ln(1 - s) / 30.4375 d. The law is an assumption (common
    practice, no source): a real cell loses more in the first days after its charge.
    """
    return maximum(-log(1 - loss_per_month) / DAYS_PER_MONTH, LOWEST_RATE)


def q10_factor(q10: ratio, temperature: degC, reference: degC) -> ratio:
    """Return by how much faster a reaction runs than at the reference: q10^((T - Tref) / 10 K).

    The rule of van 't Hoff: a reaction runs q10 times, most often 2 to 3 times, as fast for each
    10 K (1884, from memory).
    """
    return exp(log(q10) * (temperature - reference) / 10)


def arrhenius_factor(energy: kJ_per_mol, temperature: degC, reference: degC) -> ratio:
    """Return by how much faster a reaction runs than at the reference temperature.

    exp(E/R (1/Tref - 1/T)), with E in kJ/mol and T in kelvin (Arrhenius, 1889, from memory).
    """
    inverse = 1 / (reference + ZERO_CELSIUS) - 1 / (temperature + ZERO_CELSIUS)
    return exp(energy / GAS_CONSTANT * inverse)


def charge_per_day(current: uA) -> A_h_per_day:
    """Return what a current takes in a day."""
    return current * A_h_PER_DAY


def charge_after(charge: float, rate: per_day, drain: float, days: day) -> float:
    """Return the charge that is left of a battery that leaks and is drained at the same time.

    The solution of dq/dt = -k q - I: q(t) = q0 e^(-k t) - I (1 - e^(-k t)) / k (first-order linear
    equation). It falls below zero after :func:`days_until_charge` of zero, where a battery ends.
    """
    return charge * exp(-rate * days) - drain * days * exprel(-rate * days)


def charge_leaked(charge: float, rate: per_day, drain: float, days: day) -> float:
    """Return the charge that self-discharge alone took, of a battery that is drained as well.

    What :func:`charge_after` lacks of the start, less the drain; written so that no two nearly
    equal numbers are subtracted.
    """
    turned = rate * days
    kept = exprel(-turned)
    return charge * turned * kept - drain * days * (1 - kept)


def days_until_charge(charge: float, rate: per_day, drain: float, left: float) -> day:
    """Return the days in which the charge falls to what is left; 0 where it is no more than that.

    The inverse of :func:`charge_after`: t = ln((k q0 + I) / (k q + I)) / k, where the argument of
    the logarithm is 1 + k (q0 - q) / (k q + I).
    """
    steady = _days_at_last_rate(charge, rate, drain, left)
    return steady * log1prel(rate * steady)


def _days_at_last_rate(charge: float, rate: per_day, drain: float, left: float) -> day:
    """Return the days in which the charge would fall to what is left, at the rate of loss then."""
    return maximum(charge - left, 0.0) / (rate * left + drain)


def open_circuit_voltage(fraction: ratio) -> V:
    """Return the voltage at rest of a cell at a charge fraction from 0 to 1."""
    return table(fraction, OPEN_CIRCUIT_VOLTAGE)


def charge_fraction(voltage: V) -> ratio:
    """Return the charge fraction at which a cell has this voltage at rest.

    The inverse of :func:`open_circuit_voltage`; 0 below its lowest and 1 above its highest voltage.
    """
    return table(clip(voltage, EMPTY_CELL_VOLTAGE, FULL_CELL_VOLTAGE), _FRACTION_AT_VOLTAGE)


def stored_energy(fraction: ratio) -> W_h_per_A_h:
    """Return the energy that a cell at rest stores, in W h for each A h of its full charge.

    The integral of the open-circuit voltage over the charge fraction, exact at the points of the
    table and a straight line between them, so that it can be inverted; at most 0.0014 W h/A h
    above the integral in between.
    """
    return table(fraction, _ENERGY_AT_FRACTION)


def charge_fraction_of_energy(energy: W_h_per_A_h) -> ratio:
    """Return the charge fraction at which a cell stores this energy (W h/A h); at most 1."""
    return table(minimum(energy, _FULL_ENERGY), _FRACTION_AT_ENERGY)


def _integrate(curve: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Return (x, integral of y from the first point to x) at the points of a curve of lines."""
    points = [(curve[0][0], 0.0)]
    for (x0, y0), (x1, y1) in pairwise(curve):
        points.append((x1, points[-1][1] + (x1 - x0) * (y0 + y1) / 2))
    return tuple(points)


_FRACTION_AT_VOLTAGE = tuple((y, x) for x, y in OPEN_CIRCUIT_VOLTAGE)
_ENERGY_AT_FRACTION = _integrate(OPEN_CIRCUIT_VOLTAGE)
_FRACTION_AT_ENERGY = tuple((y, x) for x, y in _ENERGY_AT_FRACTION)
_FULL_ENERGY = _ENERGY_AT_FRACTION[-1][1]
