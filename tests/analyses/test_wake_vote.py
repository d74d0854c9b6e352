"""Failures of the voted wake-up circuit: counts by hand, histories, the direction of effects."""

from __future__ import annotations

import itertools
import random
from pathlib import Path
from typing import Any

import pytest
from sympy import And, Or, symbols
from sympy.logic.boolalg import to_dnf

from analyses.physics.failure_modes import (
    ASCENT,
    AT_REST,
    SHAKEN,
    SHARED,
    Failure,
    Mode,
    Situation,
    further_to_sleep,
    further_to_wake,
    pairs,
    places,
    read_modes,
    sleeps,
    wakes,
)
from analyses.wake_vote import DATA, wake_vote

# On the pad on a standard day, with the thresholds and sensors of the demonstration mission.
NOMINAL = {
    "ambient_pressure": 101.325,
    "pressure_threshold": 55.0,
    "pressure_sensor_error": 0.0,
    "acceleration_threshold": 1.25,
    "accelerometer_error": 0.0,
}
ANSWER = wake_vote(**NOMINAL)
MODES = read_modes(DATA / "wake_failures.csv")
SENSORS = [mode for mode in MODES if mode.group != SHARED]


def sensor(kind: str, wake: bool, sleep: bool) -> Mode:
    """Return a mode of a sensor that may vote for waking, for sleep or for either."""
    vote = (wake, sleep)
    pressure = vote if kind == "pressure" else None
    acceleration = vote if kind == "acceleration" else None
    return Mode(f"{kind} sensor", kind, f"{vote}", pressure, acceleration, "sound", 0.0, 0.0)


def test_does_one_failed_sensor_wake_it_or_keep_it_asleep() -> None:
    """The question of the requirement: no."""
    assert ANSWER.waking_singles["sensors"] == 0.0
    assert ANSWER.sleeping_singles["sensors"] == 0.0
    assert min(ANSWER.wake_after_sensor_failure.values()) == 1.0
    assert min(ANSWER.sleep_after_sensor_failure.values()) == 1.0


# Minimal cut sets of two of three are its three pairs AB, AC and BC (NUREG-0492, Fault Tree
# Handbook, from memory), so two failures lose a vote, and the counts below follow by hand.


def test_counts_of_singles_and_pairs_by_hand() -> None:
    # Three sensors of two kinds with four modes each: 24 failures. Pairs at two places: the places
    # are 6 over 2 = 15, each with 4 x 4 modes.
    assert ANSWER.singles_examined["sensors"] == 6 * 4
    assert ANSWER.pairs_examined["sensors"] == 15 * 16
    # Shaken, the pressure channel decides: 3 pairs of places, 2 modes (stuck low, drifting) each.
    assert ANSWER.waking_pairs["sensors"] == 3 * 2 * 2
    # Asleep: stuck high, silent and drifting of pressure; stuck low, silent and drifting of the
    # accelerometers: 3 pairs of places with 3 x 3 modes, in both channels.
    assert ANSWER.sleeping_pairs["sensors"] == 2 * 3 * 3 * 3


def test_fewest_failures_by_hand() -> None:
    """Cut sets of an AND are the unions of those of its inputs: 2 + 2 at rest."""
    assert ANSWER.sensor_failures_to_wake == {"at rest": 4, "shaken": 2}
    assert ANSWER.sensor_failures_to_sleep == 2


def cut_sets(event: Any) -> list[int]:
    """Return the sizes of the minimal cut sets of an event without negation, by SymPy."""
    terms = to_dnf(event, simplify=True, force=True)
    return sorted(len(term.args) if isinstance(term, And) else 1 for term in terms.args)


