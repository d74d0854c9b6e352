"""Power that each phase of the active sequence takes from the battery, and the heat it leaves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics.energy_budget import (
    Supply,
    converter_input,
    drawn_power,
    load_power,
    read_phases,
)
from closeout import analysis
from closeout.math import maximum, minimum
from closeout.units import Unit, V, W, count, mohm, ratio

PHASES = Path(__file__).parent / "data" / "mission_phases.csv"


class PhasePower(NamedTuple):
    """Powers at the terminals of the battery, means over a phase."""

    phase_power: Annotated[Mapping[str, float], Unit("W")]
    highest_power: W
    stuck_camera_power: W  # of one camera that goes on while pictures are sent, on top
    least_heat: W  # of the phases that last for minutes


@analysis(validated_by="tests/analyses/test_phase_power.py")
def phase_power(
    computer_power: W,
    camera_power: W,
    cameras: count,
    storage_power: W,
    transmitter_base_power: W,
    transmit_power: W,
    amplifier_efficiency: ratio,
    lens_heater_power: W,
    lens_cover_power: W,
    converter_efficiency: ratio,
    converter_ageing: ratio,
    converter_standby: W,
    input_path_resistance: mohm,
    cutoff_voltage: V,
) -> PhasePower:
    """Compute the power of each phase of the active sequence, and the least heat that it leaves.

    **Model.** Each unit takes its power for its share of a phase
    (`analyses/data/mission_phases.csv`), through converters with a standby power and an efficiency
    that falls with age, over the resistance between battery and converters
    (`analyses/physics/energy_budget.py`), as in `mission_energy`, which multiplies by the lengths
    of the phases. The transmitter takes a base power and its radio power over the efficiency of its
    amplifier. A camera that is stuck in recording takes its power, through the same converters and
    path, on top of what sending takes.

    **Heat.** All that is taken becomes heat in the recorder, but for the radio power that leaves
    it. At the most it is the highest power of a phase, with nothing taken off. At the least it is
    that of the phase that takes least among those that last for minutes, without the loss of the
    path and less the whole radio power. Start-up and the choice of pictures take less, for half a
    minute, which moves a housing of 2 kJ/K by less than 0.1 K.

    **On the safe side.** The voltage of the battery is at its cut-off, where the path takes most:
    safe for energy and for a hot case; the least heat leaves that loss out, safe for a cold case.
    Feeder and antenna turn a part of the radio power to heat, which the least heat does not count.

    **Sources.** Definition of power and efficiency; Kirchhoff's voltage law; conservation of
    energy. All powers are invented.

    **Not covered.** Power above its mean within a phase (discharge_power holds the peaks); work of
    the computer for a stuck camera, whose own encoder is in camera_power; heat of the cells
    (`cell_heating`); a phase in which a unit stays on.

    **Caution.** A power on paper is no rating of a fuse, a wire or a cell. A transmitter is put
    into a load or radiates under its licence only.
    """
    phases = read_phases(PHASES)
    powers = {
        "computer": computer_power,
        "cameras": cameras * camera_power,
        "storage": storage_power,
        "transmitter": transmitter_base_power + transmit_power / amplifier_efficiency,
        "heater": lens_heater_power,
        "lens_cover": lens_cover_power,
    }
    supply = Supply(
        converter_efficiency - converter_ageing, converter_standby, input_path_resistance / 1e3,
        cutoff_voltage,
    )  # fmt: skip
    loads = {name: load_power(phase, powers) for name, phase in phases.items()}
    drawn = {name: drawn_power(load, supply) for name, load in loads.items()}
    sending = loads["sending"]
    heats = [
        converter_input(loads[name], supply.efficiency, supply.standby)
        - phase.shares["transmitter"] * transmit_power
        for name, phase in phases.items()
        if phase.is_steady
    ]
    return PhasePower(
        phase_power=drawn,
        highest_power=largest(drawn.values()),
        stuck_camera_power=drawn_power(sending + camera_power, supply) - drawn["sending"],
        least_heat=least(heats),
    )


def largest(values: Iterable[float]) -> float:
    """Return the highest of the values, in whatever arithmetic."""
    first, *others = values
    for value in others:
        first = maximum(first, value)
    return first


def least(values: Iterable[float]) -> float:
    """Return the lowest of the values, in whatever arithmetic."""
    first, *others = values
    for value in others:
        first = minimum(first, value)
    return first
