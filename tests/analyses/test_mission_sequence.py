"""Order of events: by hand, networkx and linear programming, all corners, directions."""

from __future__ import annotations

from itertools import product

import networkx as nx
import pytest
from scipy.optimize import linprog

from analyses.mission_sequence import FAIRING, SATELLITES, MissionSequence, mission_sequence
from analyses.pressure_threshold_timing import pressure_threshold_timing
from analyses.unwanted_emission import unwanted_emission
from tests.analyses.declared import Declared

BASE: dict[str, float] = {
    "wake_time": 41.0,
    "wake_up_delay": 0.0,
    "computer_resets": 0.0,
    "computer_restart_time": 15.0,
    "camera_start_time": 22.0,
    "timer_error": 0.0,
    "camera_stop_delay": 3600.0,
    "transmit_start_delay": 3620.0,
    "transmit_stop_delay": 6240.0,
    "fairing_release_time": 170.0,
    "first_release_time": 3390.0,
    "release_interval": 60.0,
    "memory_chips": 3.0,
    "parity_chips": 1.0,
    "chip_capacity": 8.0,
    "bad_block_share": 0.02,
    "file_system_overhead": 0.03,
    "cameras": 2.0,
    "stuck_cameras": 1.0,
    "camera_bit_rate": 12.0,
    "vibration_channels": 6.0,
    "vibration_sampling_rate": 4.0,
    "vibration_sample_size": 16.0,
    "vibration_compression": 0.7,
    "housekeeping_rate": 20.0,
    "guaranteed_energy": 52.0,
    "recording_power": 20.0,
    "downlink_power": 26.0,
    "stuck_camera_power": 3.5,
}
LAST = SATELLITES[-1]


def sequence(**change: float) -> MissionSequence:
    return mission_sequence(**{**BASE, **change})


def test_events_by_hand() -> None:
    events = sequence().event_time
    assert events["wake-up"] == 41.0
    assert events["cameras on"] == 63.0
    assert events[FAIRING] == 170.0
    assert [events[name] for name in SATELLITES] == [3390.0, 3450.0, 3510.0]
    assert events["cameras off"] == 3641.0
    assert events["transmitter on"] == 3661.0
    assert events["last transmission"] == 6281.0


def test_events_come_in_the_order_that_the_mission_needs() -> None:
    *planned, full, empty = sequence().event_time.values()
    assert planned == sorted(planned)
    assert min(full, empty) > planned[-1]


def test_each_release_is_recorded_before_and_after() -> None:
    found = sequence()
    assert set(found.recorded_before) == {FAIRING, *SATELLITES} == set(found.recorded_after)
    assert found.recorded_before[FAIRING] == 107.0
    assert found.recorded_after[LAST] == 131.0


def test_storage_full_by_hand() -> None:
    """16.331 GB are 130 649 Mbit; 24.289 Mbit/s for an hour, 12.02 Mbit/s after it."""
    volume = 2 * 8 * 2**30 * 8 / 1e6 * 0.98 * 0.97
    rate = 24.0 + 6 * 4 * 16 * 0.7e-3 + 0.02
    expected = 41.0 + 3600.0 + (volume - rate * 3600.0) / 12.02
    assert sequence().event_time["storage full"] == pytest.approx(expected)


def test_battery_empty_by_hand() -> None:
    """52 W h less 20 W h in an hour leave 32 W h for 29.5 W: 1.085 h."""
    expected = 41.0 + 3600.0 + 3600.0 * 32.0 / 29.5
    assert sequence().event_time["battery empty"] == pytest.approx(expected)


def test_one_reset_at_the_worst_moment() -> None:
    """It delays the cameras and each timer by one restart; the launcher does not wait."""
    plain, reset = sequence(), sequence(computer_resets=1.0)
    for name in ("cameras on", "cameras off", "transmitter on", "last transmission"):
        assert reset.event_time[name] - plain.event_time[name] == 15.0
    assert reset.recorded_before[FAIRING] - plain.recorded_before[FAIRING] == -15.0


