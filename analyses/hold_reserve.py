"""How long the battery keeps the energy of the active phase after the last charge."""

from __future__ import annotations

from typing import NamedTuple

from analyses.pad_hold_energy import emptying, use_of, weakest_capacity
from analyses.physics.lithium_ion import charge_fraction_of_energy, stored_energy
from closeout import analysis
from closeout.units import (
    A_h,
    V,
    W,
    W_h,
    count,
    day,
    degC,
    kJ_per_mol,
    mohm,
    per_K,
    per_month,
    ratio,
    uA,
)


class HoldReserve(NamedTuple):
    days_to_reserve: day  # from the end of the last charge until no more than the reserve is left


@analysis(
    evaluations=300,  # of a chain with 46 sides; more only raise what the margin is at least
    validated_by="tests/analyses/test_hold_reserve.py",
    model_uncertainty={"days_to_reserve": "5 %"},
)
def hold_reserve(
    cell_capacity: A_h,
    cells_in_series: count,
    cells_in_parallel: count,
    capacity_fade: ratio,
    cell_spread: ratio,
    charge_level: ratio,
    cell_imbalance: ratio,
    self_discharge: per_month,
    self_discharge_q10: ratio,
    hold_temperature: degC,
    hold_drain: uA,
    cell_temperature: degC,
    cold_capacity_loss: per_K,
    cell_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    discharge_power: W,
    cutoff_voltage: V,
    reserve_energy: W_h,
) -> HoldReserve:
    """Compute the days until the battery can give no more than the active phase takes.

    **Model.** Formulas of `pad_hold_energy`, turned round: from the reserve to the charge that has
    to be left above what cold and cut-off keep back, and from there to the days in which
    self-discharge and drain take the rest, dq/dt = -k q - I. The reserve is what `mission_energy`
    finds for the active phase, and the drain what `pad_hold_energy` finds for the sleep. Zero days
    where the reserve was never there.

    **On the safe side, assumptions, sources, caution.** Those of `pad_hold_energy`. The drain is
    that at the cut-off voltage throughout.

    **Model uncertainty.** 5 %: what the 0.5 W h of `pad_hold_energy` are in days.

    **Not covered.** As for `pad_hold_energy`.
    """
    hold = emptying(
        weakest_capacity(cells_in_parallel, cell_capacity, capacity_fade, cell_spread),
        charge_level - cell_imbalance, self_discharge, self_discharge_q10, hold_temperature,
        hold_drain,
    )  # fmt: skip
    use = use_of(
        cells_in_series, cells_in_parallel, cell_resistance, resistance_growth,
        resistance_activation, cell_temperature, cold_capacity_loss, harness_resistance,
        discharge_power, cutoff_voltage,
    )  # fmt: skip
    delivered = cells_in_series * hold.capacity * use.efficiency
    needed = stored_energy(use.floor) + reserve_energy / delivered
    return HoldReserve(hold.until(charge_fraction_of_energy(needed)))
