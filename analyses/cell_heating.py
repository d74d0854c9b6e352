"""Heat that the cells of the battery give off while the recorder is on."""

from __future__ import annotations

from typing import NamedTuple

from analyses.pad_hold_energy import aged_resistance
from analyses.physics.lithium_ion import FULL_CELL_VOLTAGE
from closeout import analysis
from closeout.units import V, W, count, degC, kJ_per_mol, mohm, ratio


class CellHeating(NamedTuple):
    """Of all cells together, with what is in their case."""

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
    recording_power: W,
    downlink_power: W,
    cutoff_voltage: V,
) -> CellHeating:
    """Compute the least and the highest heat of the battery in the phases that last for minutes.

    **Model.** R I^2 of the cells, with the current that gives a power at the terminals. Highest:
    recording, at the cut-off, where the current is highest, over the resistance of nearly empty and
    aged cells and of leads, fuse and switches. Least: sending, with full cells, over the resistance
    that a fresh cell shows at once, and nothing of leads. Resistance falls with temperature by the
    law of Arrhenius.

    **On the safe side.** Both ends are out of reach at once: no cell is full and empty, fresh and
    aged. cell_temperature is that of the use in the cold, so a hot cell gives off less than the
    highest.

    **Sources.** Law of Joule; Arrhenius as in `pad_hold_energy`. All numbers are invented.

    **Not covered.** Heat of the reaction, T dU/dT times the current, of both signs over a
    discharge: some 0.05 V for each cell (from memory), half a watt at the highest current, which
    moves the cells by less than a kelvin on their mounting; the prediction's uncertainty of 5 K
    holds it. Heat of a cell that fails: no temperature is proof against that.

    **Caution.** Lithium cells vent and burn when hot. Nothing here makes a warm cell safe, or one
    that was shorted, over-discharged or shaken. Local rules come first.
    """
    warmth = (resistance_activation, cell_temperature)
    groups = cells_in_series / cells_in_parallel / 1e3
    aged = groups * aged_resistance(cell_resistance, resistance_growth, *warmth)
    fresh = groups * aged_resistance(cell_pulse_resistance, 1.0, *warmth)
    high = recording_power / cutoff_voltage
    low = downlink_power / (cells_in_series * FULL_CELL_VOLTAGE)
    return CellHeating(fresh * low**2, (aged + harness_resistance / 1e3) * high**2)