def test_extremes_are_those_of_the_corners_by_hand() -> None:
    """Wake-up 32 s to 51 s, 60 s late, one reset, start 16 s to 28 s, fairing from 160 s on."""
    corners = [
        sequence(
            wake_time=wake, wake_up_delay=late, computer_resets=reset, camera_start_time=start,
            fairing_release_time=fairing, first_release_time=first, timer_error=clock,
        )
        for wake, late, reset, start, fairing, first, clock in product(
            (32.0, 51.0), (0.0, 60.0), (0.0, 1.0), (16.0, 28.0), (160.0, 185.0),
            (3370.0, 3410.0), (-50.0, 50.0),
        )
    ]  # fmt: skip
    earliest = min(found.recorded_before[FAIRING] for found in corners)
    assert earliest == 160.0 - (51.0 + 60.0 + 15.0 + 28.0)
    shortest = min(found.recorded_after[LAST] for found in corners)
    assert shortest == pytest.approx(32.0 + 3600.0 * (1 - 50e-6) - 3530.0)


def durations(**change: float) -> dict[tuple[str, str], float]:
    """Return the edges of the plan: what follows what, and after how long."""
    x = {**BASE, **change}
    clock, restart = 1 + 1e-6 * x["timer_error"], x["computer_resets"] * x["computer_restart_time"]
    return {
        ("lift-off", "planned wake-up"): x["wake_time"],
        ("planned wake-up", "wake-up"): x["wake_up_delay"],
        ("wake-up", "restarted"): restart,
        ("restarted", "cameras on"): x["camera_start_time"],
        ("restarted", "cameras off"): x["camera_stop_delay"] * clock,
        ("restarted", "transmitter on"): x["transmit_start_delay"] * clock,
        ("restarted", "last transmission"): x["transmit_stop_delay"] * clock,
        ("lift-off", FAIRING): x["fairing_release_time"],
        ("lift-off", SATELLITES[0]): x["first_release_time"],
        (SATELLITES[0], SATELLITES[1]): x["release_interval"],
        (SATELLITES[1], SATELLITES[2]): x["release_interval"],
    }


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"wake_up_delay": 60.0, "computer_resets": 1.0},
        {"wake_time": 32.0, "timer_error": -50.0},
    ],
)
def test_the_plan_as_a_network(change: dict[str, float]) -> None:
    """networkx: each event comes after the longest path from the lift-off."""
    plan = nx.DiGraph()
    plan.add_weighted_edges_from((a, b, after) for (a, b), after in durations(**change).items())
    events = sequence(**change).event_time
    for name in set(plan) & set(events):
        before = plan.subgraph({name} | nx.ancestors(plan, name))
        longest = nx.dag_longest_path_length(before, default_weight=0)
        assert events[name] == pytest.approx(longest, rel=1e-12), name


ENDS = {  # low and high end, invented as everything in BASE
    "wake_time": (32.0, 51.0), "wake_up_delay": (0.0, 60.0), "computer_resets": (0.0, 1.0),
    "camera_start_time": (16.0, 28.0), "fairing_release_time": (160.0, 185.0),
    "first_release_time": (3370.0, 3410.0), "release_interval": (55.0, 65.0),
}  # fmt: skip


@pytest.mark.parametrize(
    ("quantity", "case", "weights"),
    # what each end counts for, from the order of the events
    [
        ("recorded_before", FAIRING, (-1, -1, -15, -1, 1, 0, 0)),
        ("recorded_before", LAST, (-1, -1, -15, -1, 0, 1, 2)),
        ("recorded_after", LAST, (1, 1, 15, 0, 0, -1, -2)),
    ],
)
def test_least_margin_as_linear_programming_has_it(
    quantity: str, case: str | None, weights: tuple[float, ...]
) -> None:
    """scipy.optimize.linprog over the box of ends, against the least of all corners."""
    constant = {"recorded_after": 3600.0}.get(quantity, 0.0)
    least = linprog(weights, bounds=list(ENDS.values())).fun + constant
    found = []
    for corner in product(*ENDS.values()):
        answer = getattr(sequence(**dict(zip(ENDS, corner, strict=True))), quantity)
        found.append(answer if case is None else answer[case])
    assert min(found) == pytest.approx(least, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "quantity", "case"),
    [
        ({"wake_up_delay": 60.0}, "recorded_before", FAIRING),
        ({"wake_time": 51.0}, "recorded_before", FAIRING),
        ({"computer_resets": 1.0}, "recorded_before", FAIRING),
        ({"camera_start_time": 28.0}, "recorded_before", FAIRING),
        ({"fairing_release_time": 160.0}, "recorded_before", FAIRING),
        ({"first_release_time": 3370.0}, "recorded_before", SATELLITES[0]),
        ({"first_release_time": 3410.0}, "recorded_after", LAST),
        ({"release_interval": 70.0}, "recorded_after", LAST),
        ({"wake_time": 32.0}, "recorded_after", LAST),
        ({"timer_error": -50.0}, "recorded_after", LAST),
        ({"camera_stop_delay": 3540.0}, "recorded_after", LAST),
        ({"chip_capacity": 4.0}, "recorded_after", LAST),
        ({"camera_bit_rate": 40.0}, "recorded_after", LAST),
        ({"guaranteed_energy": 18.0}, "recorded_after", LAST),
        ({"bad_block_share": 0.05}, "storage_spare", None),
        ({"stuck_cameras": 2.0}, "storage_spare", None),
        ({"vibration_compression": 1.0}, "storage_spare", None),
        ({"guaranteed_energy": 50.0}, "battery_spare", None),
        ({"recording_power": 22.0}, "battery_spare", None),
        ({"downlink_power": 28.0}, "battery_spare", None),
        ({"stuck_camera_power": 4.0}, "battery_spare", None),
        ({"computer_resets": 1.0}, "battery_spare", None),
    ],
)
def test_what_makes_it_worse(change: dict[str, float], quantity: str, case: str | None) -> None:
    worse, base = (getattr(found, quantity) for found in (sequence(**change), sequence()))
    assert (worse < base) if case is None else (worse[case] < base[case])


