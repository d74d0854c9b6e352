"""Drain and self-discharge of a resting battery from a log of its voltage and current.

Time in days, voltage in V, current in uA, temperature in degC, capacity in A h. The log's columns
are those of its header; an empty field is a reading that is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import fsum, sqrt
from pathlib import Path
from typing import NamedTuple

from analyses.physics.csv_table import number, read_rows
from analyses.physics.linear_fit import Line, fit_line
from analyses.physics.lithium_ion import A_h_PER_DAY, charge_fraction
from closeout.units import A_h, V, count, day, degC, per_day, ratio, uA

COLUMNS = ("day", "battery_voltage_V", "current_uA", "cell_temperature_degC")


class Log(NamedTuple):
    """The readings: voltages with their days; currents; temperatures; length and longest gap."""

    days: list[day]  # of the voltages
    voltages: list[V]
    currents: list[uA]
    temperatures: list[degC]
    length: day  # from the first to the last row
    longest_gap: day  # between two voltages


class Soak(NamedTuple):
    """What the log says of the battery."""

    current: uA  # mean
    current_uncertainty: uA  # standard
    current_scatter: uA  # standard deviation of one reading
    rate: per_day  # of self-discharge
    rate_uncertainty: per_day  # standard
    temperature: degC  # mean
    line: Line  # of charge fraction and charge drained against the time integral of the fraction
    points: list[tuple[float, float]]  # that the line goes through: (d, charge fraction)


def read_log(path: Path) -> Log:
    """Return the log.

    Raises:
        ValueError: as `csv_table`; days that do not rise; fewer than 10 voltages or currents.
    """
    rows = read_rows(path, COLUMNS)
    kept = {c: [r for r in rows if r[c].strip()] for c in COLUMNS}
    read = {c: [number(path, row, c) for row in kept[c]] for c in COLUMNS}
    all_days = read["day"]
    if len(all_days) != len(rows):
        raise ValueError(f"{path.name}: {len(rows) - len(all_days)} rows have no day")
    if any(b <= a for a, b in pairwise(all_days)):
        raise ValueError(f"{path.name}: the days do not rise from row to row")
    voltages, currents = read["battery_voltage_V"], read["current_uA"]
    if min(len(voltages), len(currents)) < 10:
        raise ValueError(
            f"{path.name}: {len(voltages)} voltages and {len(currents)} currents; ten of each are "
            "the least for a fit"
        )
    days = [number(path, row, "day") for row in kept["battery_voltage_V"]]
    return Log(
        days, voltages, currents, read["cell_temperature_degC"], all_days[-1] - all_days[0],
        max(b - a for a, b in pairwise(days)),
    )  # fmt: skip


def fit_soak(
    log: Log, cells_in_series: count, capacity: A_h, voltage_drift: V, slope_error: ratio
) -> Soak:
    """Return drain and self-discharge by least squares.

    Charge balance, dx/dt = -k x - I/C, integrated: x + (charge drained)/C = x0 - k int x dt, a
    straight line of slope -k. The charge fraction x comes from the voltage, less a drift of the
    voltmeter that grows evenly to its value at the end; where the curve is flat a little voltage is
    much charge, and an error of its slope goes into k in full.
    """
    mean_current, scatter = mean_and_deviation(log.currents)
    first = log.days[0]
    fractions = [
        charge_fraction((v - voltage_drift * (d - first) / log.length) / cells_in_series)
        for d, v in zip(log.days, log.voltages, strict=True)
    ]
    middle = fsum(fractions) / len(fractions)
    fractions = [middle + (x - middle) * (1 + slope_error) for x in fractions]
    integral = [0.0]
    for i in range(1, len(fractions)):
        step = log.days[i] - log.days[i - 1]
        integral.append(integral[-1] + step * (fractions[i] + fractions[i - 1]) / 2)
    drained = [mean_current * A_h_PER_DAY * (d - first) / capacity for d in log.days]
    levels = [x + q for x, q in zip(fractions, drained, strict=True)]
    line = fit_line(integral, levels)
    return Soak(
        current=mean_current,
        current_uncertainty=scatter / sqrt(len(log.currents)),
        current_scatter=scatter,
        rate=-line.slope,
        rate_uncertainty=line.slope_uncertainty,
        temperature=fsum(log.temperatures) / len(log.temperatures),
        line=line,
        points=list(zip(integral, levels, strict=True)),
    )


def mean_and_deviation(values: Sequence[float]) -> tuple[float, float]:
    """Return mean and experimental standard deviation (JCGM 100:2008, 4.2.1 and 4.2.2)."""
    mean = fsum(values) / len(values)
    return mean, sqrt(fsum((v - mean) ** 2 for v in values) / (len(values) - 1))
