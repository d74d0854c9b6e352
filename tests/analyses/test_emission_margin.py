"""Unwanted emission against its limits: sums by hand, directions, and what is refused."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import yaml

from analyses import emission_margin as module
from analyses.emission_margin import Band, Line, emission_margin, occupied_spectrum

ROOT = Path(__file__).parents[2]
DATA = ROOT / "analyses" / "data"

BASE: dict[str, float] = {
    "transmit_power": 0.4,
    "transmit_feeder_loss": 0.8,
    "antenna_peak_gain": 5.0,
    "installed_gain_rise": 0.5,
    "emission_reading_error": 0.0,
    "flight_unit_spread": 1.0,
    "emission_installed_rise": 3.0,
    "receiver_distance": 1.0,
}
SAFETY = "range-safety receiver, 432 MHz"


def margins(**changed: float) -> module.EmissionMargins:
    return emission_margin(**{**BASE, **changed})


def added(*levels: float) -> float:
    """Return amplitudes in phase, in dB."""
    return 20 * math.log10(sum(10 ** (level / 20) for level in levels))


# --- by hand --------------------------------------------------------------------------------------


def test_range_safety_by_hand() -> None:
    """Three units at 432 MHz in phase, and the transmitter's spurious at -128 dB to the carrier.

    EIRP 10 log 0.4 - 0.8 + 5.0 + 0.5 dBW; sqrt(30 P)/d is 134.77 dBuV/m for 1 W at 1 m.
    """
    eirp = 10 * math.log10(0.4) - 0.8 + 5.0 + 0.5
    spurious = 134.771 + eirp - 128
    units = [level + 1.0 + 3.0 for level in (5.0, 8.0, 8.0)]
    found = margins()
    assert found.highest_eirp == pytest.approx(eirp)
    assert found.radiated_margin[SAFETY] == pytest.approx(34 - added(*units, spurious), abs=1e-3)


def test_carrier_at_the_nearest_receiver_by_hand() -> None:
    eirp = 10 * math.log10(0.4) - 0.8 + 5.0 + 0.5
    (margin,) = margins().carrier_margin.values()
    assert margin == pytest.approx(144 - 134.771 - eirp, abs=1e-3)
    (nearer,) = margins(receiver_distance=0.5).carrier_margin.values()
    assert margin - nearer == pytest.approx(6.0206, abs=1e-4)  # half the distance, twice the field


def test_conducted_by_hand() -> None:
    """dBuA, 20 log: computer 14 and vibration board 9 at 72 MHz; limit 60 to 30 over 2 decades."""
    found = margins()
    limit = 60 - 30 * math.log10(72 / 2) / 2
    expected = limit - added(14 + 1, 9 + 1)
    assert found.conducted_margin["umbilical 2 to 200 MHz, 72 MHz"] == pytest.approx(expected)


def test_each_camera_has_its_lines() -> None:
    """As many as fly: the number is the one of data, energy and mass list."""
    text = (DATA.parent / "recorder.yaml").read_text("utf-8")
    fly = int(yaml.safe_load(text)["parameters"]["cameras"]["value"].split()[0])
    lines = module.read_lines(DATA / "emission_lines.csv")
    names = {line.unit for line in lines if line.unit.startswith("camera")}
    assert names == {f"camera {number}" for number in range(1, fly + 1)}


def test_each_line_and_each_band_has_a_case() -> None:
    """The smallest margin names its place; a band without a line has the transmitter alone."""
    found = margins()
    cases = [*found.radiated_margin, *found.carrier_margin, *found.conducted_margin]
    lines = module.read_lines(DATA / "emission_lines.csv")
    for name, band in module.read_bands(DATA / "emission_limits.csv").items():
        for line in lines:
            if line.kind == band.kind and band.low <= line.frequency <= band.high:
                assert f"{name}, {line.frequency:g} MHz" in cases
        assert (f"{name}, transmitter alone" in cases) == (band.transmitter is not None)


def test_spurious_alone_by_hand() -> None:
    found = margins()
    level = 134.771 + found.highest_eirp - 128
    alone = found.radiated_margin["range-safety receiver, transmitter alone"]
    assert alone == pytest.approx(34 - level, abs=1e-3)
    assert alone > found.radiated_margin[SAFETY]


# --- directions -----------------------------------------------------------------------------------

BY_TRANSMITTER = [
    ("transmit_power", 0.5),
    ("transmit_feeder_loss", 0.5),
    ("antenna_peak_gain", 6.0),
    ("installed_gain_rise", 1.5),
]


@pytest.mark.parametrize(("name", "value"), BY_TRANSMITTER)
def test_the_transmitter_counts_in_every_radiated_band(name: str, value: float) -> None:
    """S: carrier and spurious in the receivers' notches, range safety first; none on the wires."""
    before, after = margins(), margins(**{name: value})
    for band, margin in before.radiated_margin.items():
        assert after.radiated_margin[band] < margin
    assert after.carrier_margin != before.carrier_margin
    assert after.conducted_margin == before.conducted_margin