def test_a_memory_or_a_battery_that_ends_early_ends_the_recording() -> None:
    assert sequence(chip_capacity=1.0).recorded_after[LAST] < 0.0
    assert sequence(guaranteed_energy=10.0).recorded_after[LAST] < 0.0


def test_the_barriers_have_let_go_before_the_timer_starts_the_transmitter() -> None:
    """Timers A and B run from the last release, timer C from aneroid switch C."""
    own, barriers = Declared(mission_sequence), Declared(unwanted_emission).box
    events = [own.find(**point) for point in own.points(300)]
    loops = max(barriers["timer_a_delay"][1], barriers["timer_b_delay"][1])
    on, last = ([e.event_time[n] for e in events] for n in ("transmitter on", LAST))
    assert loops < min(after - before for after, before in zip(on, last, strict=True))
    third = barriers["aneroid_closing_time"][1] + barriers["timer_c_delay"][1]
    assert third < min(event.event_time["transmitter on"] for event in events)


def test_memory_outlasts_the_last_transmission_with_a_reset_and_a_stuck_camera() -> None:
    own = Declared(mission_sequence)
    assert min(own.function(**point).storage_spare for point in own.points(300)) > 0


def test_the_wake_up_is_the_one_that_the_ascent_gives() -> None:
    """The range of the wake-up ends at the extremes of the march, at its own corners.

    Hot, high-pressure day with a slow launcher and a late sensor; and the reverse.
    """
    common = {
        "pad_geometric_altitude": 60.0, "ground_pressure_drop": 1.0, "cabin_pressure": 75.0,
        "vacuum_specific_impulse": 295.0, "nozzle_exit_area": 0.7, "drag_reference_area": 2.0,
        "pitch_start_time": 10.0, "pitch_rate": 0.5, "pressure_threshold": 55.0,
        "acceleration_threshold": 1.25, "trigger_samples": 5.0, "camera_start_time": 22.0,
        "computer_restart_time": 15.0, "fairing_release_time": 170.0,
    }  # fmt: skip
    late = pressure_threshold_timing(
        sea_level_pressure=1045.0, temperature_offset=25.0, lift_off_mass=20260.0,
        vacuum_thrust=358.9, vent_pressure_coefficient=0.10, vent_time_constant=2.0,
        pressure_sensor_error=1.5, trigger_sampling_period=0.525, **common,
    )  # fmt: skip
    early = pressure_threshold_timing(
        sea_level_pressure=960.0, temperature_offset=-25.0, lift_off_mass=19740.0,
        vacuum_thrust=381.1, vent_pressure_coefficient=-0.15, vent_time_constant=0.1,
        pressure_sensor_error=-1.5, trigger_sampling_period=0.475, **common,
    )  # fmt: skip
    assert early.earliest_wake_time < late.latest_wake_time
    box = Declared(mission_sequence).box["wake_time"]
    assert box == pytest.approx((early.earliest_wake_time, late.latest_wake_time), rel=1e-12)
