"""Run with ``python -m pytest`` from the project's root."""

import pytest

from analyses.lamp_time import lamp_time


def test_at_the_reference_temperature_the_whole_capacity_is_usable() -> None:
    # By hand: 3.4 A h / 0.2 A = 17 h.
    found = lamp_time(cell_capacity=3.4, lamp_current=200.0, cold_loss=0.004, cell_temperature=20.0)
    assert found.usable_charge == pytest.approx(3.4)
    assert found.lamp_time == pytest.approx(17.0)


def test_cold_costs_charge() -> None:
    # By hand: 1 - 0.004 x 20 = 0.92 of 3.4 A h is 3.128 A h.
    found = lamp_time(cell_capacity=3.4, lamp_current=200.0, cold_loss=0.004, cell_temperature=0.0)
    assert found.usable_charge == pytest.approx(3.128)