@pytest.mark.parametrize(
    ("name", "value"), [("emission_reading_error", 3.0), ("flight_unit_spread", 2.0)]
)
def test_error_and_spread_lower_each_margin(name: str, value: float) -> None:
    before, after = margins(), margins(**{name: value})
    for kind in ("radiated_margin", "conducted_margin"):
        worse, better = getattr(after, kind), getattr(before, kind)
        for case, margin in better.items():
            if case.endswith("transmitter alone"):  # a bound of its data sheet, no reading
                assert worse[case] == margin
            else:
                assert worse[case] < margin


def test_reflections_raise_what_is_radiated_alone() -> None:
    before, after = margins(), margins(emission_installed_rise=6.0)
    for case, margin in before.radiated_margin.items():
        alone = case.endswith("transmitter alone")
        assert (
            (after.radiated_margin[case] == margin)
            if alone
            else (after.radiated_margin[case] < margin)
        )
    assert after.conducted_margin == before.conducted_margin


def test_a_receiver_further_away_gains_nothing() -> None:
    assert margins(receiver_distance=5.0) == margins()
    near = margins(receiver_distance=0.8)
    fall = 20 * math.log10(1 / 0.8)
    for band, margin in margins().radiated_margin.items():
        assert margin - near.radiated_margin[band] == pytest.approx(fall)


def test_each_input_has_a_direction_test() -> None:
    others = {"emission_reading_error", "flight_unit_spread", "emission_installed_rise"}
    assert {name for name, _ in BY_TRANSMITTER} | others | {"receiver_distance"} == set(BASE)


# --- sums, bandwidth, detector --------------------------------------------------------------------

BAND = Band("radiated", 100.0, 200.0, 30.0, 40.0, 10.0, "peak", None)


def line(**changed: Any) -> Line:
    return Line("radiated", "a", 150.0, 20.0, 10.0, "peak", "line")._replace(**changed)


def test_several_units_are_summed() -> None:
    """S: two equal units give 6 dB in phase, four 12 dB."""
    (one,) = module.sums(BAND, [line()], 0.0, [])
    two = module.sums(BAND, [line(), line(unit="b")], 0.0, [])
    assert one == ("150 MHz", 150.0, pytest.approx(20.0))
    assert two[0][2] == pytest.approx(26.02, abs=5e-3)
    four = module.sums(BAND, [line(unit=name) for name in "abcd"], 0.0, [])
    assert four[0][2] == pytest.approx(32.04, abs=5e-3)


def test_lines_further_apart_than_the_bandwidth_are_not_summed() -> None:
    near = module.sums(BAND, [line(), line(frequency=150.009)], 0.0, [])
    far = module.sums(BAND, [line(), line(frequency=150.011)], 0.0, [])
    assert near[0][2] == pytest.approx(26.02, abs=5e-3)
    assert far[0][2] == pytest.approx(20.0)


def test_bandwidth_and_character_count() -> None:
    """S: a reading in 1 kHz against a limit in 10 kHz: a line stays, noise 10 dB, pulses 20 dB."""
    for character, rise in (("line", 0.0), ("noise", 10.0), ("pulses", 20.0)):
        read = line(bandwidth=1.0, character=character)
        assert module.sums(BAND, [read], 0.0, [])[0][2] == pytest.approx(20.0 + rise)


def test_background_counts_where_no_line_is_and_where_the_limit_is_lowest() -> None:
    alone = "transmitter alone"
    assert module.sums(BAND, [], 0.0, [25.0]) == [(alone, 100.0, pytest.approx(25.0))]
    falling = BAND._replace(low_limit=40.0, high_limit=30.0)
    assert module.sums(falling, [], 0.0, [25.0]) == [(alone, 200.0, pytest.approx(25.0))]


