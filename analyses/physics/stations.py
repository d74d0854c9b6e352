"""The ground stations of the mission, from their table."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from analyses.physics.csv_table import number, read_rows
from closeout.units import K, dB, dB_per_K, deg, m, ratio


class Station(NamedTuple):
    """A row of the station table; units as the header of the file says."""

    latitude_deg: deg
    longitude_deg: deg
    height_m: m
    mask_deg: deg
    dish_m: m
    efficiency: ratio
    feed_axial_ratio_db: dB
    spillover_5deg_k: K
    spillover_zenith_k: K
    line_loss_db: dB
    lna_noise_figure_db: dB
    lna_gain_db: dB
    cable_loss_db: dB
    receiver_noise_figure_db: dB
    gas_5deg_db: dB
    rain_5deg_db: dB
    scintillation_5deg_db: dB
    stated_g_over_t_db_per_k: dB_per_K
    mode: str


def read_stations(path: Path) -> dict[str, Station]:
    """Return the stations by name, in the order of the file."""
    rows = read_rows(path, ("station", *Station._fields))
    return {row["station"]: _station(path, row) for row in rows}


def _station(path: Path, row: dict[str, str]) -> Station:
    values: dict[str, Any] = {name: number(path, row, name) for name in Station._fields[:-1]}
    return Station(**values, mode=row["mode"])
