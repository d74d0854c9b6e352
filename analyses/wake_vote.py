"""What failed sensors and single points do to the wake-up: woken on the ground, or kept asleep."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics.failure_modes import (
    ASCENT,
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
from closeout import analysis
from closeout.math import where
from closeout.units import Unit, count, g0, kPa

DATA = Path(__file__).parent / "data"

Count = Annotated[Mapping[str, float], Unit("count")]

AT_REST_ACCELERATION = 1.0  # g0, along the launcher's axis, which stands upright


class WakeVote(NamedTuple):
    """Each number of failures is the fewest, and each failure is in its worst mode."""

    sensor_failures_to_wake: Count  # on the ground
    sensor_failures_to_sleep: count  # in the ascent
    wake_after_sensor_failure: Count  # further ones, on the ground and shaken, by first failure
    sleep_after_sensor_failure: Count  # further ones, in the ascent, by first failure
    wake_after_shared_failure: Count  # the same, after a failure outside the vote; 0: it wakes it
    sleep_after_shared_failure: Count  # 0: it keeps it asleep by itself
    waking_singles: Count  # failures that wake it on the ground and shaken
    sleeping_singles: Count  # failures that keep it asleep in the ascent
    waking_pairs: Count
    sleeping_pairs: Count
    singles_examined: Count
    pairs_examined: Count


@analysis(validated_by="tests/analyses/test_wake_vote.py")
def wake_vote(
    ambient_pressure: kPa,
    pressure_threshold: kPa,
    pressure_sensor_error: kPa,
    acceleration_threshold: g0,
    accelerometer_error: g0,
) -> WakeVote:
    """Count the failures that wake the recorder on the ground or keep it asleep in the ascent.

    **Model.** Three pressure sensors and three accelerometers; the recorder is awake when two of
    three say low pressure and two of three say acceleration, in the same samples. What sound
    sensors say on the ground follows from ambient pressure, thresholds and errors. Every failure of
    `analyses/data/wake_failures.csv` (stuck high, stuck low, silent, drifting; and what stands
    outside the vote: port, supplies, bus, clock, processor, software, latch-up, wake-up line) and
    every pair at two places is put in, and the vote is taken. A silent sensor is a vote for sleep,
    so with it two of three is two of two; with a sensor stuck on the side of waking it is one of
    two, for the rest of the hold, since nothing repairs it. A drifting sensor votes as is worst at
    each sample. A failure lasts, so it passes every confirmation: samples do not enter.

    **Answer.** No failure of one sensor wakes the recorder on the ground, shaken or not, and none
    keeps it asleep. At rest it takes two sensors of each kind to wake it. Outside the vote there
    are single points of both kinds; they are listed by name with 0, and their probability is
    wake_probability's.

    **Assumptions.** On the ground the recorder is either at rest, upright, or shaken above its
    threshold in each sample, as long as it takes. In the ascent sound sensors vote for waking. The
    numbers after a first failure, of singles and of pairs are those for sound pressure sensors that
    say high pressure. Two failures of one sensor, or a sensor that failed behind a failed supply,
    count as the worse one: on the safe side. The vote is monotone (a vote more for waking never
    brings sleep), so the worst constant vote of a drifting sensor is the worst of its histories.

    **Sources.** Vote by k of n: any text on reliability; effects from modes as in a failure modes
    and effects analysis (IEC 60812, from memory). Elements, modes and circuit are invented.

    **Not covered.** The delay that a sensor within its tolerance makes (pressure_threshold_timing).
    A cabin that loses its pressure: sound sensors alone wake a shaken recorder there (put in its
    pressure, and it takes 0 failures), only the arming plug helps (TRG-050). Failures of three
    elements but for sensors. A failure that is not in the table.

    **Caution.** That the recorder sleeps is no inhibit for people: a single failure outside the
    vote can wake it. What stands between an awake recorder and people is unwanted_emission's; the
    launch authority sets how many inhibits there are.
    """
    modes = read_modes(DATA / "wake_failures.csv")
    sensors = [mode for mode in modes if mode.group != SHARED]
    shared = [mode for mode in modes if mode.group == SHARED]

    def to_wake(mode: Mode) -> int:
        return further_to_wake(places([mode])[:1], sensors, SHAKEN)

    def to_sleep(mode: Mode) -> int:
        return further_to_sleep(places([mode])[:1], sensors, ASCENT)

    def fewest(shaken: bool) -> float:
        """Return the fewest failures that wake it where sound accelerometers vote for it or not."""
        high, low = (further_to_wake((), sensors, Situation(p, shaken)) for p in (False, True))
        return where(ambient_pressure + pressure_sensor_error < pressure_threshold, low, high)

    moving = AT_REST_ACCELERATION + accelerometer_error > acceleration_threshold
    singles = [(failure,) for failure in places(modes)]
    doubles = pairs(places(modes))
    return WakeVote(
        sensor_failures_to_wake={
            "at rest": where(moving, fewest(True), fewest(False)),
            "shaken": fewest(True),
        },
        sensor_failures_to_sleep=further_to_sleep((), sensors, ASCENT),
        wake_after_sensor_failure=by_mode(sensors, to_wake),
        sleep_after_sensor_failure=by_mode(sensors, to_sleep),
        wake_after_shared_failure=by_mode(shared, to_wake),
        sleep_after_shared_failure=by_mode(shared, to_sleep),
        waking_singles=by_kind(singles, lambda failures: wakes(failures, SHAKEN)),
        sleeping_singles=by_kind(singles, lambda failures: sleeps(failures, ASCENT)),
        waking_pairs=by_kind(doubles, lambda failures: wakes(failures, SHAKEN)),
        sleeping_pairs=by_kind(doubles, lambda failures: sleeps(failures, ASCENT)),
        singles_examined=by_kind(singles, lambda _: True),
        pairs_examined=by_kind(doubles, lambda _: True),
    )


def by_mode(modes: Iterable[Mode], number: Callable[[Mode], int]) -> dict[str, float]:
    """Return a number for each mode, by the element's name and the mode's."""
    return {f"{mode.element} {mode.name}": number(mode) for mode in modes}


def by_kind(
    failures: Iterable[Sequence[Failure]], counts: Callable[[Sequence[Failure]], bool]
) -> dict[str, float]:
    """Count sets of failures: those of sensors alone, and those with one outside the vote."""
    found = {"sensors": 0.0, "outside the vote": 0.0}
    for one in failures:
        if counts(one):
            outside = any(failure.mode.group == SHARED for failure in one)
            found["outside the vote" if outside else "sensors"] += 1.0
    return found
