"""Barriers step by step: worked fault trees, the direction of every effect, broken designs."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from analyses import unwanted_emission as module
from analyses.aneroid_closing import aneroid_closing
from analyses.physics.barriers import (
    EnergyPath,
    barriers_left,
    fewest_left,
    independent,
    path_of,
    read_model,
    releasing_failures,
    releasing_pairs,
)
from analyses.physics.csv_table import read_rows
from analyses.unwanted_emission import DATA, UnwantedEmission, unwanted_emission
from tests.analyses.declared import Declared, limits

# Of the demonstration mission, invented.
DECLARED = Declared(unwanted_emission)
DELAYS = DECLARED.values
ANSWER = unwanted_emission(**DELAYS)
MODEL = read_model(DATA)
GROUND = [step.name for step in MODEL.steps if step.phase == "ground"]
LIMIT = 3  # independent barriers of SAF-010


def path(barriers: str, *effects: str) -> EnergyPath:
    """Return a path with barriers of one letter and failures that take letters away."""
    counts = {frozenset(effect): effects.count(effect) for effect in effects}
    return EnergyPath(frozenset(barriers), counts)


# Fault trees ------------------------------------------------------------------------------------


def test_two_of_three_has_three_pairs() -> None:
    """Minimal cut sets AB, AC, BC (NUREG-0492, from memory): as barriers, each failure of a sensor
    takes two of the three pairs' products away; one alone leaves a barrier, every pair none.
    """
    # Barriers are the path sets of two of three: AB, AC and BC sound; x, y, z stand for them.
    voted = path("xyz", "xy", "xz", "yz")
    assert independent(voted) == 2
    assert releasing_failures(voted) == 0
    assert releasing_pairs(voted) == 3


def test_pressure_tank() -> None:
    """The worked example of NUREG-0492, chapter VIII (from memory): the tank ruptures by itself
    (T), by relay K2, or by the pressure switch S with one of S1, K1 and R. Minimal cut sets: T, K2
    and three pairs. Two barriers: p, the pressure switch, and t, the timer's branch.
    """
    tank = path("pt", "pt", "pt", "p", "t", "t", "t")  # T, K2, S, S1, K1, R
    assert independent(tank) == 1
    assert releasing_failures(tank) == 2
    # Pairs that hold T or K2: 15 - 6; and S with one of the three.
    assert releasing_pairs(tank) == 9 + 3
    protected = path("pt", "p", "t", "t", "t")
    assert independent(protected) == 2
    assert releasing_pairs(protected) == 3


def test_series_and_common_cause() -> None:
    """n barriers with causes of their own need n failures; one cause of all needs one (any text on
    fault trees). The order of the smallest minimal cut set.
    """
    for n in range(1, 6):
        letters = "abcdef"[:n]
        assert independent(path(letters, *letters)) == n
        assert independent(path(letters, letters)) == 1
    # Three covers of six elements, no two of which cover them: a set cover by hand.
    assert independent(path("abcdef", "abc", "cd", "ef", "be", "df")) == 3
    # What nothing reaches stands for itself; a path without barriers is no barrier.
    assert independent(path("abc", "ab")) == 2
    assert independent(path("abc")) == 3
    assert independent(path("", "a")) == 0


@given(
    effects=st.lists(st.frozensets(st.sampled_from("abcde"), min_size=1), min_size=1, max_size=6),
)
def test_counts_by_trying_every_set(effects: list[frozenset[str]]) -> None:
    """Every set of failures by itertools, no cleverness."""
    barriers = frozenset("abcde")
    counts = {effect: effects.count(effect) for effect in effects}
    one = EnergyPath(barriers, counts)
    for size in range(3):
        sets = [frozenset().union(*chosen) for chosen in itertools.combinations(effects, size)]
        worst = min((len(barriers - taken) for taken in sets), default=0)
        if size <= len(effects):
            assert fewest_left(one, size) == worst
    full = [
        size
        for size in range(len(effects) + 1)
        for chosen in itertools.combinations(effects, size)
        if frozenset().union(*chosen) == barriers
    ]
    if full:
        assert independent(one) == min(full)
    assert releasing_failures(one) == sum(effect == barriers for effect in effects)
    assert releasing_pairs(one) == sum(
        a | b == barriers for a, b in itertools.combinations(effects, 2)
    )


def cover_by_milp(one: EnergyPath) -> int:
    """Return the fewest causes that take every barrier away, by SciPy's integer programming."""
    reached = frozenset().union(*one.effects)
    causes = [*one.effects, *(frozenset({barrier}) for barrier in one.barriers - reached)]
    takes = [[float(barrier in cause) for cause in causes] for barrier in sorted(one.barriers)]
    found = milp(
        np.ones(len(causes)), constraints=LinearConstraint(np.array(takes), lb=1.0),
        integrality=np.ones(len(causes)), bounds=Bounds(0, 1),
    )  # fmt: skip
    assert found.success
    return round(found.fun)


