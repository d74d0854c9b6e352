"""Power flux density at the ground: limits, sums by hand, and the direction of each input."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import pytest
from pyproj import Transformer

from analyses.ground_flux import ELEVATIONS, GroundFlux, ground_flux, read_limits
from closeout.math import table

LIMITS = Path(__file__).parents[2] / "analyses" / "data" / "flux_limits.csv"

BASE: dict[str, float] = {
    "carrier_frequency": 2245.0,
    "transmit_power": 0.4,
    "transmit_feeder_loss": 0.8,
    "antenna_peak_gain": 5.0,
    "installed_gain_rise": 0.5,
    "symbol_rate": 5.0,
    "roll_off": 0.2,
    "spectral_peaking": 0.3,
    "stage_geometric_altitude": 300.0,
}


def flux(**change: float) -> GroundFlux:
    return ground_flux(**{**BASE, **change})


def test_limits_of_the_radio_regulations() -> None:
    """Table 21-4, 2200-2300 MHz (from memory), dB(W/m2) in 4 kHz at the angle delta."""
    limits = read_limits(LIMITS)
    assert (limits.band_low, limits.band_high, limits.bandwidth) == (2200.0, 2300.0, 4.0)
    for step in range(901):
        elevation = step / 10.0
        if elevation <= 5.0:
            expected = -154.0
        elif elevation <= 25.0:
            expected = -154.0 + (elevation - 5.0) / 2.0
        else:
            expected = -144.0
        assert table(elevation, limits.points) == pytest.approx(expected, abs=1e-9)


def test_density_by_hand_at_the_zenith() -> None:
    """EIRP over the sphere of radius h, and 4 kHz out of 5 MHz."""
    found = flux()
    eirp = 10 * math.log10(0.4) - 0.8 + 5.0 + 0.5
    whole = eirp - 10 * math.log10(4 * math.pi * 300e3**2)
    assert found.highest_eirp == pytest.approx(eirp)
    assert found.unmodulated_flux_density["90 deg"] == pytest.approx(whole)
    share = 10 * math.log10(4e3 / 5e6) + 0.3
    assert found.flux_density["90 deg"] == pytest.approx(whole + share)
    assert found.flux_margin["90 deg"] == pytest.approx(-144.0 - whole - share)
    assert found.unmodulated_flux_margin["90 deg"] == pytest.approx(-144.0 - whole)


def test_spreading_loss_of_a_geostationary_satellite() -> None:
    """162.1 dB(m2) from 35 786 km, as satellite filings print it below the satellite (memory)."""
    found = flux(stage_geometric_altitude=35_786.0)
    spread = found.highest_eirp - found.unmodulated_flux_density["90 deg"]
    assert spread == pytest.approx(162.1, abs=0.05)


@pytest.mark.parametrize("elevation", [0, 5, 25, 90])
def test_density_with_ranges_of_pyproj(elevation: int) -> None:
    """PROJ's topocentric conversion on a sphere of 6378.137 km: the place at that range is as high.

    From a station at the origin, the place in the direction of the elevation and at the range that
    the density implies lies at the altitude that was asked for.
    """
    found = flux()
    case = f"{elevation} deg"
    density = found.unmodulated_flux_density[case]
    metres = 10 ** ((found.highest_eirp - density) / 20) / math.sqrt(4 * math.pi)
    to_geographic = Transformer.from_pipeline(
        "+proj=pipeline +step +inv +proj=topocentric +R=6378137 +lat_0=0 +lon_0=0 +h_0=0 "
        "+step +inv +proj=cart +R=6378137"
    )
    rise = math.radians(elevation)
    *_, height = to_geographic.transform(0.0, metres * math.cos(rise), metres * math.sin(rise))
    assert height == pytest.approx(300e3, abs=1e-3)


def test_an_unmodulated_carrier_has_its_whole_power_in_the_limits_bandwidth() -> None:
    found = flux()
    for case, margin in found.flux_margin.items():
        assert found.unmodulated_flux_margin[case] - margin == pytest.approx(found.spreading)
        assert found.unmodulated_flux_margin[case] < margin


# What lowers the margin at every elevation.
WORSE = [
    ("transmit_power", 0.5),
    ("transmit_feeder_loss", 0.6),
    ("antenna_peak_gain", 6.0),
    ("installed_gain_rise", 1.0),
    ("symbol_rate", 4.0),
    ("spectral_peaking", 0.6),
    ("stage_geometric_altitude", 200.0),
]


@pytest.mark.parametrize(("name", "value"), WORSE)
def test_direction_of_each_input(name: str, value: float) -> None:
    before, after = flux().flux_margin, flux(**{name: value}).flux_margin
    assert all(after[case] < before[case] for case in before)


@pytest.mark.parametrize(
    ("name", "value"),
    [("carrier_frequency", 2205.0), ("symbol_rate", 6.0), ("roll_off", 0.35)],
)
def test_direction_of_the_place_in_the_band(name: str, value: float) -> None:
    assert flux(**{name: value}).band_clearance < flux().band_clearance


def test_each_input_has_a_direction_test() -> None:
    assert {name for name, _ in WORSE} | {"carrier_frequency", "roll_off"} == set(BASE)


def test_place_in_the_band_by_hand() -> None:
    assert flux().band_clearance == pytest.approx(45.0 - 3.0)
    assert flux(carrier_frequency=2298.0).band_clearance == pytest.approx(2.0 - 3.0)


def test_no_elevation_between_those_shown_is_worse_by_more_than_the_docstring_says() -> None:
    """Dense elevations against the neighbours that are shown, over the altitudes that are asked."""
    points = read_limits(LIMITS).points
    for height in (200.0, 250.0, 300.0, 400.0, 500.0):
        found = flux(stage_geometric_altitude=height)
        shown = found.flux_margin
        for low, high in pairwise(ELEVATIONS):
            floor = min(shown[f"{low} deg"], shown[f"{high} deg"])
            for step in range(1, 50):
                elevation = low + (high - low) * step / 50
                sine = 6378.137 * math.sin(math.radians(elevation))
                distance = math.sqrt(sine**2 + height * (2 * 6378.137 + height)) - sine
                density = found.highest_eirp + found.spreading
                density -= 10 * math.log10(4 * math.pi * (distance * 1e3) ** 2)
                margin = table(elevation, points) - density
                assert margin > floor - 0.1
                assert margin > shown["90 deg"]


def test_a_table_of_two_bands_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "flux_limits.csv"
    text = LIMITS.read_text("utf-8")
    path.write_text(text.replace("2200,2300,4,90", "1525,2300,4,90"), encoding="utf-8")
    with pytest.raises(ValueError, match="more than one band"):
        read_limits(path)
    path.write_text(text.replace("4,25,-144", "4,3,-144"), encoding="utf-8")
    with pytest.raises(ValueError, match="do not rise"):
        read_limits(path)
