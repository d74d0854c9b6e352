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
from analyses.unwanted_emission import DATA, UnwantedEmission, unwanted_emission

# Of the demonstration mission, invented.
DELAYS = {"software_transmit_delay": 70.0, "timer_a_delay": 78.0, "timer_b_delay": 74.0}
ANSWER = unwanted_emission(**DELAYS)
MODEL = read_model(DATA)


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
    steps = [step.name for step in MODEL.steps if step.phase == "ground"]
    cases = {f"{hazard}, {step}" for hazard in ("radio", "heat", "motion") for step in steps}
    assert set(ANSWER.independent_barriers) == cases
    assert "hold on the pad" in ANSWER.independent_radio_barriers
    assert "after the last release" in ANSWER.independent_radio_barriers


def test_hold_on_the_pad_by_hand() -> None:
    """Plug in: main switch, switch of the software and two timers. One cause reaches the first two
    (processor, software, supply, harness), so four barriers are three.
    """
    case = "radio, hold on the pad"
    assert ANSWER.ground_barriers[case] == 4
    assert ANSWER.independent_barriers[case] == 3
    assert ANSWER.ground_left_after_one[case] == 2
    assert ANSWER.ground_left_after_two[case] == 1


@pytest.mark.parametrize(
    "element", ["processor", "software", "common supply of the switch drivers", "harness"]
)
def test_what_is_shared_counts_as_one_cause(element: str) -> None:
    taken = max(
        (failure.takes_away for failure in MODEL.failures if failure.name.startswith(element)),
        key=len,
    )
    assert taken >= {"MS", "TS", "HS", "CS"}


def test_silence_by_hand() -> None:
    """With two of three failed the third alone ends the silence: the shortest of the three."""
    assert ANSWER.silence_after_release == 70.0
    assert unwanted_emission(70.0, 65.0, 74.0).silence_after_release == 65.0
    assert unwanted_emission(90.0, 78.0, 74.0).silence_after_release == 74.0


@pytest.mark.parametrize("name", DELAYS)
def test_a_shorter_delay_never_lengthens_the_silence(name: str) -> None:
    shorter = unwanted_emission(**{**DELAYS, name: 50.0})
    assert shorter.silence_after_release == 50.0


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
    worse = redesigned("barrier_failures.csv", "", "timers,fault of their design,KA KB,\n")
    assert worse.independent_barriers["radio, hold on the pad"] == 2
    assert worse.releasing_pairs > 0
    assert worse.silence_after_release == 0.0


def test_software_on_the_loop_of_a_timer_would_lose_the_silence(redesigned) -> None:  # type: ignore[no-untyped-def]
    """Then one open loop starts both; with the other timer that is two failures."""
    worse = redesigned("barrier_failures.csv", "loop A,opens too early,KA", "loop A,opens,KA TS")
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


@pytest.mark.parametrize("barrier", ["KA", "KB", "PA", "PB"])
def test_a_barrier_that_nobody_can_see_counts_as_none(barrier: str, redesigned) -> None:  # type: ignore[no-untyped-def]
    lines = (DATA / "barriers.csv").read_text("utf-8").splitlines()
    old = next(line for line in lines if line.startswith(barrier + ","))
    worse = redesigned("barriers.csv", old, old.replace("test connector", ""))
    hazard = "radio" if barrier.startswith("K") else "heat"
    assert worse.independent_barriers[f"{hazard}, hold on the pad"] == 2


def test_an_unpressurised_hold_is_one_failure_of_both_aneroids(redesigned) -> None:  # type: ignore[no-untyped-def]
    safer = redesigned(
        "barrier_failures.csv", "cabin,pressure lost or hold not pressurised,PA PB", "cabin,none,"
    )
    case = "motion, air transport"
    assert ANSWER.independent_barriers[case] < safer.independent_barriers[case]


def test_a_single_cause_of_all_is_told(redesigned) -> None:  # type: ignore[no-untyped-def]
    worse = redesigned("barrier_failures.csv", "", "flood,water in the bay,MS TS KA KB,\n")
    assert worse.releasing_failures > 0
    assert min(worse.independent_barriers.values()) == 1
    assert worse.ground_left_after_one["radio, hold on the pad"] == 0


# The tables -------------------------------------------------------------------------------------


def test_every_unknown_name_is_told_at_once(tmp_path: Path) -> None:
    for file in DATA.glob("barrier*.csv"):
        shutil.copy(file, tmp_path)
    for name, old, new in (
        ("barriers.csv", "radio heat motion,in sight,", "radio heat noise,in sight,"),
        ("barrier_steps.csv", "ascent asleep,flight,yes,MS", "ascent asleep,fligt,yes,MX"),
        ("barrier_failures.csv", "welded or leaking,PA", "welded or leaking,PX"),
        ("barrier_failures.csv", ",charge of the battery", ",charging"),
    ):
        text = (tmp_path / name).read_text("utf-8")
        assert old in text
        (tmp_path / name).write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(ValueError, match="noise") as told:
        read_model(tmp_path)
    for wrong in ("MX", "fligt", "PX", "charging"):
        assert wrong in str(told.value)


def test_a_barrier_of_the_last_step_needs_its_delay(redesigned) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="no delay of KB"):
        redesigned("barriers.csv", "timer_b_delay", "")


def test_what_stands_at_the_last_step_are_the_timed_ones() -> None:
    last = path_of(MODEL, MODEL.steps[-1], "radio")
    assert last.barriers == {"TS", "KA", "KB"}
    assert frozenset({"KA"}) in barriers_left(last, 2)
