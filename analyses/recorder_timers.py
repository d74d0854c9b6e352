"""How long the recorder's timers run, what they wait for, and how far they may shift."""

from __future__ import annotations

from typing import NamedTuple

from closeout import analysis
from closeout.math import maximum
from closeout.units import count, hour, minute, ppm, ratio, s


class RecorderTimers(NamedTuple):
    active_phase: minute  # from wake-up to the last transmission
    transmitter_delay: s  # from the last release until the transmitter may start


class TimeOfUse(NamedTuple):
    time_of_use: hour  # from lift-off to the last transmission


class ModeGuard(NamedTuple):
    passes_shift: s  # by how much the modes come later than the passes that they are planned for
    mode_guard_spare: s  # what the guard has left, whichever way they shift


@analysis(validated_by="tests/analyses/test_recorder_timers.py")
def recorder_timers(
    computer_resets: count,
    computer_restart_time: s,
    timer_error: ppm,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    first_release_time: s,
    release_interval: s,
    satellites: count,
) -> RecorderTimers:
    """Compute the length of the active phase, and the least wait of the transmitter.

    **Model.** Cameras and transmitter go by timers that count from wake-up on the recorder's clock
    and stand still in a restart. The active phase ends with the last transmission. The wait is the
    time from the last release to the start of the transmitter for a wake-up at lift-off.

    **On the safe side.** The vote wakes the recorder in the ascent (`pressure_threshold_timing`),
    so half a minute or more after lift-off; each second of it makes the wait longer. So the wait
    rests on no trajectory and on no search. A restart makes it longer too and is not counted in it.

    **Sources.** Sums of times. The clock's error is the relative error of its rate.

    **Not covered.** A wake-up in error on the ground, a failed processor or its software: with them
    this timer is gone, and `unwanted_emission` counts what is left.

    **Caution.** A timer is no inhibit for people; the launch authority decides what counts as one.
    Radiate only under a licence and inside the keep-out distance.
    """
    clock = clock_factor(timer_error)
    last_release = first_release_time + (satellites - 1.0) * release_interval
    running = transmit_stop_delay * clock + computer_resets * computer_restart_time
    return RecorderTimers(
        active_phase=running / 60.0,
        transmitter_delay=transmit_start_delay * clock - last_release,
    )


@analysis(validated_by="tests/analyses/test_recorder_timers.py")
def time_of_use(
    wake_time: s,
    wake_up_delay: s,
    computer_resets: count,
    computer_restart_time: s,
    timer_error: ppm,
    transmit_stop_delay: s,
) -> TimeOfUse:
    """Compute how long after lift-off the recorder is in use.

    **Model.** From the wake-up, in the ascent or later than planned, to the last transmission by
    the timer of `recorder_timers`.

    **On the safe side.** Counted from lift-off, since cells and housing begin to leave the
    conditioned temperature there.

    **Sources.** Sums of times.

    **Not covered.** The coast down to burn-up, in which the recorder sends nothing; more than the
    declared restarts.
    """
    running = transmit_stop_delay * clock_factor(timer_error)
    restarts = computer_resets * computer_restart_time
    return TimeOfUse((wake_time + wake_up_delay + restarts + running) / 3600.0)


@analysis(validated_by="tests/analyses/test_recorder_timers.py")
def mode_guard(
    wake_time: s,
    wake_up_delay: s,
    computer_resets: count,
    computer_restart_time: s,
    timer_error: ppm,
    transmit_stop_delay: s,
    first_release_time: s,
    planned_wake_time: s,
    planned_release_time: s,
    mode_guard_time: s,
) -> ModeGuard:
    """Compute by how much the planned modes shift against the passes, and what the guard leaves.

    **Model.** The modulator goes through the planned modes on the recorder's clock, from the
    wake-up. It is late by a wake-up that is later than planned and by restarts, and by a slow clock
    over the whole of the sending. The passes move with the orbit, and so with the release: a later
    release brings later passes. The difference of the two is the shift; the guard keeps a mode by
    as much before the rise of a station and after its set.

    **On the safe side.** The clock's error is counted over the time to the last transmission, as
    for the last pass. Ascent and release are taken as independent.

    **Sources.** Sums of times.

    **Not covered.** Errors of height and speed of the orbit, which move rise and set by some
    seconds each (`station_windows`); a plan for another lift-off time.
    """
    late = wake_time + wake_up_delay - planned_wake_time + computer_resets * computer_restart_time
    drift = 1e-6 * timer_error * transmit_stop_delay
    shift = late + drift - (first_release_time - planned_release_time)
    return ModeGuard(shift, mode_guard_time - maximum(shift, -shift))


def clock_factor(error: ppm) -> ratio:
    """Return how much longer the recorder's clock takes for a time, from the error of its rate."""
    return 1.0 + 1e-6 * error
