"""Energy of the buoy's battery over a night."""

from __future__ import annotations

from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, V, W, W_h, degC, hour, per_K

REFERENCE_TEMPERATURE = 20.0  # degC; the data sheet states the capacity there


class NightEnergy(NamedTuple):
    energy_taken: W_h
    energy_left: W_h


@analysis(validated_by="tests/test_buoy.py", model_uncertainty={"energy_left": "0.5 W h"})
def night_energy(
    capacity: A_h, voltage: V, cold_loss: per_K, lamp_power: W, cell_temperature: degC, night: hour
) -> NightEnergy:
    """Compute what the lamp takes in a night, and what the battery still holds.

    **Model.** The capacity falls in a straight line with the temperature below that of the data
    sheet; the lamp takes one power.

    **On the safe side.** The voltage is that of the last hour.

    **Not covered.** Ageing of the cells.

    **Caution.** Cells vent and burn when they are abused: handle them under the local rules.
    """
    colder = REFERENCE_TEMPERATURE - cell_temperature
    held = capacity * voltage * (1.0 - cold_loss * colder)
    taken = lamp_power * night
    return NightEnergy(taken, held - taken)