def test_independent_barriers_as_integer_programming_has_them() -> None:
    """scipy.optimize.milp: the smallest set cover, for each hazard at each step of the mission."""
    cases = {
        f"{hazard}, {step.name}": path_of(MODEL, step, hazard)
        for step in MODEL.steps
        if step.phase == "ground"
        for hazard in ("radio", "heat", "motion")
    }
    assert set(cases) == set(ANSWER.independent_barriers)
    for case, number in ANSWER.independent_barriers.items():
        assert number == cover_by_milp(cases[case]), case


# The mission ------------------------------------------------------------------------------------


def test_are_there_barriers_enough_at_each_step() -> None:
    """The question of the requirement. One is left after two failures: three are independent."""
    assert min(ANSWER.independent_barriers.values()) == 3
    assert min(ANSWER.ground_left_after_two.values()) == 1
    assert ANSWER.releasing_failures == ANSWER.releasing_pairs == 0


def test_the_three_ways_of_counting_agree() -> None:
    """No pair releases where one is left after two, and that is where three are independent."""
    for case, number in ANSWER.independent_barriers.items():
        assert (number >= 3) == (ANSWER.ground_left_after_two[case] >= 1)
        assert (number >= 2) == (ANSWER.ground_left_after_one[case] >= 1)
        assert number <= ANSWER.ground_barriers[case]
    for step, number in ANSWER.independent_radio_barriers.items():
        assert (number >= 3) == (ANSWER.radio_left_after_two[step] >= 1)


def test_every_hazard_at_every_step_of_the_ground() -> None:
    cases = {f"{hazard}, {step}" for hazard in ("radio", "heat", "motion") for step in GROUND}
    assert set(ANSWER.independent_barriers) == cases
    assert "hold on the pad" in ANSWER.independent_radio_barriers
    assert "after the last release" in ANSWER.independent_radio_barriers


def test_hold_on_the_pad_by_hand() -> None:
    """Plug in: main switch, switch of the software and three timers. One cause reaches the first
    two (processor, software, supply, harness, a false wake-up), one event the timers A and B: five
    barriers are three.
    """
    case = "radio, hold on the pad"
    assert ANSWER.ground_barriers[case] == 5
    assert ANSWER.independent_barriers[case] == 3
    assert ANSWER.ground_left_after_one[case] == 3
    assert ANSWER.ground_left_after_two[case] == 1
    assert ANSWER.ground_left_after_event[case] == 3


@pytest.mark.parametrize(
    "element",
    ["processor", "software", "common supply of the switch drivers", "harness", "event: wake-up"],
)
def test_what_is_shared_counts_as_one_cause(element: str) -> None:
    taken = max(
        (failure.takes_away for failure in MODEL.failures if failure.name.startswith(element)),
        key=len,
    )
    assert taken >= {"MS", "TS", "HS", "CS"}


def test_silence_by_hand() -> None:
    """Last release at 3390 s + 2 x 60 s. The return's short (timers B and C) and the transmitter's
    switch leave timer A; the event (A and B) and one more leave timer C or the software's, 58 s +
    3565 s - 3510 s and 41 s + 3620 s - 3510 s after the release. The shortest of these counts.
    """
    assert (DELAYS["timer_a_delay"], DELAYS["timer_b_delay"]) == (78.0, 74.0)
    assert ANSWER.silence_after_release == 78.0
    assert DECLARED.find(timer_a_delay=65.0).silence_after_release == 65.0
    assert DECLARED.find(timer_a_delay=140.0).silence_after_release == 110.0
    assert DECLARED.find(timer_c_delay=3500.0).silence_after_release == 48.0
    assert DECLARED.find(transmit_start_delay=3550.0).silence_after_release == 40.0


@pytest.mark.parametrize(
    ("name", "less"),
    [
        ("timer_a_delay", -20.0), ("timer_c_delay", -60.0), ("aneroid_closing_time", -60.0),
        ("transmit_start_delay", -80.0), ("timer_error", -3e4),
        ("first_release_time", 60.0), ("release_interval", 30.0), ("satellites", 1.0),
    ],
)  # fmt: skip
def test_what_comes_earlier_shortens_the_silence(name: str, less: float) -> None:
    """S: an earlier start of a timer, and a later release."""
    changed = DECLARED.find(**{name: DELAYS[name] + less})
    assert changed.silence_after_release < ANSWER.silence_after_release


def test_the_silence_holds_all_over_the_declared_ranges() -> None:
    assert limits("COM-070", "silence_after_release") == ("at_least", 60.0)
    assert min(DECLARED.find(**p).silence_after_release for p in DECLARED.points(40)) >= 60.0


