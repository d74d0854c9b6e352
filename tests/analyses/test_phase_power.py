"""Power and heat of the phases: by hand, energy balance, NumPy, directions."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from analyses.mission_energy import mission_energy
from analyses.phase_power import PHASES, PhasePower, phase_power
from tests.analyses.declared import Declared

OWN, MISSION = Declared(phase_power), Declared(mission_energy)
ROWS = {
    row["phase"]: row
    for row in csv.DictReader(x for x in PHASES.read_text("utf-8").splitlines() if x[0] != "#")
}
WIRELESS = {"input_path_resistance": 0.0}  # no path between battery and converters


def test_powers_by_hand() -> None:
    """Recording: 8.5 W + 2 x 5.2 W + 2.6 W + 0.3 x 2 W; sending: 5.1 W + 0.78 W + 7 W + 1.6 W."""
    found = OWN.find(**WIRELESS)
    assert found.phase_power["releases"] == pytest.approx(0.4 + 22.1 / 0.885, rel=1e-12)
    assert found.phase_power["sending"] == pytest.approx(0.4 + 14.48 / 0.885, rel=1e-12)
    assert found.highest_power == found.phase_power["releases"]
    assert found.stuck_camera_power == pytest.approx(5.2 / 0.885, rel=1e-12)
    assert found.least_heat == pytest.approx(found.phase_power["sending"] - 0.4, rel=1e-12)


def test_a_path_by_hand() -> None:
    """12 V and 0.1 ohm: a load of 11.9 W behind loss-free converters takes 1 A, which is 12 W."""
    nothing = dict.fromkeys(
        ("camera_power", "storage_power", "lens_heater_power", "lens_cover_power",
         "converter_standby", "converter_ageing"), 0.0,
    )  # fmt: skip
    found = OWN.find(
        **nothing, computer_power=11.9, converter_efficiency=1.0, input_path_resistance=100.0
    )
    assert found.phase_power["ascent"] == pytest.approx(12.0, rel=1e-12)


def test_currents_are_roots_that_numpy_finds() -> None:
    """U I - R I^2 is what the converters take; the lower root is the one that runs."""
    p = OWN.values
    watts = {
        "computer": p["computer_power"], "cameras": p["cameras"] * p["camera_power"],
        "storage": p["storage_power"], "heater": p["lens_heater_power"],
        "lens_cover": p["lens_cover_power"],
        "transmitter": p["transmitter_base_power"] + p["transmit_power"] / 0.25,
    }  # fmt: skip
    found = OWN.find().phase_power
    for name, row in ROWS.items():
        taken = 0.4 + sum(watts[unit] * float(row[unit]) for unit in watts) / 0.885
        current = min(np.roots([p["input_path_resistance"] / 1e3, -12.0, taken]).real)
        assert found[name] == pytest.approx(12.0 * current, rel=1e-10)


def test_the_energy_of_a_phase_is_its_power_times_its_length() -> None:
    """Both analyses at the same units; the lengths in minutes are 48 and 43 2/3,
    and of the ascent 12 less the start of the cameras.
    """
    for point in MISSION.points(60):
        powers = phase_power.function(**{name: point[name] for name in OWN.values}).phase_power
        energies = mission_energy.function(**point).phase_energy
        ascent = 12 - point["camera_start_time"] / 60
        for name, minutes in (("ascent", ascent), ("releases", 48.0), ("sending", 131 / 3)):
            assert energies[name] == pytest.approx(powers[name] * minutes / 60, rel=1e-12)


def test_heat_and_radiated_power_are_all_that_is_taken() -> None:
    """Conservation of energy, phase by phase: the bounds hold what each leaves in the recorder."""
    for point in OWN.points(300):
        found: PhasePower = phase_power.function(**point)
        for name in (name for name, row in ROWS.items() if row["steady"] == "1"):
            radiated = float(ROWS[name]["transmitter"]) * point["transmit_power"]
            left = found.phase_power[name] - radiated
            assert found.least_heat <= left <= found.highest_power
        assert max(found.phase_power.values()) == found.highest_power


def test_phases_that_the_least_heat_leaves_out_move_no_housing() -> None:
    """S: at most 0.1 K in a housing of 2 kJ/K; the last one is after the last transmission."""
    least = min(OWN.function(**point).least_heat for point in OWN.points(50))
    minutes = {"boot": 0.5, "selection": 1 / 3}
    assert {name for name, row in ROWS.items() if row["steady"] == "0"} == {*minutes, "descent"}
    for name, length in minutes.items():
        lowest = min(OWN.function(**point).phase_power[name] for point in OWN.points(50))
        assert (least - lowest) * length * 60 / 2000 < 0.1


@pytest.mark.parametrize(
    ("name", "sign"),
    [
        ("computer_power", +1), ("camera_power", +1), ("cameras", +1), ("storage_power", +1),
        ("converter_efficiency", -1), ("converter_ageing", +1), ("converter_standby", +1),
        ("input_path_resistance", +1), ("cutoff_voltage", -1), ("lens_heater_power", +1),
    ],
)  # fmt: skip
def test_what_takes_more(name: str, sign: int) -> None:
    more = OWN.values[name] * 1.05
    assert sign * (OWN.find(**{name: more}).highest_power - OWN.find().highest_power) > 0


@pytest.mark.parametrize(
    ("name", "sign"),
    [
        ("computer_power", +1), ("storage_power", +1), ("transmitter_base_power", +1),
        ("amplifier_efficiency", -1), ("converter_efficiency", -1), ("converter_standby", +1),
    ],
)  # fmt: skip
def test_what_leaves_more_heat_at_the_least(name: str, sign: int) -> None:
    more = OWN.values[name] * 1.05
    assert sign * (OWN.find(**{name: more}).least_heat - OWN.find().least_heat) > 0


def test_what_is_radiated_warms_nothing() -> None:
    """S: 0.1 W more of radio power takes 0.4 W more from the amplifier's supply, and leaves 0.35 W.

    By hand: 0.1 / 0.25 / 0.885 - 0.1 = 0.35198 W.
    """
    more = OWN.find(transmit_power=OWN.values["transmit_power"] + 0.1).least_heat
    assert more - OWN.find().least_heat == pytest.approx(0.1 / 0.25 / 0.885 - 0.1, rel=1e-9)
