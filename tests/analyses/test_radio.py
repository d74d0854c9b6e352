"""Radio formulas against standards, textbook values and independent geometry."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import scipy.constants

from analyses.physics import radio
from analyses.physics.csv_table import number, read_rows
from analyses.physics.dvbs2 import read_modes, spectral_efficiency
from analyses.physics.stations import read_stations

DATA = Path(__file__).parents[2] / "analyses" / "data"


# --- path ---------------------------------------------------------------------------------------


# ITU-R P.525: 20 log10(4 pi d / lambda) with the constant kept whole.
@pytest.mark.parametrize(
    ("frequency", "distance", "loss"),
    [(2200.0, 1000.0, 159.2962), (2200.0, 2000.0, 165.3168), (437.0, 550.0, 140.0647)],
)
def test_free_space_loss(frequency: float, distance: float, loss: float) -> None:
    assert radio.free_space_loss(frequency, distance) == pytest.approx(loss, abs=5e-5)


def test_free_space_constant_that_the_recommendation_rounds() -> None:
    """ITU-R P.525 prints 32.4 for MHz and km, which is 0.048 dB less."""
    assert radio.free_space_loss(1.0, 1.0) == pytest.approx(32.447783, abs=5e-7)
    assert radio.free_space_loss(1.0, 1.0) - 32.4 == pytest.approx(0.048, abs=5e-4)


# Law of cosines, Earth's radius 6378.137 km (WGS 84).
@pytest.mark.parametrize(("height", "distance"), [(500.0, 1695.091), (300.0, 1160.388)])
def test_slant_range(height: float, distance: float) -> None:
    assert radio.slant_range(height, 10.0) == pytest.approx(distance, abs=5e-4)


def test_slant_range_at_zenith_and_horizon() -> None:
    assert radio.slant_range(500.0, 90.0) == pytest.approx(500.0, abs=1e-9)
    horizon = math.sqrt((6378.137 + 500.0) ** 2 - 6378.137**2)  # Pythagoras
    assert radio.slant_range(500.0, 0.0) == pytest.approx(horizon, rel=1e-12)


# --- antennas -----------------------------------------------------------------------------------


def test_dish_gain() -> None:
    """efficiency (pi D / lambda)^2 of a 3.7 m dish at 2245 MHz with 55 %."""
    assert radio.dish_gain(3.7, 2245.0, 0.55) == pytest.approx(36.1986, abs=5e-5)


def test_beam_loss_is_3_db_at_half_the_beamwidth() -> None:
    """That is what the beamwidth at half power means."""
    assert radio.beam_loss(1.0, 2.0) == pytest.approx(3.0, rel=1e-12)
    assert radio.beam_loss(0.0, 2.0) == 0.0


def test_dish_beamwidth() -> None:
    """70 lambda / D: 1 m wavelength, 10 m dish, 7 deg."""
    assert radio.dish_beamwidth(10.0, 299.792458) == pytest.approx(7.0, rel=1e-12)


def jones(axial_ratio_db: float, tilt: float) -> np.ndarray:
    """Return the unit vector of an elliptical wave: major axis at a tilt, one sense."""
    ratio = 10.0 ** (-axial_ratio_db / 20.0)
    across = np.array([1.0, 1j * ratio]) / math.hypot(1.0, ratio)
    turn = np.array([[math.cos(tilt), -math.sin(tilt)], [math.sin(tilt), math.cos(tilt)]])
    return turn @ across


@pytest.mark.parametrize(("a", "b"), [(0.0, 0.0), (3.0, 1.0), (3.0, 3.0), (2.0, 60.0), (6.0, 0.5)])
def test_polarisation_against_jones_vectors(a: float, b: float) -> None:
    """The received share is the squared product of two unit vectors, whatever the tilt."""
    shares = []
    for tilt in range(0, 181, 5):
        share = abs(np.vdot(jones(a, 0.0), jones(b, math.radians(tilt)))) ** 2
        assert radio.polarisation_efficiency(a, b, float(tilt)) == pytest.approx(share, abs=1e-12)
        shares.append(share)
    assert radio.polarisation_loss(a, b) == pytest.approx(-10 * math.log10(min(shares)), abs=1e-9)


def test_linear_to_circular_is_3_db() -> None:
    """Half of the power: 3.0103 dB; a linear feed stands in the table as 60 dB."""
    assert radio.polarisation_loss(0.0, 400.0) == pytest.approx(3.0103, abs=5e-5)
    assert radio.polarisation_loss(0.0, 60.0) == pytest.approx(3.0103, abs=0.01)
    assert radio.polarisation_loss(0.0, 0.0) == pytest.approx(0.0, abs=1e-12)


def test_two_antennas_of_3_db_axial_ratio_lose_half_a_decibel() -> None:
    """Charts of polarisation mismatch in antenna textbooks: 0.51 dB at the worst tilt (memory)."""
    assert radio.polarisation_loss(3.0, 3.0) == pytest.approx(0.51, abs=0.01)


# --- noise --------------------------------------------------------------------------------------


def test_boltzmann() -> None:
    assert pytest.approx(10 * math.log10(scipy.constants.k), abs=5e-7) == radio.BOLTZMANN


# 290 K (F - 1).
@pytest.mark.parametrize(("figure", "kelvin"), [(1.0, 75.0884), (2.0, 169.6190)])
def test_noise_of_figure(figure: float, kelvin: float) -> None:
    assert radio.noise_of_figure(figure) == pytest.approx(kelvin, abs=5e-5)


def test_noise_cascade() -> None:
    """Friis: antenna 100 K, line 0.5 dB, amplifier NF 0.8 dB and 30 dB, cable 3 dB, NF 6 dB."""
    chain = [
        (radio.noise_of_loss(0.5), -0.5),
        (radio.noise_of_figure(0.8), 30.0),
        (radio.noise_of_loss(3.0), -3.0),
        (radio.noise_of_figure(6.0), 0.0),
    ]
    assert 100.0 + radio.cascade_noise(chain) == pytest.approx(203.45848, abs=5e-6)


def test_sky_noise_ends() -> None:
    """ITU-R P.618: 2.7 K behind no air, 275 K behind opaque air."""
    assert radio.sky_noise(0.0) == pytest.approx(2.7)
    assert radio.sky_noise(100.0) == pytest.approx(275.0, abs=1e-6)


def test_sky_noise_of_clear_air_low_over_the_horizon() -> None:
    """ITU-R P.372, clear air, near 2 GHz and 5 deg: about 25 K (read off a figure, memory)."""
    assert 20.0 < radio.sky_noise(0.4) < 30.0


def test_spillover_has_its_two_stated_values_and_falls_between() -> None:
    values = [radio.spillover_noise(45.0, 12.0, e) for e in (5.0, 10.0, 30.0, 60.0, 90.0)]
    assert values[0] == pytest.approx(45.0)
    assert values[-1] == pytest.approx(12.0)
    assert values == sorted(values, reverse=True)


# --- air against the ITU-R models ---------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", list(read_stations(DATA / "stations.csv")))
def test_air_of_the_station_table_against_itur(name: str) -> None:
    """itur 0.4: P.676 gases, P.618 rain and scintillation, P.840 cloud, 1 % of a year, 2.245 GHz.

    At S band and 5 deg gas is about 0.4 dB, rain under 0.7 dB. The table may stand a little on the
    safe side of the models, and not below them.
    """
    import itur

    station = read_stations(DATA / "stations.csv")[name]

    def model(elevation: float) -> list[float]:
        found = itur.atmospheric_attenuation_slant_path(
            station.latitude_deg,
            station.longitude_deg,
            2.245,
            elevation,
            1.0,
            station.dish_m,
            hs=station.height_m / 1000.0,
            return_contributions=True,
        )
        return [float(part.value) for part in found]

    gas, cloud, rain, scintillation, _ = model(5.0)
    assert gas == pytest.approx(0.4, abs=0.05)
    assert cloud + rain < 0.7
    assert gas <= station.gas_5deg_db + 0.01 < gas + 0.06
    assert cloud + rain <= station.rain_5deg_db + 0.01 < cloud + rain + 0.1
    assert scintillation <= station.scintillation_5deg_db <= scintillation + 0.2
    for elevation in (8.0, 10.0, 20.0):
        gas_up, _, _, scintillation_up, _ = model(elevation)
        assert radio.at_elevation(gas, elevation) == pytest.approx(gas_up, rel=0.05)
        up = radio.scintillation_at_elevation(scintillation, elevation)
        assert up == pytest.approx(scintillation_up, rel=0.05)


# --- flux density -------------------------------------------------------------------------------


def test_flux_density_on_a_unit_sphere() -> None:
    """1 W spread over the 4 pi m2 of a sphere of 1 m: -10.992 dB(W/m2)."""
    assert radio.flux_density(0.0, 1e-3) == pytest.approx(-10.0 * math.log10(4 * math.pi))


def test_flux_density_and_free_space_agree() -> None:
    """An isotropic antenna takes the flux density times lambda^2/(4 pi) (antenna theory)."""
    aperture = (299.792458 / 2245.0) ** 2 / (4 * math.pi)
    received = radio.flux_density(3.0, 1200.0) + 10 * math.log10(aperture)
    assert received == pytest.approx(3.0 - radio.free_space_loss(2245.0, 1200.0), abs=1e-9)


# --- Doppler --------------------------------------------------------------------------------------


def test_horizon_doppler() -> None:
    """Circular orbit at 500 km, 2245 MHz, Earth at rest: f/c v R/(R + h)."""
    assert radio.horizon_doppler(2245.0, 500.0) == pytest.approx(52.863, abs=5e-4)


@pytest.mark.parametrize("rotating", [False, True])
def test_overhead_doppler_rate_against_positions(rotating: bool) -> None:
    """Second difference of the distance between two points on circles, one against the other."""
    radius, station = 6378.137 + 300.0, 6378.137
    rate = math.sqrt(398600.4418 / radius**3)
    turn = 7.292115e-5 if rotating else 0.0

    def distance(t: float) -> float:
        ship = radius * np.array([math.cos(rate * t), math.sin(rate * t)])
        ground = station * np.array([math.cos(turn * t), -math.sin(turn * t)])
        return float(np.linalg.norm(ship - ground))

    step = 0.05
    curvature = (distance(step) - 2 * distance(0.0) + distance(-step)) / step**2
    expected = 2245e3 * curvature / 299_792.458
    found = radio.overhead_doppler_rate(2245.0, 300.0, turn * station)
    assert found == pytest.approx(expected, rel=1e-5)


# --- DVB-S2 -------------------------------------------------------------------------------------

# ETSI EN 302 307-1, Table 5a: uncoded bits of a normal frame by code rate (from memory).
KBCH = {
    "1/4": 16008,
    "1/3": 21408,
    "2/5": 25728,
    "1/2": 32208,
    "3/5": 38688,
    "2/3": 43040,
    "3/4": 48408,
    "4/5": 51648,
    "5/6": 53840,
    "8/9": 57472,
    "9/10": 58192,
}
# ETSI EN 302 307-1, Table 13: ideal Es/N0 in dB for quasi-error-free reception, normal frame.
TABLE_13 = {
    "QPSK": {
        "1/4": -2.35, "1/3": -1.24, "2/5": -0.30, "1/2": 1.00, "3/5": 2.23, "2/3": 3.10,
        "3/4": 4.03, "4/5": 4.68, "5/6": 5.18, "8/9": 6.20, "9/10": 6.42,
    },
    "8PSK": {"3/5": 5.50, "2/3": 6.62, "3/4": 7.91, "5/6": 9.35, "8/9": 10.69, "9/10": 10.98},
    "16APSK": {
        "2/3": 8.97, "3/4": 10.21, "4/5": 11.03, "5/6": 11.61, "8/9": 12.89, "9/10": 13.13,
    },
    "32APSK": {"3/4": 12.73, "4/5": 13.64, "5/6": 14.28, "8/9": 15.69, "9/10": 16.05},
}  # fmt: skip
BITS = {"QPSK": 2, "8PSK": 3, "16APSK": 4, "32APSK": 5}


def test_modes_are_those_of_table_13() -> None:
    expected = {
        f"{modulation} {rate}": es_n0
        for modulation, rates in TABLE_13.items()
        for rate, es_n0 in rates.items()
    }
    modes = read_modes(DATA / "dvbs2_modes.csv")
    assert len(modes) == 28
    assert {name: mode.ideal_es_n0 for name, mode in modes.items()} == expected


@pytest.mark.parametrize("name", list(read_modes(DATA / "dvbs2_modes.csv")))
def test_spectral_efficiency_follows_from_the_frame(name: str) -> None:
    """(Kbch - 80) / (90 (S + 1)); S slots of 90 symbols: 360, 240, 180, 144 (EN 302 307-1)."""
    modulation, rate = name.split()
    slots = {2: 360, 3: 240, 4: 180, 5: 144}[BITS[modulation]]
    expected = (KBCH[rate] - 80) / (90 * (slots + 1))
    printed = read_modes(DATA / "dvbs2_modes.csv")[name].spectral_efficiency
    assert printed == pytest.approx(expected, abs=5.1e-7)
    assert spectral_efficiency(KBCH[rate], BITS[modulation]) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("name", list(read_modes(DATA / "dvbs2_modes.csv")))
def test_no_mode_beats_shannon(name: str) -> None:
    """No code needs less than 10 log10(2^eta - 1) in white noise (Shannon 1948)."""
    mode = read_modes(DATA / "dvbs2_modes.csv")[name]
    assert mode.ideal_es_n0 > 10 * math.log10(2**mode.spectral_efficiency - 1)


# --- tables -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("# nothing but a comment\na,b\n", "no rows"),
        ("a\n1\n", "no column b"),
        ("a,b\n1,2\n3\n", r"rows \[2\]"),
        ("a,b\n1,2,3\n", r"rows \[1\]"),
    ],
)
def test_a_bad_table_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=rf"t\.csv: .*{message}"):
        read_rows(path, ("a", "b"))


def test_a_field_that_is_no_number_names_its_place(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("# comment\nname,dish\nFulmar,five\n", encoding="utf-8")
    row = read_rows(path, ("name", "dish"))[0]
    with pytest.raises(ValueError, match="column dish, row that begins with 'Fulmar'"):
        number(path, row, "dish")
