"""The link budget: its sum, the direction of each input, and the verdicts' sense."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from typing import Any

import pytest
import scipy.constants

import analyses.link_margin as module
from analyses.link_margin import LinkBudget, link_margin, mode_margin, system_noise
from analyses.physics.dvbs2 import read_modes
from analyses.physics.stations import read_stations

DATA = Path(__file__).parents[2] / "analyses" / "data"
STATIONS = read_stations(DATA / "stations.csv")
MODES = read_modes(DATA / "dvbs2_modes.csv")

BASE: dict[str, float] = {
    "carrier_frequency": 2245.0,
    "transmit_power": 0.4,
    "transmit_feeder_loss": 0.8,
    "antenna_peak_gain": 5.0,
    "antenna_beamwidth": 90.0,
    "antenna_off_axis": 20.0,
    "antenna_axial_ratio": 3.0,
    "symbol_rate": 5.0,
    "implementation_loss": 1.2,
    "station_pointing_error": 0.25,
    "station_g_over_t_error": 0.0,
    "link_elevation": 5.0,
    "stage_geometric_altitude": 500.0,
}


def budget(**change: float) -> LinkBudget:
    return link_margin(**{**BASE, **change})


def test_margin_is_the_sum_of_the_printed_lines() -> None:
    """Es/N0 = EIRP - losses + G/T - k - 10 log10(symbol rate), written out by hand."""
    b = budget()
    boltzmann = 10 * math.log10(scipy.constants.k)
    for name in STATIONS:
        losses = b.attitude_loss + b.path_loss + b.gas_loss[name] + b.rain_loss[name]
        losses += b.scintillation_loss[name] + b.station_pointing_loss[name]
        losses += b.polarisation_loss[name]
        es_n0 = b.peak_eirp - losses + b.g_over_t[name] - boltzmann - 10 * math.log10(5e6)
        assert b.es_n0[name] == pytest.approx(es_n0, abs=1e-6)
        left = es_n0 - BASE["implementation_loss"] - b.required_es_n0[name]
        assert b.link_margin[name] == pytest.approx(left, abs=1e-6)


def test_lines_that_can_be_done_by_hand() -> None:
    b = budget()
    assert b.peak_eirp == pytest.approx(10 * math.log10(0.4) - 0.8 + 5.0)
    assert b.attitude_loss == pytest.approx(12 * (20 / 90) ** 2)
    # ITU-R P.525 at the distance by the law of cosines, R = 6378.137 km.
    distance = math.sqrt((6378.137 * math.sin(math.radians(5))) ** 2 + 500 * (2 * 6378.137 + 500))
    distance -= 6378.137 * math.sin(math.radians(5))
    assert b.slant_range == pytest.approx(distance)
    assert b.path_loss == pytest.approx(
        20 * math.log10(2245) + 20 * math.log10(distance) + 32.447783, abs=1e-6
    )


def test_all_stations_in_the_order_of_their_table() -> None:
    b = budget()
    for field in ("gas_loss", "g_over_t", "es_n0", "link_margin", "bit_rate"):
        assert list(getattr(b, field)) == list(STATIONS)


def test_bit_rate_is_symbol_rate_times_printed_efficiency() -> None:
    """EN 302 307-1, Table 13: QPSK 1/2 carries 0.988858 bits a symbol."""
    planned = [name for name, station in STATIONS.items() if station.mode == "QPSK 1/2"]
    assert planned
    for name in planned:
        assert budget().bit_rate[name] == pytest.approx(5.0 * 0.988858)


# What lowers the margin at every station, with the change of the input that does it.
WORSE = [
    ("transmit_power", 0.3),
    ("transmit_feeder_loss", 1.0),
    ("antenna_peak_gain", 4.0),
    ("antenna_beamwidth", 80.0),
    ("antenna_off_axis", 30.0),
    ("antenna_axial_ratio", 4.0),
    ("symbol_rate", 6.0),
    ("implementation_loss", 1.5),
    ("station_pointing_error", 0.4),
    ("station_g_over_t_error", -0.4),
    ("link_elevation", 4.0),
    ("stage_geometric_altitude", 600.0),
]


@pytest.mark.parametrize(("name", "value"), WORSE)
def test_direction_of_each_input(name: str, value: float) -> None:
    before, after = budget().link_margin, budget(**{name: value}).link_margin
    assert all(after[station] < before[station] for station in STATIONS)


def test_each_input_but_the_carrier_has_a_direction_test() -> None:
    """The carrier's frequency is in path loss and dish gain alike and falls out but for 0.3 dB."""
    assert {name for name, _ in WORSE} | {"carrier_frequency"} == set(BASE)


def test_doubling_the_symbol_rate_costs_3_db_whatever_the_mode() -> None:
    before, after = budget(), budget(symbol_rate=10.0)
    for name in STATIONS:
        assert before.link_margin[name] - after.link_margin[name] == pytest.approx(3.0103, abs=1e-4)


