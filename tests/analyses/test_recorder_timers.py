"""Length of the active phase and wait of the transmitter: by hand, corners, linear programming."""

from __future__ import annotations

from itertools import product

import pytest
from scipy.optimize import linprog

from analyses.recorder_timers import (
    ModeGuard,
    RecorderTimers,
    mode_guard,
    recorder_timers,
    time_of_use,
)
from tests.analyses.declared import Declared, limits

BASE: dict[str, float] = {
    "computer_resets": 0.0,
    "computer_restart_time": 15.0,
    "timer_error": 0.0,
    "transmit_start_delay": 3620.0,
    "transmit_stop_delay": 6240.0,
    "first_release_time": 3390.0,
    "release_interval": 60.0,
    "satellites": 3.0,
}


def timers(**change: float) -> RecorderTimers:
    return recorder_timers(**{**BASE, **change})


def test_active_phase_by_hand() -> None:
    """6240 s are 104 min; a reset adds its 15 s, and a clock slow by 50 ppm 0.312 s."""
    assert timers().active_phase == pytest.approx(104.0)
    late = timers(computer_resets=1.0, timer_error=50.0)
    assert late.active_phase == pytest.approx((6240.312 + 15.0) / 60.0)


def test_wait_by_hand() -> None:
    """The last of three releases is at 3390 s + 2 x 60 s; a clock fast by 50 ppm loses 0.181 s."""
    assert timers().transmitter_delay == 110.0
    assert timers(timer_error=-50.0).transmitter_delay == pytest.approx(109.819)


def test_least_wait_as_linear_programming_has_it() -> None:
    """scipy.optimize.linprog over the ends of releases, interval and timer."""
    ends = {
        "first_release_time": (3370.0, 3410.0), "release_interval": (55.0, 65.0),
        "transmit_start_delay": (3610.0, 3630.0),
    }  # fmt: skip
    least = linprog((-1, -2, 1), bounds=list(ends.values())).fun
    corners = [
        timers(**dict(zip(ends, corner, strict=True))).transmitter_delay
        for corner in product(*ends.values())
    ]
    assert min(corners) == pytest.approx(least, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "quantity", "sign"),
    [
        ({"computer_resets": 1.0}, "active_phase", 1),
        ({"transmit_stop_delay": 7200.0}, "active_phase", 1),
        ({"timer_error": 50.0}, "active_phase", 1),
        ({"timer_error": -50.0}, "transmitter_delay", -1),
        ({"first_release_time": 3410.0}, "transmitter_delay", -1),
        ({"release_interval": 70.0}, "transmitter_delay", -1),
        ({"satellites": 4.0}, "transmitter_delay", -1),
        ({"transmit_start_delay": 3600.0}, "transmitter_delay", -1),
    ],
)
def test_what_makes_it_worse(change: dict[str, float], quantity: str, sign: int) -> None:
    changed, base = (getattr(found, quantity) for found in (timers(**change), timers()))
    assert sign * (changed - base) > 0


def test_limits_are_kept_all_over_the_declared_ranges() -> None:
    own = Declared(recorder_timers)
    found = [own.find(**point) for point in own.points(200)]
    assert max(x.active_phase for x in found) <= limits("DAT-030", "active_phase")[1]
    assert min(x.transmitter_delay for x in found) >= limits("COM-072", "transmitter_delay")[1]


def test_time_of_use_by_hand() -> None:
    """50 s + 60 s + 15 s + 6240 s and 0.312 s of a slow clock, of 3600 s."""
    found = time_of_use(50.0, 60.0, 1.0, 15.0, 50.0, 6240.0).time_of_use
    assert found == pytest.approx(6365.312 / 3600.0)


GUARD: dict[str, float] = {
    "wake_time": 42.0, "wake_up_delay": 0.0, "computer_resets": 0.0, "computer_restart_time": 15.0,
    "timer_error": 0.0, "transmit_stop_delay": 6240.0, "first_release_time": 3390.0,
    "planned_wake_time": 42.0, "planned_release_time": 3390.0, "mode_guard_time": 110.0,
}  # fmt: skip


def guarded(**change: float) -> ModeGuard:
    return mode_guard(**{**GUARD, **change})


def test_what_goes_by_the_plan_leaves_the_whole_guard() -> None:
    assert guarded() == ModeGuard(0.0, 110.0)


@pytest.mark.parametrize(
    ("change", "shift"),
    [
        ({"wake_time": 50.0, "wake_up_delay": 61.0, "computer_resets": 1.0}, 84.0),
        ({"wake_time": 32.0}, -10.0),
        ({"first_release_time": 3370.0}, 20.0),
        ({"first_release_time": 3410.0}, -20.0),
        ({"timer_error": 50.0}, 0.312),
    ],
)
def test_a_shift_either_way_takes_from_the_guard(change: dict[str, float], shift: float) -> None:
    """S: a late wake-up, a restart and an early release bring the modes after their passes."""
    assert guarded(**change).passes_shift == pytest.approx(shift)
    assert guarded(**change).mode_guard_spare == pytest.approx(110.0 - abs(shift))


def test_the_guard_holds_all_over_the_declared_ranges() -> None:
    own = Declared(mode_guard)
    least = min(own.find(**point).mode_guard_spare for point in own.points(300))
    assert least >= limits("COM-096", "mode_guard_spare")[1]
