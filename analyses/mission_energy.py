"""Energy that the active sequence takes from the battery, and what is left at burn-up."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, NamedTuple

from analyses.phase_power import PHASES, largest
from analyses.physics.energy_budget import (
    UNITS,
    battery_power,
    converter_input,
    energy,
    lengths,
    load_power,
    read_phases,
    unit_power,
)
from analyses.physics.lithium_ion import FULL_CELL_VOLTAGE
from closeout import analysis
from closeout.units import A, Unit, V, W, W_h, count, hour, mA, minute, mohm, ratio, s, uA

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Energies = Annotated[Mapping[str, float], Unit("W h")]


class MissionEnergy(NamedTuple):
    """Energies at the terminals of the battery, but for those of the units, at the units.

    energy_to_burn_up = the sum of the phases + reset + late wake-up + abort + slip.
    """

    unit_energy: Energies  # by unit, planned
    phase_energy: Energies  # by phase, planned
    converter_loss: W_h  # planned
    path_loss: W_h  # planned
    highest_power: W  # of a phase
    reset_energy: W_h
    late_wake_up_energy: W_h
    abort_energy: W_h
    slip_energy: W_h
    mission_energy: W_h  # until the last picture is sent
    energy_to_burn_up: W_h
    reserve_at_burn_up: W_h


@analysis(validated_by="tests/analyses/test_mission_energy.py")
def mission_energy(
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
    computer_resets: count,
    computer_restart_time: s,
    reset_repeat_time: minute,
    wake_up_delay: s,
    aborts_after_ignition: count,
    abort_awake_time: minute,
    slip_after_arming: hour,
    armed_current: mA,
    soft_start_leakage: uA,
    cells_in_series: count,
    guaranteed_energy: W_h,
    camera_start_time: s,
    orbit_filming_delay: s,
    camera_stop_delay: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    burn_up_time: minute,
) -> MissionEnergy:
    """Compute the energy by phase and unit from wake-up to burn-up, and the reserve.

    **Model.** Each phase of the sequence (`analyses/data/mission_phases.csv`) takes the power of
    its units for a share of its length, through converters with a standby power and an efficiency
    that falls with age, over the resistance between battery and converters
    (`analyses/physics/energy_budget.py`). The transmitter takes a base power and its radio power
    over the efficiency of its amplifier. A phase ends where the recorder's timers say, after
    wake-up, and the last one at burn-up.

    **What may happen.** One computer reset at the worst moment: the restart, and the work that is
    lost and done again, both at the power of the phase that takes most. A late wake-up: filming and
    sending are counted longer by the delay. Timers that run from the wake-up move with it
    (`mission_sequence`), so this is on the safe side. An
    abort after ignition with the wake-up already done: the recorder runs at the highest power until
    it goes back to sleep. A slip after arming: the armed circuit and the leakage of the open soft
    start drain the full battery for the hours of the slip.

    **Reserve.** What PWR-020 guarantees at the terminals of the battery at the end of the hold, in
    the cold and with aged cells, less all of this up to burn-up. Ageing of the cells and the energy
    that their resistance takes are in that guarantee (`pad_hold_energy`), ageing of the converters
    is here.

    **On the safe side.** The voltage of the battery is at its cut-off throughout, where the path
    takes most. Slip, abort, reset and late wake-up all happen. Unit powers have their extremes
    together. The time from lift-off to wake-up counts as descent, since burn-up is after lift-off.

    **Sources.** Definition of energy, power and efficiency; Kirchhoff's voltage law. All powers and
    times are invented.

    **Not covered.** A wake-up that is early (`pressure_threshold_timing` bounds it); more than the
    declared resets; the energy of each switch-on, some hundredths of a joule (`soft_start`); the
    peak of the lens cover's motor (in discharge_power); heaters of the battery, there are none;
    a transmitter that stays on, which the timer of COM-085 ends;
    a camera that is stuck in recording, which `mission_sequence` counts against the battery.

    **Caution.** A reserve on paper is no permission to leave a battery in service: cells that were
    over-discharged are never charged again. Local rules come first.
    """
    phases = read_phases(PHASES)
    minutes = lengths(
        phases,
        {
            "camera_start_time": camera_start_time / 60,
            "orbit_filming_delay": orbit_filming_delay / 60,
            "camera_stop_delay": camera_stop_delay / 60,
            "transmit_start_delay": transmit_start_delay / 60,
            "transmit_stop_delay": transmit_stop_delay / 60,
            "burn_up_time": burn_up_time,
        },
    )
    powers = {
        "computer": computer_power,
        "cameras": cameras * camera_power,
        "storage": storage_power,
        "transmitter": transmitter_base_power + transmit_power / amplifier_efficiency,
        "heater": lens_heater_power,
        "lens_cover": lens_cover_power,
    }
    efficiency, path = converter_efficiency - converter_ageing, input_path_resistance / 1e3
    inputs = {
        name: converter_input(load_power(phase, powers), efficiency, converter_standby)
        for name, phase in phases.items()
    }
    drawn = {name: battery_power(p, path, cutoff_voltage) for name, p in inputs.items()}
    planned = {name: energy(drawn[name], minutes[name]) for name in phases}
    by_unit = {
        unit: total(energy(unit_power(p, powers, unit), minutes[n]) for n, p in phases.items())
        for unit in UNITS
    }
    converted = total(energy(inputs[name], minutes[name]) for name in phases)

    highest = largest(drawn.values())
    repeated = computer_restart_time / 60 + reset_repeat_time
    reset = computer_resets * energy(highest, repeated)
    late = total(
        energy(drawn[name], wake_up_delay / 60)
        for name, phase in phases.items()
        if phase.waits_for_late_wake_up
    )
    abort = aborts_after_ignition * energy(highest, abort_awake_time)
    leaving = drain_after_arming(armed_current, soft_start_leakage)
    slip = leaving * slip_after_arming * cells_in_series * FULL_CELL_VOLTAGE
    extra = reset + late + abort + slip
    sent = total(planned[name] for name, phase in phases.items() if phase.before_last_picture)
    everything = total(planned.values())
    return MissionEnergy(
        unit_energy=by_unit,
        phase_energy=planned,
        converter_loss=converted - total(by_unit.values()),
        path_loss=total(
            energy(path * (drawn[n] / cutoff_voltage) ** 2, minutes[n]) for n in phases
        ),
        highest_power=highest,
        reset_energy=reset,
        late_wake_up_energy=late,
        abort_energy=abort,
        slip_energy=slip,
        mission_energy=sent + extra,
        energy_to_burn_up=everything + extra,
        reserve_at_burn_up=guaranteed_energy - everything - extra,
    )


@mission_energy.figure
def energy_by_phase(
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
    computer_resets: count,
    computer_restart_time: s,
    reset_repeat_time: minute,
    wake_up_delay: s,
    aborts_after_ignition: count,
    abort_awake_time: minute,
    slip_after_arming: hour,
    armed_current: mA,
    soft_start_leakage: uA,
    cells_in_series: count,
    guaranteed_energy: W_h,
    camera_start_time: s,
    orbit_filming_delay: s,
    camera_stop_delay: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    burn_up_time: minute,
) -> Figure:
    """Energy from what is guaranteed at the end of the hold down to the reserve at burn-up, phase
    by phase and with all that may happen (above), and which unit or loss takes the planned energy
    (below), at the inputs. Look at the longest bars and at what is left. All data are invented.
    """
    from analyses import plotting

    found = mission_energy(
        computer_power, camera_power, cameras, storage_power, transmitter_base_power,
        transmit_power, amplifier_efficiency, lens_heater_power, lens_cover_power,
        converter_efficiency, converter_ageing, converter_standby, input_path_resistance,
        cutoff_voltage, computer_resets, computer_restart_time, reset_repeat_time, wake_up_delay,
        aborts_after_ignition, abort_awake_time, slip_after_arming, armed_current,
        soft_start_leakage, cells_in_series, guaranteed_energy, camera_start_time,
        orbit_filming_delay, camera_stop_delay, transmit_start_delay, transmit_stop_delay,
        burn_up_time,
    )  # fmt: skip
    steps = {
        **found.phase_energy,
        "computer reset": found.reset_energy,
        "late wake-up": found.late_wake_up_energy,
        "abort": found.abort_energy,
        "slip after arming": found.slip_energy,
    }
    units = {
        **{unit.replace("_", " "): taken for unit, taken in found.unit_energy.items()},
        "loss in converters": found.converter_loss,
        "loss in the path": found.path_loss,
    }
    figure, (above, below) = plotting.panels(2, height=6.4, heights=[len(steps) + 2, len(units)])
    left = guaranteed_energy
    above.barh("guaranteed", left, color=plotting.GREY)
    for name, taken in steps.items():
        left -= taken
        color = plotting.BLUE if name in found.phase_energy else plotting.ORANGE
        above.barh(name, taken, left=left, color=color)
        _amount(above, name, left + taken, taken)
    above.barh("reserve at burn-up", found.reserve_at_burn_up, color=plotting.GREEN)
    _amount(above, "guaranteed", guaranteed_energy, guaranteed_energy)
    _amount(above, "reserve at burn-up", found.reserve_at_burn_up, found.reserve_at_burn_up)
    for name, taken in units.items():
        below.barh(name, taken, color=plotting.SKY)
        _amount(below, name, taken, taken)
    for axes, most in ((above, guaranteed_energy), (below, max(units.values()))):
        axes.invert_yaxis()
        axes.set_xlim(right=1.15 * most)
        axes.grid(axis="y", visible=False)
    above.set_xlabel("energy that is left at the terminals of the battery (W h)")
    below.set_xlabel("planned energy (W h)")
    return figure


def _amount(axes: Axes, name: str, end: float, taken: float) -> None:
    """Write an energy in W h behind its bar."""
    axes.annotate(
        f"{taken:.2f}", (max(end, 0.0), name), (4, 0), textcoords="offset points", va="center"
    )


def drain_after_arming(armed: mA, leakage: uA) -> A:
    """Return what the armed circuit takes with the leakage of the open soft start."""
    return (armed + leakage / 1e3) / 1e3


def total(values: Iterable[float]) -> float:
    """Return the sum, without a zero to start from."""
    first, *others = values
    for value in others:
        first = first + value
    return first
