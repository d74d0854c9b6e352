"""How long the recorder's timers run, and how long after the last release they wait to transmit."""

from __future__ import annotations

from typing import NamedTuple

from analyses.mission_sequence import SATELLITES
from closeout import analysis
from closeout.units import count, minute, ppm, s


class RecorderTimers(NamedTuple):
    active_phase: minute  # from wake-up to the last transmission
    transmitter_delay: s  # from the last release until the transmitter may start


@analysis(validated_by="tests/analyses/test_recorder_timers.py")
def recorder_timers(
    computer_resets: count,
    computer_restart_time: s,
    timer_error: ppm,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    first_release_time: s,
    release_interval: s,
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
    clock = 1.0 + 1e-6 * timer_error
    last_release = first_release_time + (len(SATELLITES) - 1) * release_interval
    running = transmit_stop_delay * clock + computer_resets * computer_restart_time
    return RecorderTimers(
        active_phase=running / 60.0,
        transmitter_delay=transmit_start_delay * clock - last_release,
    )
