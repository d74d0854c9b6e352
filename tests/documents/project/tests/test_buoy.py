"""Values worked out by hand from the formulas."""

from __future__ import annotations

import pytest
from analyses.day_charge import day_charge
from analyses.night_energy import night_energy
from analyses.seen_distance import seen_distance


def test_night_energy() -> None:
    """5 A h * 12 V * (1 - 0.01 * 10) = 54 W h, less 2 W * 16 h = 32 W h."""
    found = night_energy(5.0, 12.0, 0.01, 2.0, 10.0, 16.0)
    assert found == pytest.approx((32.0, 22.0))


def test_day_charge() -> None:
    assert day_charge(10.0, 5.0, 38.0) == pytest.approx((50.0, 12.0))


def test_seen_distance() -> None:
    assert seen_distance(25.0).distance["north"] == pytest.approx(5.0)
