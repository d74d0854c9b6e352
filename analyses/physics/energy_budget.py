"""Energy of a sequence of phases, in which units take power for a share of the time.

Power in W, time in minutes, energy in W h. A budget is the sum of power times time (definition of
energy); losses are those of the converters and of the path from the battery to them.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics.csv_table import number, read_rows
from analyses.physics.source_under_load import terminal_voltage
from closeout.math import maximum
from closeout.units import Unit, V, W, W_h, minute, ohm, ratio

Powers = Annotated[Mapping[str, float], Unit("W")]
Shares = Annotated[Mapping[str, float], Unit("1")]
Minutes = Annotated[Mapping[str, float], Unit("min")]

UNITS = ("computer", "cameras", "storage", "transmitter", "heater", "lens_cover")


FLAGS = ("delay", "sent", "steady")


class Phase(NamedTuple):
    """A phase of the sequence; see the header of its table."""

    ends: str  # name of the moment at which it ends
    waits_for_late_wake_up: bool
    before_last_picture: bool
    is_steady: bool
    shares: Shares  # of the time, by unit


class Supply(NamedTuple):
    """Converters and the path from the battery to them."""

    efficiency: ratio
    standby: W
    path_resistance: ohm
    battery_voltage: V  # at the terminals


def read_phases(path: Path) -> dict[str, Phase]:
    """Return the phases by name, in the order of the file.

    Raises:
        ValueError: as `csv_table`; a share outside 0 to 1, a flag other than 0 and 1, or a phase
            that stands twice. Names every one of them.
    """
    rows = read_rows(path, ("phase", "ends", *FLAGS, *UNITS))
    wrong: list[str] = []
    phases: dict[str, Phase] = {}
    for row in rows:
        name = row["phase"]
        values = {c: number(path, row, c) for c in (*FLAGS, *UNITS)}
        if name in phases:
            wrong.append(f"phase {name} stands twice")
        wrong += [f"phase {name}: {c} is {row[c]}, not 0 or 1"
                  for c in FLAGS if values[c] not in (0.0, 1.0)]  # fmt: skip
        wrong += [f"phase {name}: share of {unit} is {row[unit]}, not from 0 to 1"
                  for unit in UNITS if not 0.0 <= values[unit] <= 1.0]  # fmt: skip
        waits, before, steady = (values[flag] == 1.0 for flag in FLAGS)
        shares = {unit: values[unit] for unit in UNITS}
        phases[name] = Phase(row["ends"], waits, before, steady, shares)
    if wrong:
        raise ValueError(f"{path.name}: {'; '.join(wrong)}")
    return phases


def lengths(phases: Mapping[str, Phase], moments: Minutes) -> Minutes:
    """Return the length of each phase in minutes, from the moments at which they end.

    Moments by name, in minutes from the begin of the first phase. A phase that should end before
    it begins has no length.

    Raises:
        ValueError: a phase ends at a moment that is not given.
    """
    if unknown := sorted({phase.ends for phase in phases.values()} - set(moments)):
        raise ValueError(f"no moment {', '.join(unknown)}; there are {', '.join(sorted(moments))}")
    found, begin = {}, 0.0
    for name, phase in phases.items():
        end = maximum(moments[phase.ends], begin)
        found[name] = end - begin
        begin = end
    return found


def unit_power(phase: Phase, powers: Powers, unit: str) -> W:
    """Return the mean power of a unit in a phase."""
    return phase.shares[unit] * powers[unit]


def load_power(phase: Phase, powers: Powers) -> W:
    """Return the mean power of all units in a phase, behind the converters."""
    return sum(unit_power(phase, powers, unit) for unit in UNITS)


def converter_input(load: W, efficiency: ratio, standby: W) -> W:
    """Return what converters take for a load: standby + load / efficiency (its definition)."""
    return standby + load / efficiency


def battery_power(power: W, path_resistance: ohm, battery_voltage: V) -> W:
    """Return the power at the battery's terminals for a constant power behind a resistance.

    P U_battery / U behind the path, with Kirchhoff's voltage law; at the lowest battery voltage it
    is highest.
    """
    return power * battery_voltage / terminal_voltage(battery_voltage, path_resistance, power)


def drawn_power(load: W, supply: Supply) -> W:
    """Return what a load behind the converters takes at the battery's terminals."""
    taken = converter_input(load, supply.efficiency, supply.standby)
    return battery_power(taken, supply.path_resistance, supply.battery_voltage)


def energy(power: W, minutes: minute) -> W_h:
    """Return the energy in W h of a power over some minutes."""
    return power * minutes / 60