def test_a_linear_feed_costs_3_db_and_the_axial_ratio_on_top() -> None:
    linear = next(name for name, station in STATIONS.items() if station.feed_axial_ratio_db >= 40)
    assert budget(antenna_axial_ratio=0.0).polarisation_loss[linear] == pytest.approx(
        3.01, abs=0.01
    )
    # r^2/(1 + r^2) with r = 10^(-3/20): the share of the ellipse's minor axis.
    share = 10 ** (-0.3) / (1 + 10 ** (-0.3))
    assert budget().polarisation_loss[linear] == pytest.approx(-10 * math.log10(share), abs=0.03)


def test_rain_raises_noise_as_well_as_loss() -> None:
    station = STATIONS["Kittiwake"]
    dry, wet = system_noise(station, 0.4, 5.0), system_noise(station, 1.4, 5.0)
    # 1 dB more of a medium at 275 K, in front of an antenna (ITU-R P.618).
    expected = (275.0 - 2.7) * (10**-0.04 - 10**-0.14)
    assert wet - dry == pytest.approx(expected, rel=1e-9)


def test_noise_falls_with_elevation() -> None:
    low, high = budget(link_elevation=5.0).system_noise, budget(link_elevation=40.0).system_noise
    assert all(high[name] < low[name] for name in STATIONS)


def test_system_noise_at_the_antenna_flange_by_hand() -> None:
    """Friis, referred to the flange: every stage divided by the gain in front of it."""
    s = STATIONS["Kittiwake"]

    def ratio(level: float) -> float:
        return 10 ** (level / 10)

    line, gain, cable = ratio(s.line_loss_db), ratio(s.lna_gain_db), ratio(s.cable_loss_db)
    chain = 290 * (line - 1) + 290 * (ratio(s.lna_noise_figure_db) - 1) * line
    chain += 290 * (cable - 1) * line / gain
    chain += 290 * (ratio(s.receiver_noise_figure_db) - 1) * line * cable / gain
    sky = 275 * (1 - ratio(-0.5)) + 2.7 * ratio(-0.5)
    assert system_noise(s, 0.5, 5.0) == pytest.approx(sky + s.spillover_5deg_k + chain, rel=1e-9)


@pytest.mark.parametrize("name", list(STATIONS))
def test_stated_g_over_t_fits_the_chain(name: str) -> None:
    """Two columns of one invented table agree: gain of the dish over the noise in clear sky."""
    station = STATIONS[name]
    gain = 10 * math.log10(station.efficiency * (math.pi * station.dish_m * 2245 / 299.792458) ** 2)
    g_over_t = gain - 10 * math.log10(system_noise(station, station.gas_5deg_db, 5.0))
    assert station.stated_g_over_t_db_per_k == pytest.approx(g_over_t, abs=0.2)


# --- modes ----------------------------------------------------------------------------------------


def test_mode_margin_is_that_of_the_weakest_station() -> None:
    b, modes = budget(), mode_margin(**BASE)
    weakest = min(b.es_n0.values())
    assert list(modes.mode_margin) == list(MODES)
    for name, mode in MODES.items():
        expected = weakest - BASE["implementation_loss"] - mode.ideal_es_n0
        assert modes.mode_margin[name] == pytest.approx(expected, abs=1e-9)
        assert modes.mode_bit_rate[name] == pytest.approx(5.0 * mode.spectral_efficiency)


def test_planned_modes_agree_with_the_mode_table() -> None:
    b, modes = budget(), mode_margin(**BASE)
    weakest = min(b.es_n0, key=lambda name: b.es_n0[name])
    planned = STATIONS[weakest].mode
    assert b.link_margin[weakest] == pytest.approx(modes.mode_margin[planned], abs=1e-9)


# --- tables ---------------------------------------------------------------------------------------


def copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edit: Any) -> None:
    """Let the analysis read a copy of its tables, of which the station table is edited."""
    folder = tmp_path / "data"
    shutil.copytree(DATA, folder)
    table = folder / "stations.csv"
    table.write_text(edit(table.read_text("utf-8")), encoding="utf-8")
    monkeypatch.setattr(module, "DATA", folder)


def test_a_mode_that_is_none_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    copied(tmp_path, monkeypatch, lambda text: text.replace("QPSK 3/5", "QPSK 7/8"))
    with pytest.raises(ValueError, match="mode 'QPSK 7/8' of Fulmar is not in dvbs2_modes"):
        budget()


def test_a_larger_dish_raises_the_margin_of_its_station_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = budget(station_pointing_error=0.0).link_margin
    copied(tmp_path, monkeypatch, lambda text: text.replace("50,5,3.7,", "50,5,7.4,"))
    after = budget(station_pointing_error=0.0).link_margin
    # twice the diameter: four times the aperture
    gained = {name: after[name] - before[name] for name in STATIONS}
    assert gained.pop("Kittiwake") == pytest.approx(6.0206, abs=1e-4)
    assert list(gained.values()) == pytest.approx([0.0] * 4, abs=1e-12)
