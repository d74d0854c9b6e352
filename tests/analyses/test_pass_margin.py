"""Margin at the top of a pass: against the budget at the horizon, by geometry and direction."""

from __future__ import annotations

import math

import pytest

from analyses.link_margin import link_margin
from analyses.pass_margin import STATION, pass_margin
from analyses.physics.stations import read_stations
from analyses.station_windows import DATA
from tests.analyses.declared import Declared, declarations, limits

OWN, LINK = Declared(pass_margin), Declared(link_margin)


def test_it_is_the_station_of_the_elevation() -> None:
    assert declarations()["pass_elevation"]["case"] == STATION
    assert STATION in read_stations(DATA / "stations.csv")


def test_what_is_gained_over_the_horizon_by_hand() -> None:
    """Law of cosines with R = 6371 km (IUGG mean radius) and h = 500 km: 20 log10 of both ranges.

    On top of it at most: 1.2 dB of gas, rain and fading in the station's table, and 150 K of noise
    at 5 deg (sky 25 K, ground 55 K, receiver 70 K, rounded) that are no less than 90 K above.
    """

    def distance(elevation: float) -> float:
        sine = math.sin(math.radians(elevation))
        return math.sqrt((6371 * sine) ** 2 + 2 * 6371 * 500 + 500**2) - 6371 * sine

    low = LINK.find(link_elevation=5.0, stage_geometric_altitude=500.0).link_margin[STATION]
    for elevation in (20.0, 45.0, 80.0):
        top = OWN.find(pass_elevation=elevation, stage_geometric_altitude=500.0).margin_at_top
        path = 20 * math.log10(distance(5.0) / distance(elevation))
        assert path - 0.02 <= top - low <= path + 1.2 + 10 * math.log10(150 / 90) + 0.1


@pytest.mark.parametrize(
    ("name", "sign"),
    [
        ("pass_elevation", +1), ("stage_geometric_altitude", -1), ("transmit_power", +1),
        ("implementation_loss", -1), ("antenna_off_axis", -1), ("station_pointing_error", -1),
    ],
)  # fmt: skip
def test_directions(name: str, sign: int) -> None:
    changed = OWN.find(**{name: 1.05 * OWN.values[name]}).margin_at_top
    assert sign * (changed - OWN.find().margin_at_top) > 0


def test_the_limit_is_kept_all_over_the_declared_ranges() -> None:
    found = [OWN.find(**point).margin_at_top for point in OWN.points(300)]
    assert min(found) >= limits("COM-045", "margin_at_top")[1]