def test_cut_sets_by_sympy() -> None:
    """sympy.logic: the minimal cut sets of two of three, of both channels and of either."""
    p, a = symbols("p1:4"), symbols("a1:4")

    def two_of_three(of: tuple[Any, ...]) -> Any:
        return Or(*(And(*pair) for pair in itertools.combinations(of, 2)))

    alone = cut_sets(two_of_three(p))  # shaken: the pressure sensors decide
    both = cut_sets(And(two_of_three(p), two_of_three(a)))  # at rest, to wake
    either = cut_sets(Or(two_of_three(p), two_of_three(a)))  # in the ascent, to stay asleep
    assert (alone, both, either) == ([2] * 3, [4] * 9, [2] * 6)  # NUREG-0492, from memory
    assert ANSWER.sensor_failures_to_wake == {"at rest": min(both), "shaken": min(alone)}
    assert ANSWER.sensor_failures_to_sleep == min(either)
    # Each of two sensors in one of its modes that count: 2 for waking, 3 for sleep.
    assert ANSWER.waking_pairs["sensors"] == len(alone) * 2 * 2
    assert ANSWER.sleeping_pairs["sensors"] == len(either) * 3 * 3


def test_one_of_three_and_three_of_three_are_worse() -> None:
    """One of n needs 1 failure to act falsely and n to fail; n of n the reverse (any text)."""
    for needed, wake, sleep in ((1, 1, 3), (2, 2, 2), (3, 3, 1)):
        assert further_to_wake((), SENSORS, SHAKEN, needed) == wake
        assert further_to_sleep((), SENSORS, ASCENT, needed) == sleep
    assert further_to_wake((), SENSORS, AT_REST, 1) == 2


@pytest.mark.parametrize("kind", ["pressure", "acceleration"])
def test_after_one_latent_failure(kind: str) -> None:
    """Stuck on waking: one of two. Silent or stuck on sleep: two of two. Drifting: both at once."""
    now = SHAKEN if kind == "pressure" else Situation(pressure=True, acceleration=False)
    for wake, sleep, to_wake, to_sleep in (
        (True, False, 1, 2),
        (False, True, 2, 1),
        (True, True, 1, 1),
    ):
        first = places([sensor(kind, wake, sleep)])[:1]
        assert further_to_wake(first, SENSORS, now) == to_wake
        assert further_to_sleep(first, SENSORS, ASCENT) == to_sleep


def test_names_say_what_a_failure_leaves() -> None:
    assert ANSWER.wake_after_sensor_failure["pressure sensor stuck low"] == 1
    assert ANSWER.wake_after_sensor_failure["pressure sensor silent"] == 2
    assert ANSWER.sleep_after_sensor_failure["pressure sensor silent"] == 1
    assert ANSWER.sleep_after_sensor_failure["accelerometer stuck high"] == 2
    assert ANSWER.sleep_after_sensor_failure["accelerometer drifting"] == 1


def test_single_points_outside_the_vote_are_told() -> None:
    """One processor, software, supply and line can wake it; port, clock and latch-up lose it."""
    wake = {name for name, left in ANSWER.wake_after_shared_failure.items() if left == 0}
    sleep = {name for name, left in ANSWER.sleep_after_shared_failure.items() if left == 0}
    assert wake == {
        "sensor supply too high",
        "processor output set",
        "software takes the wrong branch",
        "wake-up line stuck on",
    }
    assert {
        "pressure port closed by ice",
        "pressure port cover left on",
        "clock stopped",
        "processor halted",
        "processor latched up",
        "battery supply open",
    } <= sleep
    assert ANSWER.waking_singles["outside the vote"] == len(wake)
    assert ANSWER.sleeping_singles["outside the vote"] == len(sleep)


# Histories, sample by sample --------------------------------------------------------------------


def awake(histories: list[list[tuple[bool, bool]]], confirm: int) -> bool:
    """Return whether so many samples running have two of three of both kinds: the logic itself.

    histories: by sample, (pressure, acceleration) of each of the three places.
    """
    running = 0
    for sample in histories:
        votes = [sum(kind) >= 2 for kind in zip(*sample, strict=True)]
        running = running + 1 if all(votes) else 0
        if running == confirm:
            return True
    return False


