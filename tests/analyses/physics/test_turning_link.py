"""Antenna on a body that spins: dipoles, crossed dipoles, SciPy, and vectors that are turned."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from analyses.physics import antenna_pattern, radio, spin
from analyses.physics.frames import State
from analyses.physics.turning_link import Moments, gate, heard, stretches

# --- antenna ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("beamwidth", "exponent"),
    [
        (90.0, 2.0),  # short dipole: sin^2, 90 deg between half powers (Balanis, chapter 4; memory)
        (120.0, 1.0),  # a surface that radiates after Lambert: cos, 120 deg (any text on light)
        (65.5302, 4.0),  # 2 acos(2^(-1/4)), by hand
    ],
)
def test_exponent_of_a_lobe(beamwidth: float, exponent: float) -> None:
    assert antenna_pattern.lobe_exponent(beamwidth) == pytest.approx(exponent, rel=1e-5)


@pytest.mark.parametrize(
    ("offset", "loss"),
    # A short dipole falls with the cosine of the angle from its equator: -20 log10.
    [(0.0, 0.0), (30.0, 1.249387), (45.0, 3.010300), (60.0, 6.020600), (80.0, 15.20660)],
)
def test_lobe_of_a_short_dipole(offset: float, loss: float) -> None:
    assert antenna_pattern.cosine_loss(offset, 90.0) == pytest.approx(loss, abs=1e-5)


def test_lobe_of_a_half_wave_dipole() -> None:
    """cos(pi/2 sin a) / cos a, 78 deg between half powers (Balanis, 4.6, from memory).

    Inside the half power the cosine lobe is within 0.05 dB of it, outside it is on the safe side.
    """

    def loss(offset: float) -> float:
        a = math.radians(offset)
        return -20.0 * math.log10(math.cos(0.5 * math.pi * math.sin(a)) / math.cos(a))

    half = brentq(lambda a: loss(a) - 10.0 * math.log10(2.0), 10.0, 60.0)
    assert 2.0 * half == pytest.approx(78.0, abs=0.2)
    for offset in (5.0, 15.0, 25.0, 35.0):
        assert antenna_pattern.cosine_loss(offset, 2.0 * half) == pytest.approx(
            loss(offset), abs=0.05
        )
    for offset in (45.0, 55.0, 65.0, 75.0):
        assert antenna_pattern.cosine_loss(offset, 2.0 * half) > loss(offset)


@pytest.mark.parametrize(
    ("exponent", "directivity"),
    # Half space evenly 3.01 dBi, Lambert 6.02, cos^2 7.78 (2 (n + 1), patch texts, from memory).
    [(0.0, 3.010300), (1.0, 6.020600), (2.0, 7.781513)],
)
def test_directivity_of_a_lobe(exponent: float, directivity: float) -> None:
    assert antenna_pattern.lobe_directivity(exponent) == pytest.approx(directivity, abs=1e-6)
    power, _ = quad(lambda a: 0.5 * math.sin(a) * math.cos(a) ** exponent, 0.0, math.pi / 2)
    assert radio.to_db(1.0 / power) == pytest.approx(directivity, abs=1e-6)


def test_the_antenna_has_no_more_gain_than_its_lobe_allows() -> None:
    """90 deg give at most 7.78 dBi; the parameter says 5 dBic, the rest is loss in the patch."""
    exponent = antenna_pattern.lobe_exponent(90.0)
    assert antenna_pattern.lobe_directivity(exponent) > 5.0 + 3 * 0.2


@pytest.mark.parametrize("offset", [0.0, 20.0, 35.0, 60.0, 80.0])
def test_crossed_dipoles_turn_from_circle_to_line(offset: float) -> None:
    """Fields of two short dipoles in quadrature: cos a in the plane of the angle, 1 across it."""
    a = math.radians(offset)
    moments = np.array([1.0, 1.0j, 0.0])
    toward_angle = np.array([math.cos(a), 0.0, -math.sin(a)])
    ratio = abs(moments @ np.array([0.0, 1.0, 0.0])) / abs(moments @ toward_angle)
    cone = 1.0 / math.cos(math.radians(30.0))
    expected = max(20.0 * math.log10(ratio / cone), 0.0)  # the data sheet's cone comes without
    assert antenna_pattern.axial_ratio(3.0, offset) - 3.0 == pytest.approx(expected, abs=1e-9)


def test_inside_the_half_power_the_pattern_is_that_of_the_link_budget() -> None:
    for offset in (0.0, 10.0, 20.0, 30.0, 40.0):
        assert antenna_pattern.pattern_loss(offset, 90.0) == radio.beam_loss(offset, 90.0)
    assert antenna_pattern.pattern_loss(60.0, 90.0) > radio.beam_loss(60.0, 90.0)


@given(allowed=st.floats(0.0, 60.0), feed=st.sampled_from([0.0, 1.5, 60.0]))
def test_reach_is_the_angle_at_which_the_loss_is_allowed(allowed: float, feed: float) -> None:
    """SciPy's root of the same losses, which the table lies above by its chords."""

    def loss(offset: float) -> float:
        ratio = antenna_pattern.axial_ratio(3.0, offset)
        return antenna_pattern.pattern_loss(offset, 90.0) + radio.polarisation_loss(ratio, feed)

    found = antenna_pattern.reach(antenna_pattern.off_axis_losses(90.0, 3.0, feed), allowed)
    if allowed < loss(0.0):
        assert found is None
    elif allowed >= loss(89.0):
        assert found == 89.0
    else:
        exact = brentq(lambda a: loss(a) - allowed, 0.0, 89.0)
        assert found is not None
        assert exact - 0.2 <= found <= exact + 1e-6


