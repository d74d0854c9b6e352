"""The ground stations of the mission, from their table."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from analyses.physics.csv_table import number, read_rows


class Station(NamedTuple):
    """A row of the station table; units as the header of the file says."""

    latitude_deg: float
    longitude_deg: float
    height_m: float
    mask_deg: float
    dish_m: float
    efficiency: float
    feed_axial_ratio_db: float
    spillover_5deg_k: float
    spillover_zenith_k: float
    line_loss_db: float
    lna_noise_figure_db: float
    lna_gain_db: float
    cable_loss_db: float
    receiver_noise_figure_db: float
    gas_5deg_db: float
    rain_5deg_db: float
    scintillation_5deg_db: float
    stated_g_over_t_db_per_k: float
    mode: str


def read_stations(path: Path) -> dict[str, Station]:
    """Return the stations by name, in the order of the file."""
    rows = read_rows(path, ("station", *Station._fields))
    return {row["station"]: _station(path, row) for row in rows}


def _station(path: Path, row: dict[str, str]) -> Station:
    values: dict[str, Any] = {name: number(path, row, name) for name in Station._fields[:-1]}
    return Station(**values, mode=row["mode"])
