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


# VDI 2230, table A1 (from memory): M6 of 8.8, friction 0.10, 0.12, 0.14 in thread and under the
# head; 90 % of 640 MPa: preload in kN and tightening torque in N m. A hexagon head bears up to
# 8.9 mm (ISO 4017), the hole has 6.6 mm.
@pytest.mark.parametrize(
    ("friction", "preload", "torque"), [(0.10, 10.4, 9.0), (0.12, 10.2, 10.1), (0.14, 9.9, 11.3)]
)
def test_torque_and_preload_as_vdi_has_them(friction: float, preload: float, torque: float) -> None:
    """VDI takes the torsion as fully plastic, pi/12 d^3 for pi/16 d^3: ours is 4/3 of it."""
    arms = joint.thread_arm(6e-3, 1e-3, friction), joint.collar_arm(8.9e-3, 6.6e-3, friction)
    assert joint.preload_of_torque(torque, *arms) == pytest.approx(preload * 1e3, rel=0.02)
    twisted = joint.torsion_stress(arms[0] * preload * 1e3, 6e-3, 1e-3)
    area = joint.stress_area(6e-3, 1e-3)
    plastic = joint.tightening_margin(576e6, area, preload * 1e3, 0.75 * twisted)
    assert plastic == pytest.approx(0.0, abs=0.02)
    assert joint.tightening_margin(576e6, area, preload * 1e3, twisted) < plastic


def test_friction_takes_most_of_the_torque() -> None:
    """Any text: about a tenth of the torque stretches the bolt, the rest is friction."""
    thread, collar = joint.thread_arm(6e-3, 1e-3, 0.12), joint.collar_arm(11e-3, 6.6e-3, 0.12)
    assert 0.10 < 1e-3 / (2 * math.pi) / (thread + collar) < 0.17
    # the nut factor of dry lubrication, 0.17 to 0.18 at 0.12 (Shigley, table 8-15, from memory)
    assert (thread + collar) / 6e-3 == pytest.approx(0.175, abs=0.01)


def test_thread_friction_twists_the_shank() -> None:
    """S: more friction in the thread is more torsion, at the same preload."""
    low, high = (joint.thread_arm(6e-3, 1e-3, mu) for mu in (0.10, 0.14))
    assert joint.torsion_stress(1e4 * high, 6e-3, 1e-3) > joint.torsion_stress(
        1e4 * low, 6e-3, 1e-3
    )


def test_margins_by_hand() -> None:
    """A margin of safety is allowable over load with factors, less one: no unit, zero holds."""
    # 20 mm2 of 500 MPa is 10 kN; 6 kN preload and a quarter of 4 kN x 1.25 is 7.25 kN
    found = joint.yield_margin(500, 20, 6000, 4000, 0.25, 0.0, 1.25)
    assert found == pytest.approx(10 / 7.25 - 1, rel=1e-12)
    # 4 kN x 1.25 take 5 kN of 6 kN
    assert joint.gapping_margin(6000, 4000, 1.25) == pytest.approx(6 / 5 - 1)
    # friction 0.2 x 1 kN against 0.1 kN x 1.25
    found = joint.slip_margin(6000, 4000, 100, 0.2, 1.25)
    assert found == pytest.approx(200 / 125 - 1)


def test_combined_margin_is_nasa_s_interaction() -> None:
    """NASA-STD-5020 (from memory), thread in the shear plane: R_t^2 + R_s^1.2 = 1 is the end."""
    # 6 kN + 1.5 kN of 10 kN is 0.75; the shear that is left room for has the factor 1.5
    room = (1 - 0.75**2) ** (1 / 1.2)
    shear = room * joint.SHEAR_STRENGTH * 10_000 / 1.5
    found = joint.combined_margin(500, 20, 6000, 4000, 0.25, shear, 1.5)
    assert found == pytest.approx(0.0, abs=1e-12)
    # below the end it is a lower bound: loads (1 + m) times as high are still inside
    found = joint.combined_margin(500, 20, 3000, 4000, 0.25, 0.5 * shear, 1.5)
    tension, sheared = (1 + found) * 0.45, (1 + found) * 0.5 * room
    assert found > 0.3
    assert tension**2 + sheared**1.2 <= 1.0
    # and it is lower than by the sum of squares, which is not safe for thread in the shear plane
    assert found < 1 / math.hypot(0.45, 0.5 * room) - 1


def test_gapping_and_slip_lose_all_of_the_tension() -> None:
    """S: no stiffness of the bolt saves clamping force; 1 N outside is 1 N less."""
    lost = joint.slip_margin(6000, 1000, 100, 1.0, 1.0) - joint.slip_margin(6000, 0, 100, 1.0, 1.0)
    assert lost == pytest.approx(-1000 / 100)


def test_torsion_takes_strength() -> None:
    free = joint.yield_margin(500, 20, 6000, 0, 0.25, 0.0, 1.25)
    twisted = joint.yield_margin(500, 20, 6000, 0, 0.25, 200.0, 1.25)
    # von Mises with half of 200 MPa left: sqrt(300^2 + 3 x 100^2)
    assert twisted == pytest.approx(500 / math.sqrt(300**2 + 3 * 100**2) - 1)
    assert twisted < free
    # S: at tightening all of it counts: sqrt(300^2 + 3 x 200^2)
    tightening = joint.tightening_margin(500, 20, 6000, 200.0)
    assert tightening == pytest.approx(500 / math.sqrt(300**2 + 3 * 200**2) - 1)
    assert tightening < twisted


def test_thermal_preload() -> None:
    """Two springs in series under a gap of alpha dT L: 10 ppm/K x 50 K x 20 mm is 10 um."""
    found = joint.thermal_preload(10e-6, 50, 100e6, 300e6, 0.02)
    assert found == pytest.approx(10e-6 * 75e6)