# --- spin ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reach", "polar", "share"),
    [
        # Antenna across the spin axis: arccos(cos reach / sin polar) / pi, worked out.
        (45.0, 75.0, 0.238563),
        (60.0, 60.0, 0.304087),
        (45.0, 90.0, 0.25),
        (30.0, 30.0, 0.0),
        (60.0, 90.0, 1.0 / 3.0),
    ],
)
def test_share_of_a_turn(reach: float, polar: float, share: float) -> None:
    half = spin.half_turn(math.radians(polar), math.pi / 2, math.radians(reach))
    assert (half or 0.0) / math.pi == pytest.approx(share, abs=1e-6)


@given(polar=st.floats(0.02, 3.12), cone=st.floats(0.02, 3.12), reach=st.floats(0.05, 1.55))
def test_half_turn_against_turned_vectors(polar: float, cone: float, reach: float) -> None:
    """SciPy's rotations about the spin axis, in 3600 steps of a turn."""
    line = np.array([math.sin(polar), 0.0, math.cos(polar)])
    antenna = np.array([math.sin(cone), 0.0, math.cos(cone)])
    turns = np.arange(3600) * (2.0 * math.pi / 3600)
    turned = Rotation.from_rotvec(np.outer(turns, [0.0, 0.0, 1.0])).apply(antenna)
    share = float(np.mean(turned @ line >= math.cos(reach)))
    half = spin.half_turn(polar, cone, reach)
    assert (half or 0.0) / math.pi == pytest.approx(share, abs=1.1e-3)


def test_nodes_are_those_of_numpy() -> None:
    """numpy.polynomial.hermite_e, three points, weights to one."""
    points, weights = np.polynomial.hermite_e.hermegauss(3)
    found = spin.normal_nodes()
    assert [x for x, _ in found] == pytest.approx(points)
    assert [w for _, w in found] == pytest.approx(weights / weights.sum())


def test_moments_of_the_plane_nodes() -> None:
    """Of two standard normal variables: 1, 0, 1, 0 across, 3 of fourth degree."""
    nodes = spin.plane_nodes()

    def mean(power_x: int, power_y: int) -> float:
        return sum(w * x**power_x * y**power_y for x, y, w in nodes)

    assert [mean(0, 0), mean(1, 0), mean(0, 2), mean(1, 1), mean(2, 1), mean(4, 0)] == (
        pytest.approx([1.0, 0.0, 1.0, 0.0, 0.0, 3.0], abs=1e-12)
    )