def test_aneroid_switch_c_closes_when_the_ascent_says() -> None:
    """16 kPa to 24 kPa: the march of the ascent, at corners and points of its ranges and days."""
    closing = Declared(aneroid_closing)
    low, high = DECLARED.box["aneroid_closing_time"]
    for point in closing.points(30):
        early, late = (
            closing.find(**{**point, "aneroid_closing_pressure": pressure}).closing_time
            for pressure in (24.0, 16.0)
        )
        assert low < early < late < high


# Other designs: what is worse has to be told -----------------------------------------------------


@pytest.fixture
def redesigned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., UnwantedEmission]:
    """Return a function that answers for tables with some text replaced, or lines added."""

    def answer(table: str, old: str, new: str) -> UnwantedEmission:
        for file in DATA.glob("barrier*.csv"):
            shutil.copy(file, tmp_path)
        text = (tmp_path / table).read_text("utf-8")
        assert not old or old in text
        text = text.replace(old, new) if old else text + new
        (tmp_path / table).write_text(text, "utf-8")
        monkeypatch.setattr(module, "DATA", tmp_path)
        return unwanted_emission(**DELAYS)

    return answer


def test_timers_of_one_make_would_be_one_barrier(redesigned) -> None:  # type: ignore[no-untyped-def]
    worse = redesigned("barrier_failures.csv", "", "timers,fault of their design,KA KB KC,\n")
    assert worse.independent_barriers["radio, hold on the pad"] == 2
    assert worse.releasing_pairs > 0
    assert worse.silence_after_release == 0.0


def test_software_on_the_wire_of_timer_c_would_lose_the_silence(redesigned) -> None:  # type: ignore[no-untyped-def]
    """Then one switch starts both; with the last release that is two failures."""
    worse = redesigned(
        "barrier_failures.csv", "aneroid switch C,welded or leaking,KC", "aneroid C,welded,KC TS"
    )
    assert worse.independent_radio_barriers["after the last release"] == 2
    assert worse.silence_after_release == 0.0


def test_a_loop_moved_with_the_link_fitted_would_leave_two(redesigned) -> None:  # type: ignore[no-untyped-def]
    """The order of the steps matters: loops first, then the link."""
    worse = redesigned(
        "barrier_steps.csv",
        "loop A moved to the stage,ground,no,BL AP",
        "loop A moved to the stage,ground,no,AP",
    )
    assert worse.independent_barriers["radio, loop A moved to the stage"] == 2


def test_without_arming_plug_the_link_would_not_do(redesigned) -> None:  # type: ignore[no-untyped-def]
    """At the fitting of the link the plug is a barrier, though a short of the harness takes it."""
    worse = redesigned("barriers.csv", "AP,arming plug,radio heat motion", "AP,arming plug,")
    case = "radio, battery link fitted"
    assert worse.ground_barriers[case] == ANSWER.ground_barriers[case] - 1


@pytest.mark.parametrize("barrier", ["KC", "PA", "PB"])
def test_a_barrier_that_nobody_can_see_counts_as_none(barrier: str, redesigned) -> None:  # type: ignore[no-untyped-def]
    lines = (DATA / "barriers.csv").read_text("utf-8").splitlines()
    old = next(line for line in lines if line.startswith(barrier + ","))
    worse = redesigned("barriers.csv", old, old.replace("test connector", ""))
    hazard = "radio" if barrier.startswith("K") else "heat"
    assert worse.independent_barriers[f"{hazard}, hold on the pad"] == 2


def test_an_unpressurised_hold_is_one_failure_of_every_aneroid(redesigned) -> None:  # type: ignore[no-untyped-def]
    safer = redesigned("barrier_events.csv", "pressure,air transport", "pressure,hold on the pad")
    case = "motion, air transport"
    assert ANSWER.independent_barriers[case] < safer.independent_barriers[case]


def test_a_single_cause_of_all_is_told(redesigned) -> None:  # type: ignore[no-untyped-def]
    worse = redesigned("barrier_failures.csv", "", "flood,water in the bay,MS TS KA KB KC,\n")
    assert worse.releasing_failures > 0
    assert min(worse.independent_barriers.values()) == 1
    assert worse.ground_left_after_one["radio, hold on the pad"] == 0


# Common events ----------------------------------------------------------------------------------

HELD_BY_LOOPS = [
    "battery link fitted", "wait for close-out", "arming plug inserted", "hold on the pad",
    "access after a slip",
]  # fmt: skip