def test_a_band_in_which_nothing_was_read_is_refused() -> None:
    with pytest.raises(ValueError, match="no emission was read from 100 MHz to 200 MHz"):
        module.sums(BAND, [], 0.0, [])


def test_a_weak_detector_and_a_line_without_a_band_are_refused_together() -> None:
    """S: an average reading says nothing of a peak limit; a peak one covers an average limit."""
    lines = [line(detector="average"), line(unit="b", frequency=250.0), line(kind="conducted")]
    with pytest.raises(ValueError, match="no band") as caught:
        module.refuse_what_is_not_judged({"x": BAND}, lines)
    text = str(caught.value)
    assert "a at 150 MHz: average reading against a peak limit" in text
    assert "b at 250 MHz: no band of the limits holds it" in text
    assert "conducted line of a at 150 MHz: no band" in text
    module.refuse_what_is_not_judged({"x": BAND._replace(detector="average")}, [line()])


@pytest.mark.parametrize(
    "row",
    [
        "radiated,a,200,100,30,30,10,peak,-", "magnetic,a,100,200,30,30,10,peak,-",
        "radiated,a,100,200,30,30,10,loud,-", "radiated,x,100,200,30,30,10,peak,-",
    ],
)  # fmt: skip
def test_a_table_of_limits_that_makes_no_sense_is_refused(tmp_path: Path, row: str) -> None:
    head = (DATA / "emission_limits.csv").read_text("utf-8").splitlines()
    head = [text for text in head if text.startswith("kind,")]
    path = tmp_path / "limits.csv"
    good = "radiated,x,30,40,30,30,10,peak,-"
    path.write_text("\n".join([*head, good, row]) + "\n", "utf-8")
    with pytest.raises(ValueError, match="twice, empty or unknown"):
        module.read_bands(path)


def test_the_limits_leave_no_gap_but_the_transmitter_s_own_band() -> None:
    """Radiated bands follow each other from 30 MHz; 2200 to 2300 MHz is the downlink's."""
    bands = list(module.read_bands(DATA / "emission_limits.csv").values())
    radiated = sorted((b.low, b.high) for b in bands if b.kind == "radiated")
    gaps = [(high, low) for (_, high), (low, _) in pairwise(radiated) if high != low]
    assert gaps == [(2200.0, 2300.0)]


# --- occupied spectrum ----------------------------------------------------------------------------


def spectrum(**changed: float) -> module.OccupiedSpectrum:
    base = {
        "symbol_rate": 5.0, "roll_off": 0.2, "spectrum_reading_error": 0.0, "spectral_peaking": 0.3,
    }  # fmt: skip
    return occupied_spectrum(**{**base, **changed})


def test_occupied_bandwidth() -> None:
    """5 Msymbol/s with a roll-off of 0.20 need 6.0 MHz: (1 + a) Rs, ETSI EN 302 307-1."""
    assert spectrum().occupied_bandwidth == pytest.approx(6.0, rel=1e-12)
    assert spectrum(roll_off=0.35).occupied_bandwidth == pytest.approx(6.75, rel=1e-12)
    assert spectrum(symbol_rate=6.0).occupied_bandwidth > 6.2


def test_mask_margin_by_hand() -> None:
    assert spectrum().mask_margin["7.5 MHz"] == pytest.approx(-42 + 46 - 0.3)


@pytest.mark.parametrize("name", ["spectrum_reading_error", "spectral_peaking"])
def test_each_lowers_the_mask_margin(name: str) -> None:
    before, after = spectrum().mask_margin, spectrum(**{name: 1.0}).mask_margin
    assert all(after[case] < before[case] for case in before)


def test_the_mask_begins_at_the_edge_of_the_band_that_is_asked_for() -> None:
    text = (ROOT / "requirements" / "communication.yaml").read_text("utf-8")
    (found,) = (r for r in yaml.safe_load(text)["requirements"] if r["id"] == "COM-060")
    limits = {v["at_most"] for v in found["verification"]}
    assert limits == {"6.2 MHz"}
    assert float(next(iter(spectrum().mask_margin)).split()[0]) == 6.2 / 2
