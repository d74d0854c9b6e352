"""The bolted joint against ISO 898-1, Shigley's worked problems and VDI 2230."""

from __future__ import annotations

import math

import pytest

from analyses.physics import bolted_joint as joint


# ISO 898-1, nominal stress area of coarse threads, in mm2 as printed.
@pytest.mark.parametrize(
    ("diameter", "pitch", "area"),
    [
        (3, 0.5, 5.03), (4, 0.7, 8.78), (5, 0.8, 14.2), (6, 1.0, 20.1),
        (8, 1.25, 36.6), (10, 1.5, 58.0), (12, 1.75, 84.3),
    ],
)  # fmt: skip
def test_stress_area(diameter: float, pitch: float, area: float) -> None:
    assert joint.stress_area(diameter, pitch) == pytest.approx(area, rel=3e-3)


# Shigley, solutions to problems 8-24 and 8-25: d = 0.5 in, Mlbf/in, Mpsi, in.
@pytest.mark.parametrize(
    ("modulus", "head", "thickness", "printed"),
    [
        (30, 0.75, 0.5, 33.30), (14.5, 0.860, 0.515, 21.47),
        (30, 0.75, 0.095, 97.27), (30, 0.75, 0.4225, 36.14), (14.5, 0.75, 0.25, 23.49),
    ],
)  # fmt: skip
def test_frustum(modulus: float, head: float, thickness: float, printed: float) -> None:
    found = joint.frustum_stiffness(modulus, 0.5, head, thickness)
    assert found == pytest.approx(printed, rel=1.5e-3)


def test_bolt_stiffness_and_load_share() -> None:
    """Shigley, solution to problem 8-25: 0.1419 in2, 0.845 in: 5.04 Mlbf/in, C = 0.281."""
    bolt = joint.bolt_stiffness(30, 0.1419, 0.845)
    assert bolt == pytest.approx(5.04, abs=5e-3)
    assert joint.load_share(bolt, 12.87) == pytest.approx(0.281, abs=1e-3)
    # the same, problem 8-24: 3.94 and 10.79 Mlbf/in
    assert joint.load_share(3.94, 10.79) == pytest.approx(0.267, abs=1e-3)


def test_torque() -> None:
    """Shigley, example 8-3 (from memory): 25 kip, 3/4 in, K = 0.2: 3750 lbf in."""
    assert joint.preload_of_torque(3750, 0.2, 0.75) == pytest.approx(25_000, rel=1e-12)


def test_torsion_by_tightening() -> None:
    """VDI 2230, table A1 (from memory): M6, 8.8, friction 0.12: 10.2 kN use 90 % of 640 MPa.

    VDI takes the torsion as fully plastic, pi/12 d^3 in place of pi/16 d^3: ours is 4/3 of it.
    """
    area = joint.stress_area(6e-3, 1e-3)
    plastic = 0.75 * joint.torsion_stress(10.2e3, 6e-3, 1e-3, 0.12)
    assert math.hypot(10.2e3 / area, math.sqrt(3) * plastic) == pytest.approx(576e6, rel=0.01)


def test_margins_by_hand() -> None:
    """A margin of safety is allowable over load with factors, less one: no unit, zero holds."""
    # 20 mm2 of 500 MPa is 10 kN; 6 kN preload and a quarter of 4 kN x 1.25 is 7.25 kN
    found = joint.yield_margin(500, 20, 6000, 4000, 0.25, 0.0, 1.25)
    assert found == pytest.approx(10 / 7.25 - 1, rel=1e-12)
    # three quarters of 4 kN x 1.25 take 3.75 kN of 6 kN
    assert joint.gapping_margin(6000, 4000, 0.25, 1.25) == pytest.approx(6 / 3.75 - 1)
    # friction 0.2 x 2.25 kN against 0.3 kN x 1.25
    found = joint.slip_margin(6000, 4000, 0.25, 300, 0.2, 1.25)
    assert found == pytest.approx(450 / 375 - 1)
    # 6 kN + 1.5 kN of 10 kN; 3 kN x 1.5 of 6 kN: both ratios 0.75
    found = joint.combined_margin(500, 20, 6000, 4000, 0.25, 3000, 1.5)
    assert found == pytest.approx(1 / math.hypot(0.75, 0.75) - 1)


def test_torsion_takes_strength() -> None:
    free = joint.yield_margin(500, 20, 6000, 0, 0.25, 0.0, 1.25)
    twisted = joint.yield_margin(500, 20, 6000, 0, 0.25, 200.0, 1.25)
    # von Mises with half of 200 MPa left: sqrt(300^2 + 3 x 100^2)
    assert twisted == pytest.approx(500 / math.sqrt(300**2 + 3 * 100**2) - 1)
    assert twisted < free


def test_thermal_preload() -> None:
    """Two springs in series under a gap of alpha dT L: 10 ppm/K x 50 K x 20 mm is 10 um."""
    found = joint.thermal_preload(10e-6, 50, 100e6, 300e6, 0.02)
    assert found == pytest.approx(10e-6 * 75e6)