def test_axes_of_an_orbit() -> None:
    """Over the equator to the east: normal north, away from the Earth, along the motion."""
    axes = spin.orbit_axes(State((7000.0, 0.0, 0.0), (0.1, 7.5, 0.0)))
    assert axes.spin == pytest.approx((0.0, 0.0, 1.0))
    assert axes.zero == pytest.approx((1.0, 0.0, 0.0))
    assert axes.quarter == pytest.approx((0.0, 1.0, 0.0))
    tilted = spin.tilted(axes, math.tan(math.radians(5.0)), 0.0)
    assert math.degrees(math.acos(tilted.spin[2])) == pytest.approx(5.0)
    assert spin.direction_in(tilted, tilted.zero)[0] == pytest.approx(math.pi / 2)


# --- along a pass -------------------------------------------------------------------------------


def passing(count: int) -> Moments:
    """A line that turns by 140 deg in 400 s, out of the plane by 10 to 40 deg; reach 30 to 60."""
    times = [400.0 * i / count for i in range(count + 1)]
    lines, reaches = [], []
    for t in times:
        along, out = math.radians(-70.0 + 0.35 * t), math.radians(10.0 + 0.075 * t)
        lines.append(
            (math.cos(out) * math.cos(along), math.cos(out) * math.sin(along), math.sin(out))
        )
        reaches.append(math.radians(45.0 + 15.0 * math.sin(t / 130.0)))
    return Moments(times, lines, reaches)


@pytest.mark.parametrize("rate", [3.0, -3.0, 8.0])
@pytest.mark.parametrize("start", [0.0, 1.0, 4.0])
@pytest.mark.parametrize("cone", [90.0, 75.0])
def test_times_of_reception_against_turned_vectors(rate: float, start: float, cone: float) -> None:
    """The antenna is turned step by step, SciPy's rotations; 0.02 s a step."""
    axes = spin.Axes((0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    found = [
        span
        for part in stretches(passing(40), axes, math.radians(cone))
        for span in heard(gate(part, math.radians(rate)), start, 0.0)
    ]
    fine = passing(20_000)
    angles = math.radians(rate) * np.array(fine.times) + start * math.copysign(1.0, rate)
    flat = np.array([math.sin(math.radians(cone)), 0.0, math.cos(math.radians(cone))])
    antenna = Rotation.from_rotvec(np.outer(angles, [0.0, 0.0, 1.0])).apply(flat)
    up = np.sum(antenna * np.array(fine.lines), axis=1) >= np.cos(np.array(fine.reaches))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], up.astype(int), [0]])))
    expected = [(fine.times[a], fine.times[b - 1]) for a, b in edges.reshape(-1, 2)]
    assert [x for span in found for x in span] == pytest.approx(
        [x for span in expected for x in span], abs=0.15
    )


def test_a_receiver_that_locks_slowly_receives_less() -> None:
    axes = spin.Axes((0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    (part,) = stretches(passing(40), axes, math.pi / 2)
    through = gate(part, math.radians(3.0))
    spans, late = heard(through, 0.0, 0.0), heard(through, 0.0, 2.0)
    assert late == [(a + 2.0, b) for a, b in spans]
    assert heard(through, 0.0, 500.0) == []


def test_a_part_out_of_reach_is_left_out() -> None:
    axes = spin.Axes((0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    whole = passing(40)
    closed = whole._replace(
        reaches=[None if 15 <= i <= 20 else reach for i, reach in enumerate(whole.reaches)]
    )
    parts = stretches(closed, axes, math.pi / 2)
    assert [(p.times[0], p.times[-1]) for p in parts] == [(0.0, 140.0), (210.0, 400.0)]


def test_a_body_that_hardly_turns_is_counted_on_the_safe_side() -> None:
    """Slower than the line of sight: what is kept lies inside what is really heard."""
    axes = spin.Axes((0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    (part,) = stretches(passing(400), axes, math.pi / 2)
    for start in (0.0, 0.7, 1.4):
        for begin, end in heard(gate(part, math.radians(0.1)), start, 0.0):
            for time, azimuth, half in zip(*part, strict=True):
                if begin <= time <= end:
                    off = (math.radians(0.1) * time + start - azimuth + math.pi) % (2 * math.pi)
                    assert abs(off - math.pi) <= half + 1e-9
