"""Groups of parallel cells in series: what their differences do to charge, voltage and energy.

Charge in A h, time in days, rate in 1/d, drain in A h/d, voltage in V, temperature in degC; charge
fractions and energy as in `lithium_ion`. One current flows through all groups, so a group that has
less charge or less capacity is empty before the others, which then drive it into reversal
(Kirchhoff's current law).
"""

from __future__ import annotations

from typing import Annotated, NamedTuple

from analyses.physics.lithium_ion import (
    LOWEST_DRAIN,
    charge_after,
    charge_fraction,
    days_until_charge,
    open_circuit_voltage,
    q10_factor,
    self_discharge_rate,
    stored_energy,
)
from closeout.math import clip, maximum, minimum
from closeout.units import A_h, Unit, V, W_h, count, day, degC, per_month, ratio

A_h_per_day = Annotated[float, Unit("A h/d")]


class Group(NamedTuple):
    """A group of parallel cells: capacity in A h, charge fraction."""

    capacity: A_h
    charge: ratio


def rested(
    group: Group,
    loss_per_month: per_month,
    q10: ratio,
    temperature: degC,
    reference: degC,
    drain: A_h_per_day,
    days: day,
) -> Group:
    """Return the group after some days of rest under a drain in A h/d, at the least empty.

    dq/dt = -k q - I (`lithium_ion.charge_after`), with k for the temperature by van 't Hoff's rule.
    """
    rate = self_discharge_rate(loss_per_month) * q10_factor(q10, temperature, reference)
    taken = maximum(drain, LOWEST_DRAIN) / group.capacity
    until = minimum(days, days_until_charge(group.charge, rate, taken, 0.0))
    return group._replace(charge=maximum(charge_after(group.charge, rate, taken, until), 0.0))


def rest_voltage(group: Group) -> V:
    """Return the voltage of a cell of the group at rest."""
    return open_circuit_voltage(group.charge)


def charge_given(group: Group, floor: ratio) -> A_h:
    """Return the charge in A h that the group gives down to a charge fraction."""
    return group.capacity * maximum(group.charge - floor, 0.0)


def energy_given(group: Group, charge: A_h) -> W_h:
    """Return the energy in W h that leaves the group's cells while they give this charge.

    The integral of the open-circuit voltage over the charge; a group gives no more than it has.
    """
    end = clip(group.charge - charge / group.capacity, 0.0, 1.0)
    return group.capacity * (stored_energy(group.charge) - stored_energy(end))


def fullest_without_balancing(charge_voltage: V, in_series: count, behind: ratio) -> V:
    """Return an upper bound of a cell's voltage where a string is charged to n times a voltage.

    The others lag by a charge fraction. The one in front is at the voltage or above, so the others
    are at the fraction of that voltage less the lag, or above; the one in front takes what they
    leave of the string's voltage (Kirchhoff's voltage law), at most U + (n - 1) (U - U_lagging).
    """
    lag = clip(charge_fraction(charge_voltage) - maximum(behind, 0.0), 0.0, 1.0)
    lagging = open_circuit_voltage(lag)
    return charge_voltage + (in_series - 1) * (charge_voltage - lagging)