@pytest.mark.parametrize("now", [AT_REST, SHAKEN, ASCENT])
def test_no_history_of_failed_sensors_is_worse_than_said(now: Situation) -> None:
    """Random histories of each pair of failed sensors, drifting ones free at each sample."""
    dice = random.Random(1)
    failures = places(SENSORS)
    for failed in [(one,) for one in failures] + pairs(failures):
        for _ in range(5):
            history = [[sampled(i, failed, now, dice) for i in range(3)] for _ in range(12)]
            if awake(history, 5):
                assert wakes(failed, now)
            else:
                assert now is not ASCENT or sleeps(failed, now)


def sampled(
    i: int, failed: tuple[Failure, ...], now: Situation, dice: random.Random
) -> tuple[bool, bool]:
    """Return what sensors number i of both kinds tell at one sample, True for waking."""
    told = [now.pressure, now.acceleration]
    for mode, place in failed:
        for kind, vote in enumerate((mode.pressure, mode.acceleration)):
            if vote is not None and place == i:
                told[kind] = dice.choice([True, False]) if all(vote) else vote[0]
    return told[0], told[1]


def test_what_is_said_does_happen() -> None:
    """The worst constant vote of each failing set is reached by a history."""
    for now, confirm in ((SHAKEN, 5), (AT_REST, 5)):
        found = set()
        for size in range(7):
            for chosen in itertools.combinations(range(6), size):
                sample = [
                    (
                        True if i in chosen else now.pressure,
                        True if i + 3 in chosen else now.acceleration,
                    )
                    for i in range(3)
                ]
                if awake([sample] * confirm, confirm):
                    found.add(size)
        assert min(found) == further_to_wake((), SENSORS, now)


# The ground -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("pressure", "expected"), [(80.0, 2), (110.0, 2), (35.6, 0)])
def test_pressure_on_the_ground(pressure: float, expected: int) -> None:
    """Within 80 kPa to 110 kPa two failures; in a cabin open at 8 km (35.6 kPa, U.S. Standard
    Atmosphere 1976) a shaken recorder wakes with sound sensors: the arming plug's case.
    """
    lost = wake_vote(**{**NOMINAL, "ambient_pressure": pressure})
    assert lost.sensor_failures_to_wake["shaken"] == expected


@pytest.mark.parametrize(
    "changed",
    [
        {"ambient_pressure": 54.0},
        {"pressure_threshold": 102.0},
        {"pressure_sensor_error": -47.0},
        {"accelerometer_error": 0.3},
        {"acceleration_threshold": 0.9},
    ],
)
def test_what_brings_the_ground_nearer_to_a_wake_up(changed: dict[str, float]) -> None:
    worse = wake_vote(**(NOMINAL | changed)).sensor_failures_to_wake
    assert worse["at rest"] == 2
    assert worse["at rest"] < ANSWER.sensor_failures_to_wake["at rest"]


def test_a_shared_port_on_the_other_side_would_wake_it() -> None:
    """A common cause of all three sensors is one failure: the vote does not help."""
    leak = Mode("port", SHARED, "under suction", (True, False), None, "sound", 0.0, 0.0)
    assert further_to_wake(places([leak]), SENSORS, SHAKEN) == 0
    assert further_to_wake(places([leak]), SENSORS, AT_REST) == 2


# The table --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("pressure sensor,pressure", "pressure sensor,presure", "group 'presure'"),
        ("stuck high,high", "stuck high,hi", "pressure 'hi'"),
        ("halted,sound,sound,off", "halted,sound,sound,out", "output 'out'"),
        ("3e-9", "often", "'often' is no number"),
    ],
)
def test_a_bad_table_is_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    text = (DATA / "wake_failures.csv").read_text("utf-8")
    assert old in text
    (tmp_path / "bad.csv").write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(ValueError, match=message):
        read_modes(tmp_path / "bad.csv")