def test_without_the_sensor_of_its_own_the_verdict_fails(redesigned) -> None:  # type: ignore[no-untyped-def]
    """S: timer C away, and the last release opens all loops at once: two barriers are left."""
    lines = (DATA / "barriers.csv").read_text("utf-8").splitlines()
    (third,) = (line for line in lines if line.startswith("KC,"))
    worse = redesigned("barriers.csv", third, "KC,none,,,,")
    key, limit = limits("SAF-010", "independent_barriers")
    assert (key, limit) == ("at_least", LIMIT)
    failing = {case for case, number in worse.independent_barriers.items() if number < limit}
    assert failing >= {f"radio, {step}" for step in HELD_BY_LOOPS}
    assert all(worse.independent_barriers[case] == 2 for case in failing)
    assert worse.releasing_pairs > 0
    assert worse.silence_after_release == 0.0  # of COM-070, at least 60 s


def test_timer_c_on_the_last_release_as_well_would_be_no_sensor_of_its_own(redesigned) -> None:  # type: ignore[no-untyped-def]
    """S: the circuit of before: three timers with wires of their own, which all feel one event."""
    worse = redesigned("barriers.csv", "low pressure,timer C", "last release,timer C")
    for step in HELD_BY_LOOPS:
        assert worse.independent_barriers[f"radio, {step}"] == 2
        case = f"radio, {step}"
        assert worse.ground_left_after_event[case] == ANSWER.ground_left_after_event[case] - 1
    assert worse.silence_after_release == 0.0


def test_software_on_the_last_release_would_be_one_more_that_it_opens(redesigned) -> None:  # type: ignore[no-untyped-def]
    """S: in the ascent the event then takes three of four, and timer C alone is left."""
    worse = redesigned("barriers.csv", "wake-up,transmit timer", "last release,transmit timer")
    assert worse.independent_radio_barriers["awake until the last release"] == 2
    assert worse.silence_after_release == 0.0


@pytest.mark.parametrize("event", ["wake-up", "last release", "low pressure"])
def test_each_event_is_one_failure_of_all_that_it_opens(event: str) -> None:
    """Read from the table by hand: the column of the barriers, and what an event brings along."""
    rows = read_rows(DATA / "barriers.csv", ("barrier", "opened_by"))
    opened = {row["barrier"] for row in rows if row["opened_by"] == event}
    if event == "low pressure":  # a shaken cabin without pressure wakes the recorder too
        opened |= {row["barrier"] for row in rows if row["opened_by"] == "wake-up"}
    (failure,) = (one for one in MODEL.failures if one.name == f"event: {event}")
    assert failure.takes_away == opened
    assert len(opened) >= 2


def test_every_barrier_that_is_not_opened_by_hand_names_its_event() -> None:
    by_hand = {short for short, barrier in MODEL.barriers.items() if not barrier.event}
    assert by_hand == {"BL", "AP"}
    assert ANSWER.events_examined == len(MODEL.events) == 3


def test_events_count_among_the_failures(redesigned) -> None:  # type: ignore[no-untyped-def]
    """One event more, which opens nothing, is one failure more at each hazard and step."""
    more = redesigned("barrier_events.csv", "", "full moon,,,nothing\n")
    paths = len(ANSWER.ground_barriers) + 3
    assert more.failures_examined == ANSWER.failures_examined + paths
    assert more.independent_barriers == ANSWER.independent_barriers


# The tables -------------------------------------------------------------------------------------


def test_every_unknown_name_is_told_at_once(tmp_path: Path) -> None:
    for file in DATA.glob("barrier*.csv"):
        shutil.copy(file, tmp_path)
    for name, old, new in (
        ("barriers.csv", "radio heat motion,in sight,", "radio heat noise,in sight,"),
        ("barriers.csv", "last release,timer A", "last releas,timer A"),
        (
            "barrier_events.csv",
            "pressure,air transport,wake-up",
            "pressure,aircraft,wakeup",
        ),
        ("barrier_steps.csv", "ascent asleep,flight,yes,MS", "ascent asleep,fligt,yes,MX"),
        ("barrier_failures.csv", "welded or leaking,PA", "welded or leaking,PX"),
        ("barrier_failures.csv", ",charge of the battery", ",charging"),
    ):
        text = (tmp_path / name).read_text("utf-8")
        assert old in text
        (tmp_path / name).write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(ValueError, match="noise") as told:
        read_model(tmp_path)
    for wrong in ("MX", "fligt", "PX", "charging", "last releas,", "aircraft", "wakeup"):
        assert wrong in str(told.value)


def test_a_barrier_of_the_last_step_needs_its_delay(redesigned) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="no delay of KB"):
        redesigned("barriers.csv", "last release,timer B", "last release,")


def test_what_stands_at_the_last_step_are_the_timed_ones() -> None:
    last = path_of(MODEL, MODEL.steps[-1], "radio")
    assert last.barriers == {"TS", "KA", "KB", "KC"}
    assert frozenset({"KA"}) in barriers_left(last, 2)
