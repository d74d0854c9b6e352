"""Response to random vibration: never below the exact modes, and by hand where there is a hand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import pytest

from analyses.random_vibration import random_response, read_spectrum
from tests.analyses import box_models
from tests.analyses.declared import ROOT, Declared

DECLARED = Declared(random_response)


def test_the_spectrum_is_the_published_one() -> None:
    """GSFC-STD-7000A, Table 2.4-3, qualification up to 22.7 kg: 14.1 g0 rms printed."""
    assert read_spectrum() == [(20, 0.026), (50, 0.16), (800, 0.16), (2000, 0.026)]
    assert DECLARED.find().overall_level == pytest.approx(14.1, abs=0.05)


def points(many: int) -> list[Mapping[str, float]]:
    """Return the declared values, and points and corners of the declared ranges."""
    return [DECLARED.values, *DECLARED.points(many)]


def test_loads_are_never_below_those_of_the_exact_modes() -> None:
    """S: eigenvalues by scipy, integrated over the spectrum, all over the declared ranges.

    A lower bound of the frequency, and a moment of force times height alone, are both below.
    """
    for point in points(30):
        found = DECLARED.find(**point)
        for axis in "xy":
            exact = box_models.lateral(point, axis)
            assert found.highest_response[axis] >= exact.acceleration
            assert found.highest_overturning[axis] >= exact.overturning
            # and not far above: what is left is that the spectrum is not flat
            assert found.highest_response[axis] < 1.03 * exact.acceleration
            assert found.highest_overturning[axis] < 1.03 * exact.overturning


def test_modes_and_integrals_are_the_exact_ones() -> None:
    for point in points(5):
        found = DECLARED.find(**point)
        for axis in "xy":
            exact = box_models.lateral(point, axis)
            modes = [found.mode[f"{axis}, first"], found.mode[f"{axis}, second"]]
            assert modes == pytest.approx(list(exact.modes), rel=1e-9)
            assert found.integrated_response[axis] == pytest.approx(exact.acceleration, rel=1e-3)
            assert found.integrated_overturning[axis] == pytest.approx(exact.overturning, rel=1e-3)


def test_dunkerley_s_mode_would_be_unsafe_for_the_overturning_moment() -> None:
    """S: one mode at the lower bound of the frequency, force times height: what stood here once."""
    exact = box_models.lateral(DECLARED.values, "y")
    m, h, r = 3.2, 0.055, 0.05
    own = box_models.springs(DECLARED.values)
    lowest = 1 / (2 * math.pi * math.sqrt(m * (1 / own.y + (h * h + r * r) / own.rocking_y)))
    alone = math.sqrt(math.pi / 2 * lowest * 9 * (1 + 1 / 81) * 0.16)
    assert lowest < exact.modes[0]
    assert alone < 0.9 * exact.overturning
    assert DECLARED.find().highest_overturning["y"] >= exact.overturning


def test_the_box_s_own_turning_adds_to_the_moment() -> None:
    """S: a larger radius of gyration, the same force: the moment of m r^2 theta'' is in it."""
    found = DECLARED.find()
    larger = DECLARED.find(gyration_radius=1.1 * DECLARED.values["gyration_radius"])
    for axis in "xy":
        assert found.highest_overturning[axis] > found.highest_response[axis]
        assert larger.highest_overturning[axis] > found.highest_overturning[axis]


@pytest.mark.parametrize("name", ["mode_model_error", "joint_lateral_stiffness", "amplification"])
def test_a_higher_frequency_and_a_sharper_mode_are_the_bad_end(name: str) -> None:
    """S: for loads, the other end than for stiffness."""
    low, high = (DECLARED.find(**{name: end}) for end in DECLARED.box[name])
    for axis in "xyz":
        if (name, axis) != ("joint_lateral_stiffness", "z"):
            assert high.highest_response[axis] > low.highest_response[axis]
    for axis in "xy":
        assert high.highest_overturning[axis] > low.highest_overturning[axis]


def test_upright_response_by_hand() -> None:
    found = DECLARED.find()
    own = box_models.springs(DECLARED.values)
    mode = math.sqrt(own.z / 3.2) / (2 * math.pi)
    assert found.mode["z"] == pytest.approx(mode, rel=1e-12)
    rms = math.sqrt(math.pi / 2 * mode * 9 * 0.16)
    assert found.miles_response["z"] == pytest.approx(rms, rel=1e-9)
    assert found.highest_response["z"] == pytest.approx(rms * math.sqrt(1 + 1 / 81), rel=1e-9)


@pytest.mark.parametrize("stiffer", [0.2, 1.0, 3.0, 10.0, 30.0])
@pytest.mark.parametrize("amplification", [5.0, 9.0, 30.0])
def test_the_bound_is_above_miles_and_integral(stiffer: float, amplification: float) -> None:
    """S: Miles is not always above the integral; what the margins rest on is."""
    found = DECLARED.find(
        joint_axial_stiffness=stiffer * DECLARED.values["joint_axial_stiffness"],
        joint_lateral_stiffness=stiffer * DECLARED.values["joint_lateral_stiffness"],
        amplification=amplification,
    )
    for axis in "xyz":
        alone = [rms for name, rms in found.miles_response.items() if name.startswith(axis)]
        assert found.highest_response[axis] >= math.hypot(*alone)
        assert found.highest_response[axis] >= found.integrated_response[axis]
    for axis in "xy":
        assert found.highest_overturning[axis] >= found.integrated_overturning[axis]


def test_miles_is_unsafe_for_a_mode_above_the_flat_part() -> None:
    stiff = DECLARED.find(joint_axial_stiffness=90)
    assert 1000 < stiff.mode["z"] < 2000
    assert stiff.miles_shortfall["z"] > 0.03
    assert stiff.highest_response["z"] > stiff.integrated_response["z"]


def test_a_spectrum_that_does_not_rise_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "spectrum.csv"
    path.write_text("frequency_hz,density_g02_per_hz\n50,0.1\n20,0.1\n", "utf-8")
    with pytest.raises(ValueError, match="frequencies must rise"):
        read_spectrum(path)


def test_the_file_says_where_the_levels_are_from() -> None:
    text = (ROOT / "analyses/data/vibration_spectrum.csv").read_text("utf-8")
    assert "GSFC-STD-7000A, Table 2.4-3" in text
