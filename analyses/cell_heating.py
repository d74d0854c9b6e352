"""Heat that the cells of the battery give off while the recorder is on."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from analyses.pad_hold_energy import aged_resistance
from analyses.physics.lithium_ion import FULL_CELL_VOLTAGE, ZERO_CELSIUS
from analyses.physics.source_under_load import current_at
from closeout import analysis
from closeout.math import minimum
from closeout.units import Unit, V, W, count, degC, kJ_per_mol, mohm, ohm, ratio

mV_per_K = Annotated[float, Unit("mV/K")]


class CellHeating(NamedTuple):
    """Of all cells together, with what is in their case; below zero they take heat up."""

    least_cell_heat: W
    highest_cell_heat: W


@analysis(validated_by="tests/analyses/test_cell_heating.py")
def cell_heating(
    cells_in_series: count,
    cells_in_parallel: count,
    cell_resistance: mohm,
    cell_pulse_resistance: mohm,
    resistance_growth: ratio,
    resistance_activation: kJ_per_mol,
    harness_resistance: mohm,
    cell_temperature: degC,
    entropy_coefficient: mV_per_K,
    hottest_cell_temperature: degC,
    recording_power: W,
    downlink_power: W,
    cutoff_voltage: V,
) -> CellHeating:
    """Compute the least and the highest heat of the battery in the phases that last for minutes.

    **Model.** R I^2 of the cells, with the current that gives a power at the terminals, less
    I T dU/dT of the reaction in each group: a rest voltage that rises with temperature takes heat
    up in a discharge, one that falls gives it off. Highest: recording, at the cut-off, where the
    current is highest, over the resistance of nearly empty and aged cells and of leads, fuse and
    switches. Least: recording or sending, whichever is less, with full cells in the resistance that
    a fresh cell shows at once, and nothing of leads, and with the current at the cut-off in what
    the reaction takes up. Resistance falls with temperature by the law of Arrhenius.

    **On the safe side.** Both ends are out of reach at once: no cell is full and empty, fresh and
    aged. cell_temperature is that of the use in the cold, so a hot cell gives off less by its
    resistance than the highest. The reaction's heat is taken at the hottest temperature that a cell
    may have, in heat and cold, since it grows with T; and its coefficient stays at one end of its
    range for a whole phase, while it changes its sign over a discharge.

    **Sources.** Energy balance of D. Bernardi, E. Pawlikowski and J. Newman, J. Electrochem. Soc.
    132 (1985) 5 (from memory): q = I (U - V) - I T dU/dT, without heat of mixing and of phase
    changes. Law of Joule; Arrhenius as in `pad_hold_energy`. All numbers are invented.

    **Not covered.** Heat of mixing, which levels out within minutes after a change of current. Heat
    of a cell that fails: no temperature is proof against that.

    **Caution.** Lithium cells vent and burn when hot. Nothing here makes a warm cell safe, or one
    that was shorted, over-discharged or shaken. Local rules come first.
    """
    warmth = (resistance_activation, cell_temperature)
    cells = (cells_in_series, cells_in_parallel)
    aged = string_resistance(*cells, cell_resistance, resistance_growth, *warmth)
    fresh = string_resistance(*cells, cell_pulse_resistance, 1.0, *warmth)
    # What the reaction takes up for each ampere of the battery; each group carries all of it.
    taken_up = cells_in_series * entropy_voltage(hottest_cell_temperature, entropy_coefficient)
    full = cells_in_series * FULL_CELL_VOLTAGE
    high = current_at(recording_power, cutoff_voltage)
    recording, sending = (
        least_heat(power, fresh, full, taken_up, cutoff_voltage)
        for power in (recording_power, downlink_power)
    )
    return CellHeating(
        least_cell_heat=minimum(recording, sending),
        highest_cell_heat=(aged + harness_resistance / 1e3) * high**2 - taken_up * high,
    )


def string_resistance(
    in_series: count,
    in_parallel: count,
    cell: mohm,
    growth: ratio,
    activation: kJ_per_mol,
    temperature: degC,
) -> ohm:
    """Return the resistance of all cells of the battery, aged and at a temperature."""
    groups = in_series / in_parallel / 1e3
    return groups * aged_resistance(cell, growth, activation, temperature)


def entropy_voltage(temperature: degC, coefficient: mV_per_K) -> V:
    """Return T dU/dT: the heat that the reaction of a cell takes up for each ampere."""
    return (temperature + ZERO_CELSIUS) * coefficient / 1e3


def least_heat(power: W, resistance: ohm, voltage: V, taken_up: V, cutoff_voltage: V) -> W:
    """Return the heat at a power: R I^2 at the voltage, less what the reaction takes up at most."""
    return resistance * (power / voltage) ** 2 - taken_up * power / cutoff_voltage
