"""How far apart the cells of the battery are at wake-up and after transport."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, NamedTuple

from analyses.pad_hold_energy import held_by_cold
from analyses.physics.cell_string import (
    Group,
    charge_given,
    energy_given,
    fullest_without_balancing,
    rest_voltage,
    rested,
)
from analyses.physics.lithium_ion import (
    arrhenius_factor,
    charge_fraction,
    charge_per_day,
    open_circuit_voltage,
)
from analyses.physics.source_under_load import current_at, discharge_efficiency, source_voltage_at
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import (
    A_h,
    K,
    Unit,
    V,
    W,
    W_h,
    count,
    day,
    degC,
    kJ_per_mol,
    kohm,
    mohm,
    mV,
    ohm,
    per_K,
    per_month,
    ratio,
    uA,
)

REFERENCE_TEMPERATURE = 20.0  # degC, at which the cells were measured


class CellBalance(NamedTuple):
    """The groups at wake-up, at rest."""

    rest_voltage: Annotated[Mapping[str, float], Unit("V")]  # by group
    charge: Annotated[Mapping[str, float], Unit("1")]  # charge fraction by group
    voltage_spread: mV
    highest_cell_voltage: V
    lowest_cell_voltage: V
    recharge_voltage: V  # of the fullest group, if the string were charged again as it stands


class WeakestCell(NamedTuple):
    """What the weakest group leaves of the battery, and how it ends the active phase."""

    string_energy: W_h  # at the terminals, until the weakest group ends the discharge
    charge_after_mission: A_h  # of the weakest group above empty; below zero is a reversal
    weakest_under_load: V  # then, under load


class CellTransport(NamedTuple):
    """The groups at rest after transport and storage."""

    transport_voltage: Annotated[Mapping[str, float], Unit("V")]  # by group
    lowest_transport_voltage: V
    imbalance_to_remove: ratio  # in charge fraction, that balancing has to take away


class _Groups(NamedTuple):
    best: Group
    mean: Group
    weakest: Group


@analysis(validated_by="tests/analyses/test_cell_balance.py")
def cell_balance(
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge: per_month,
    self_discharge_spread: ratio,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    cell_gradient: K,
    hold_duration: day,
    hold_drain: uA,
    tap_current: uA,
) -> CellBalance:
    """Compute charge and rest voltage of the groups of cells at wake-up, and their spread.

    **Model.** Four groups of parallel cells in series: one is best in everything (capacity, start
    charge, self-discharge, coldest place), one weakest in everything, the others are in the middle.
    Each follows dq/dt = -k q - I from the last charge to the wake-up, with the k of its own leak
    and its own temperature (`analyses/physics/cell_string.py`); the weakest also feeds what the
    protection takes from one tap more than from the others. Rest voltages come from the table of
    open-circuit voltage, so a spread of charge is a spread of voltage by the slope of the curve
    there: a flat curve hides charge, and spreads *at rest* and *under load* differ
    (`weakest_cell`).

    **On the safe side.** The weakest group is weakest in all at once. The hold is spent at one
    temperature. The gradient inside the battery is all on the weakest and best groups, half each,
    for the whole hold.

    **Assumptions.** Spreads are declared for the weakest group below, and the best above, the mean,
    and are not below zero. First-order self-discharge. No published limit of imbalance fits every
    pack: limits are the project's own.

    **Sources.** First-order linear equation and rule of van 't Hoff (`lithium_ion`); Kirchhoff's
    laws. Spread of self-discharge among matched cells: common practice, no source.

    **Not covered.** A cell with an internal short, which leaks many times as much as its spread
    (the daily voltages on the pad show it); currents between parallel cells; balancing during the
    hold (there is none); relaxation of the voltage in the first hours after a charge.

    **Caution.** Without balancing the *fullest* cell may pass its limit at the end of a charge:
    `recharge_voltage` bounds how far, if somebody charged the string again after the hold by its
    total voltage (the cell itself may stay nearer to the mean, by up to the number in series).
    Balance before each charge, attended and contained, under a licensed procedure. A reversed or
    over-discharged cell is never charged again. The rules of laboratory, carrier and launch site
    come first.
    """
    groups = _rest(
        _start(
            cells_in_parallel * cell_capacity * (1 - capacity_fade), cell_spread, charge_level,
            cell_imbalance,
        ),
        self_discharge, self_discharge_spread, self_discharge_q10, hold_temperature, cell_gradient,
        hold_drain, tap_current, hold_duration,
    )  # fmt: skip
    voltages = {name: rest_voltage(group) for name, group in groups._asdict().items()}
    # The best group is best in everything and the weakest worst, so no order has to be looked for.
    highest, lowest = voltages["best"], voltages["weakest"]
    return CellBalance(
        rest_voltage=voltages,
        charge={name: group.charge for name, group in groups._asdict().items()},
        voltage_spread=1e3 * maximum(highest - lowest, 0.0),
        highest_cell_voltage=highest,
        lowest_cell_voltage=lowest,
        recharge_voltage=fullest_without_balancing(
            open_circuit_voltage(charge_level),
            cells_in_series,
            groups.best.charge - groups.weakest.charge,
        ),
    )


@analysis(validated_by="tests/analyses/test_cell_balance.py")
def weakest_cell(
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge: per_month,
    self_discharge_spread: ratio,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    cell_gradient: K,
    hold_duration: day,
    hold_drain: uA,
    tap_current: uA,
    cell_temperature: degC,
    cold_capacity_loss: per_K,
    cell_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    discharge_power: W,
    cutoff_voltage: V,
    cell_trip_voltage: V,
    reserve_energy: W_h,
) -> WeakestCell:
    """Compute what the weakest group leaves of the battery's energy, and how near it is to empty.

    **Model.** The groups of `cell_balance` at wake-up. The discharge ends where the weakest group
    is at the trip of its protection or at its share of the string's cut-off, whichever is first;
    the others give the same charge at their own voltage. Cold holds back charge, and resistance
    grows with cold and age, as in `pad_hold_energy`. `charge_after_mission` is what the weakest
    group has left when the reserve of the mission is taken, at the lowest terminal voltage, so the
    most charge. Below zero the others drive it into reversal, unless its own protection opens the
    circuit.

    **On the safe side.** As for `cell_balance`; full power and lowest voltage at the end of the
    discharge.

    **Assumptions, sources.** As for `cell_balance` and `pad_hold_energy`.

    **Not covered.** As for `cell_balance`; a cell that fails during the discharge.

    **Caution.** A cell in reversal can vent and burn, and is never charged again. The two devices
    of PWR-050 open the circuit before; this is a distance on paper and no protection. The rules of
    laboratory, carrier and launch site come first.
    """
    best, mean, weakest = _rest(
        _start(
            cells_in_parallel * cell_capacity * (1 - capacity_fade), cell_spread, charge_level,
            cell_imbalance,
        ),
        self_discharge, self_discharge_spread, self_discharge_q10, hold_temperature, cell_gradient,
        hold_drain, tap_current, hold_duration,
    )  # fmt: skip
    resistance = group_resistance(
        cell_resistance, cells_in_parallel, resistance_growth, resistance_activation,
        cell_temperature,
    )  # fmt: skip
    whole = cells_in_series * resistance + harness_resistance / 1e3
    current = current_at(discharge_power, cutoff_voltage)
    cold = held_by_cold(cold_capacity_loss, cell_temperature)
    ends_at = maximum(
        cell_trip_voltage + resistance * current,
        source_voltage_at(cutoff_voltage, whole, discharge_power) / cells_in_series,
    )
    taken = charge_given(weakest, minimum(charge_fraction(ends_at) + cold, 1.0))
    cells = (
        energy_given(best, taken)
        + energy_given(weakest, taken)
        + (cells_in_series - 2) * energy_given(mean, taken)
    )
    taken_out = charge_fraction_taken(reserve_energy, cutoff_voltage, weakest.capacity)
    left = weakest.charge - cold - taken_out
    return WeakestCell(
        string_energy=cells * discharge_efficiency(cutoff_voltage, whole, discharge_power),
        charge_after_mission=weakest.capacity * left,
        weakest_under_load=open_circuit_voltage(maximum(left, 0.0)) - resistance * current,
    )


@analysis(validated_by="tests/analyses/test_cell_balance.py")
def cell_transport(
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    transport_charge: ratio,
    cell_imbalance: ratio,
    self_discharge: per_month,
    self_discharge_spread: ratio,
    self_discharge_q10: ratio,
    transport_temperature: degC,
    cell_gradient: K,
    transport_duration: day,
    protection_leakage: uA,
    divider_resistance: kohm,
    tap_current: uA,
) -> CellTransport:
    """Compute lowest cell and imbalance after transport and storage, before the last charge.

    **Model.** The groups of `cell_balance` at the charge at which cells travel, with the arming
    plug out, so that protection and divider alone drain them. The divider is taken at its current
    at full voltage. Carriers ask for a charge of at most 30 % of lithium-ion cells in air freight
    (dangerous goods regulations, from memory), which leaves less until a cell is empty.

    **Assumptions, sources, caution.** As for `cell_balance`.

    **Not covered.** As for `cell_balance`; more time or heat on the way than is declared.
    """
    drain = drain_in_transport(protection_leakage, cells_in_series, divider_resistance)
    groups = _rest(
        _start(
            cells_in_parallel * cell_capacity * (1 - capacity_fade), cell_spread, transport_charge,
            cell_imbalance,
        ),
        self_discharge, self_discharge_spread, self_discharge_q10, transport_temperature,
        cell_gradient, drain, tap_current, transport_duration,
    )  # fmt: skip
    voltages = {name: rest_voltage(group) for name, group in groups._asdict().items()}
    return CellTransport(
        transport_voltage=voltages,
        lowest_transport_voltage=minimum(
            voltages["best"], minimum(voltages["mean"], voltages["weakest"])
        ),
        imbalance_to_remove=maximum(groups.best.charge - groups.weakest.charge, 0.0),
    )


def group_resistance(
    fresh: mohm, in_parallel: count, growth: ratio, activation: kJ_per_mol, temperature: degC
) -> ohm:
    """Return the resistance of a group of aged cells at a temperature, from that of a fresh one."""
    return (
        fresh / 1e3 / in_parallel * growth
        / arrhenius_factor(activation, temperature, REFERENCE_TEMPERATURE)
    )  # fmt: skip


def charge_fraction_taken(energy: W_h, voltage: V, capacity: A_h) -> ratio:
    """Return the charge fraction that an energy takes at a voltage: E / U over the capacity."""
    return energy / voltage / capacity


def drain_in_transport(protection: uA, in_series: count, divider: kohm) -> uA:
    """Return what protection and divider take from a full battery; 4.2 V a cell."""
    return protection + in_series * 4.2e3 / divider


def _start(capacity: A_h, spread: ratio, level: ratio, imbalance: ratio) -> _Groups:
    """Return the groups at the end of the charge, from the capacity of the mean one."""
    return _Groups(
        best=Group(capacity * (1 + spread), level),
        mean=Group(capacity, level - imbalance / 2),
        weakest=Group(capacity * (1 - spread), level - imbalance),
    )


def _rest(
    groups: _Groups,
    loss: per_month,
    spread: ratio,
    q10: ratio,
    temperature: degC,
    gradient: K,
    drain: uA,
    tap: uA,
    days: day,
) -> _Groups:
    """Return the groups after some days; drain and current of the tap in uA."""
    warm, cool = temperature + gradient / 2, temperature - gradient / 2
    taken, more = charge_per_day(drain), charge_per_day(drain + tap)
    reference = REFERENCE_TEMPERATURE
    return _Groups(
        best=rested(groups.best, loss * (1 - spread), q10, cool, reference, taken, days),
        mean=rested(groups.mean, loss, q10, temperature, reference, taken, days),
        weakest=rested(groups.weakest, loss * (1 + spread), q10, warm, reference, more, days),
    )
