"""How long the lamp burns on one charge."""

from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, degC, hour, mA, per_K

REFERENCE_TEMPERATURE = 20.0  # degC; the data sheet states the capacity there


class LampTime(NamedTuple):
    usable_charge: A_h
    lamp_time: hour


@analysis(validated_by="tests/test_lamp_time.py")
def lamp_time(
    cell_capacity: A_h, lamp_current: mA, cold_loss: per_K, cell_temperature: degC
) -> LampTime:
    """Time for which a full cell feeds the lamp.

    The usable charge falls in a straight line with temperature below the data sheet's reference;
    the lamp draws a constant current. Not covered: ageing, self-discharge, the cell's resistance.
    Lithium cells vent and burn when abused: charge and handle them under local rules.
    """
    colder = REFERENCE_TEMPERATURE - cell_temperature
    usable_charge = cell_capacity * (1.0 - cold_loss * colder)
    return LampTime(usable_charge, usable_charge / (lamp_current / 1000.0))
