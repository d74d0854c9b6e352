"""Pointing error of a station: the sum of two angles is never too small."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyses.pointing_budget import pointing_budget


def test_by_hand() -> None:
    assert pointing_budget(0.3, 0.1).station_pointing_error == pytest.approx(0.4)


@given(st.floats(0.01, 10), st.floats(0.01, 10), st.floats(0, math.tau))
def test_it_is_a_bound_of_two_angles_in_any_planes(one: float, other: float, turn: float) -> None:
    """Law of cosines on the sphere: cos c = cos a cos b + sin a sin b cos C."""
    a, b = math.radians(one), math.radians(other)
    cosine = math.cos(a) * math.cos(b) + math.sin(a) * math.sin(b) * math.cos(turn)
    true = math.degrees(math.acos(max(-1.0, min(1.0, cosine))))
    assert true <= pointing_budget(one, other).station_pointing_error + 1e-6
