"""Energy that the panel brings back on a day of winter."""

from __future__ import annotations

from typing import NamedTuple

from closeout import analysis
from closeout.units import W, W_h, hour


class DayCharge(NamedTuple):
    charged: W_h
    surplus: W_h


@analysis(validated_by="tests/test_buoy.py")
def day_charge(panel_power: W, bright_hours: hour, night_energy_taken: W_h) -> DayCharge:
    """Compute the energy of a bright day, and what is left of it after the night.

    **Model.** The panel gives one power while it is bright.
    """
    charged = panel_power * bright_hours
    return DayCharge(charged, charged - night_energy_taken)
