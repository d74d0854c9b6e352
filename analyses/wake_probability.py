"""How probable a false wake-up in the hold and a missed wake-up in the ascent are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics.failure_modes import (
    ACCELERATION,
    ASCENT,
    PRESSURE,
    SHAKEN,
    SHARED,
    Mode,
    may_sleep,
    may_wake,
    places,
    read_modes,
    sleeps,
    wakes,
)
from analyses.physics.voting import (
    Channel,
    Errors,
    failed_by,
    in_any,
    longest_ignored,
    run_of_errors,
    three_sensors,
    two_left,
    wrong_vote,
    wrong_votes_running,
)
from closeout import analysis
from closeout.math import minimum
from closeout.units import Unit, count, day, hour, per_hour, ratio, s

DATA = Path(__file__).parent / "data"

ByChannel = Annotated[Mapping[str, float], Unit("1")]


class WakeProbability(NamedTuple):
    """Probabilities of one hold and one ascent; each total is the sum of the lines above it."""

    samples_in_hold: count
    longest_ignored_event: s  # a shock or a gust that is shorter is never confirmed
    false_by_failed_sensors: ratio  # two pressure sensors, one after the other or by common cause
    false_by_wrong_readings: ratio  # with sound sensors, or one failed before
    false_by_shared_disturbance: ratio  # of both channels at once
    false_by_single_points: ratio  # outside the vote
    false_wake_probability: ratio
    missed_by_failed_sensors: ratio
    missed_by_wrong_readings: ratio
    missed_by_single_points: ratio
    missed_wake_probability: ratio
    false_after_one_failure: ByChannel  # one sensor failed to the side of waking: one of two
    missed_after_one_failure: ByChannel  # one sensor failed to the side of sleep: two of two


class Rates(NamedTuple):
    """What the table of failures says, summed: rates in 1/h, and chances per use.

    Of a sensor, what it does to its own vote; of what stands outside the vote, only what wakes the
    recorder, or keeps it asleep, by itself.
    """

    waking: Mapping[str, float]  # by pressure, acceleration and shared
    sleeping: Mapping[str, float]
    waking_per_use: ratio
    sleeping_per_use: ratio


@analysis(validated_by="tests/analyses/test_wake_probability.py")
def wake_probability(
    hold_duration: day,
    trigger_sampling_period: s,
    trigger_samples: count,
    failure_rate_factor: ratio,
    common_cause_share: ratio,
    reading_error: ratio,
    reading_error_persistence: ratio,
    disturbance_share: ratio,
    shaken_time: s,
    ascent_reading_error: ratio,
    ascent_sensor_failure: ratio,
) -> WakeProbability:
    """Bound the probability of a false wake-up over the hold, and of a missed one in the ascent.

    **Model.** Two kinds of trouble, kept apart. *Failures* come at a rate per hour and stay, since
    nothing is repaired in the hold: a sensor has failed by its end with q = 1 - exp(-rate time), to
    the side of waking or of sleep after its mode; a drifting one counts for both. *Wrong readings*
    come with a probability per sample and pass. A wake-up needs two of three in both channels. With
    one sensor latently failed the vote is one of two for waking, or two of two: each state has its
    own term. Common cause by the beta factor: a share b of the failures hits all three, vote
    ((1 - b) q) + b q. What stands outside the vote adds its own rate and its chance per use.

    **Samples.** They hang together. A wrong reading is followed by another with at most the
    declared persistence r, so a wrong vote is kept over n samples with at most stays^(n - 1), where
    stays is the vote of r; with r = 1, which is a stuck sensor, confirmation helps nothing. Over a
    hold the probabilities of all windows are added, which needs no independence between samples.

    **On the safe side.** The states are those at the end of the hold, present from its start. The
    accelerometers protect against failed pressure sensors not at all, because the recorder is
    shaken once for certain; for wrong readings it is shaken for shaken_time, and at rest else. A
    sensor that failed to the harmless side counts as sound. The common-cause terms and all lines
    are added, an upper bound of the probability of any. A wake-up counts as missed where one of the
    first n votes behind the threshold is wrong, though it then only comes later.

    **Assumptions.** Constant failure rates; the sensors of a channel alike, and independent but for
    the common cause. hold_duration counts from the last charge, longer than the recorder is armed.
    Rates, modes and circuit are invented (`analyses/data/wake_failures.csv`).

    **Sources.** Binomial distribution; two of three 3 q^2 - 2 q^3 and beta factor as in IEC
    61508-6, Annexes B and D (from memory); Boole's inequality.

    **Not covered.** Pressure on the ground that is itself low (ground_pressure, TRG-050); wake-up
    that is late by tolerances (pressure_threshold_timing); errors of people but for a cover that
    stays on; detection of failed sensors, which could only help; a common cause of both channels
    other than the elements of the table and a shared disturbance.

    **Caution.** A probability is no inhibit. A wake-up on the ground can power what is beside
    people; the launch authority sets the barriers, and unwanted_emission counts them.
    """
    rates = read_rates(DATA / "wake_failures.csv")
    hours = hours_of(hold_duration)
    in_hold = 86400.0 * hold_duration / trigger_sampling_period
    in_shaking = shaken_time / trigger_sampling_period
    share, persistence, n = common_cause_share, reading_error_persistence, trigger_samples

    def waking(kind: str) -> float:
        return failed_by(failure_rate_factor * rates.waking[kind], hours)

    def sleeping(kind: str) -> float:
        in_time = failed_by(failure_rate_factor * rates.sleeping[kind], hours)
        return in_time + ascent_sensor_failure

    runs = wrong_votes_running(reading_error, share, persistence, n)
    stuck_low, low_after = both_states(waking(PRESSURE), share)
    stuck_high, high_after = both_states(waking(ACCELERATION), share)
    disturbed = run_of_errors(disturbance_share * share * reading_error, persistence, n)
    disturbance = in_any(disturbed, in_hold)
    waking_points = waking(SHARED) + rates.waking_per_use

    def false(pressure: Channel, acceleration: Channel) -> float:
        readings = false_by_readings(pressure, acceleration, runs, in_hold, in_shaking)
        return minimum(pressure.two + readings + disturbance + waking_points, 1.0)

    late = wrong_vote(ascent_reading_error, share)
    blind, blind_after = both_states(sleeping(PRESSURE), share)
    numb, numb_after = both_states(sleeping(ACCELERATION), share)
    sleeping_points = (
        failed_by(failure_rate_factor * rates.sleeping[SHARED], hours) + rates.sleeping_per_use
    )

    def missed(pressure: Channel, acceleration: Channel) -> float:
        delayed = late_by_readings(pressure, late, n) + late_by_readings(acceleration, late, n)
        return minimum(pressure.two + acceleration.two + delayed + sleeping_points, 1.0)

    return WakeProbability(
        samples_in_hold=in_hold,
        longest_ignored_event=longest_ignored(trigger_sampling_period, n),
        false_by_failed_sensors=stuck_low.two,
        false_by_wrong_readings=false_by_readings(stuck_low, stuck_high, runs, in_hold, in_shaking),
        false_by_shared_disturbance=disturbance,
        false_by_single_points=waking_points,
        false_wake_probability=false(stuck_low, stuck_high),
        missed_by_failed_sensors=blind.two + numb.two,
        missed_by_wrong_readings=late_by_readings(blind, late, n) + late_by_readings(numb, late, n),
        missed_by_single_points=sleeping_points,
        missed_wake_probability=missed(blind, numb),
        false_after_one_failure={
            "pressure sensor": false(low_after, stuck_high),
            "accelerometer": false(stuck_low, high_after),
        },
        missed_after_one_failure={
            "pressure sensor": missed(blind_after, numb),
            "accelerometer": missed(blind, numb_after),
        },
    )


def hours_of(duration: day) -> hour:
    """Return a time in hours, as the rates of failures have it."""
    return 24.0 * duration


def both_states(q: ratio, share: ratio) -> tuple[Channel, Channel]:
    """Return a channel of three sound sensors, and the same where one has failed already."""
    return three_sensors(q, share), two_left(q, share)


def false_by_readings(
    pressure: Channel, acceleration: Channel, runs: Errors, in_hold: count, in_shaking: count
) -> ratio:
    """Return the probability that wrong readings wake the recorder, beside failed sensors.

    In each latent state of the two channels: while it is shaken the pressure channel errs alone; at
    rest both channels have to err in the same samples, or the accelerometers have failed.
    """
    states = ((pressure.none, runs.sound), (pressure.one, runs.after_one))
    total = acceleration.two * 0.0
    for probability, run in states:
        at_rest = (
            acceleration.none * in_any(run * runs.sound, in_hold)
            + acceleration.one * in_any(run * runs.after_one, in_hold)
            + acceleration.two * in_any(run, in_hold)
        )
        total = total + probability * (in_any(run, in_shaking) + at_rest)
    return total


def late_by_readings(channel: Channel, wrong: Errors, samples: count) -> ratio:
    """Return the probability that one of the first votes of a channel is wrong in the ascent.

    The sum over the samples, which is an upper bound however they hang together.
    """
    return samples * (channel.none * wrong.sound + channel.one * wrong.after_one)


def read_rates(path: Path) -> Rates:
    """Return the sums of the table of failures."""
    modes = read_modes(path)
    waking = [mode for mode in modes if _counts(mode, may_wake, wakes_alone)]
    sleeping = [mode for mode in modes if _counts(mode, may_sleep, sleeps_alone)]
    return Rates(
        {kind: _rate(waking, kind) for kind in (PRESSURE, ACCELERATION, SHARED)},
        {kind: _rate(sleeping, kind) for kind in (PRESSURE, ACCELERATION, SHARED)},
        sum(mode.per_use for mode in waking),
        sum(mode.per_use for mode in sleeping),
    )


def wakes_alone(mode: Mode) -> bool:
    """Say whether one failure in this mode wakes the recorder on the ground while it is shaken."""
    return wakes(places([mode])[:1], SHAKEN)


def sleeps_alone(mode: Mode) -> bool:
    """Say whether one failure in this mode keeps the recorder asleep in the ascent."""
    return sleeps(places([mode])[:1], ASCENT)


def _counts(mode: Mode, sensor: Callable[[Mode], bool], shared: Callable[[Mode], bool]) -> bool:
    return shared(mode) if mode.group == SHARED else sensor(mode)


def _rate(modes: list[Mode], kind: str) -> per_hour:
    return sum(mode.rate_per_h for mode in modes if mode.group == kind)
