"""What happens when, from lift-off to the last transmission, and what the cameras have of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, NamedTuple

from analyses.physics.storage import (
    MBIT_PER_GB,
    net_volume,
    sampled_rate,
    time_until_spent,
)
from analyses.recorder_timers import clock_factor
from closeout import analysis
from closeout.math import minimum
from closeout.units import (
    GiB,
    Mbit_s,
    Unit,
    W,
    W_h,
    bit,
    count,
    kbit_s,
    kHz,
    ppm,
    ratio,
    s,
)

# The fairing has a time of its own; the satellites above the kick stage follow at one interval.
FAIRING = "fairing"
SATELLITES = ("Satellite A", "Satellite B", "Satellite C")

Seconds = Annotated[Mapping[str, float], Unit("s")]


class MissionSequence(NamedTuple):
    """Events by name, in s after lift-off; their extremes over the tolerances are the earliest and
    the latest times.
    """

    event_time: Seconds
    recorded_before: Seconds  # from when all cameras record until each release
    recorded_after: Seconds  # from each release until the first camera stops
    storage_spare: s  # from the last transmission until the memory is full, a camera being stuck
    battery_spare: s  # from the last transmission until the battery is empty


@analysis(validated_by="tests/analyses/test_mission_sequence.py")
def mission_sequence(
    wake_time: s,
    wake_up_delay: s,
    computer_resets: count,
    computer_restart_time: s,
    camera_start_time: s,
    timer_error: ppm,
    camera_stop_delay: s,
    transmit_start_delay: s,
    transmit_stop_delay: s,
    fairing_release_time: s,
    first_release_time: s,
    release_interval: s,
    memory_chips: count,
    parity_chips: count,
    chip_capacity: GiB,
    bad_block_share: ratio,
    file_system_overhead: ratio,
    cameras: count,
    stuck_cameras: count,
    camera_bit_rate: Mbit_s,
    vibration_channels: count,
    vibration_sampling_rate: kHz,
    vibration_sample_size: bit,
    vibration_compression: ratio,
    housekeeping_rate: kbit_s,
    guaranteed_energy: W_h,
    recording_power: W,
    downlink_power: W,
    stuck_camera_power: W,
) -> MissionSequence:
    """Times of the events, and how long each camera records before and after each release.

    **Model.** The recorder wakes up by its vote, or later than that; a reset of its computer adds
    one restart; the cameras record after their start, the last of them being meant for each. The
    launcher sends no command: cameras off, transmitter on and last transmission come by timers that
    count from wake-up on the recorder's clock and stand still in a restart. The loops that the last
    release opens, and the timer that an aneroid switch starts in the ascent, hold the transmitter
    off for a while (`unwanted_emission`); they start nothing, and have let go before the earliest
    start of the transmitter. The launcher's events come on its own clock. The cameras end by their
    timer, when the memory is full or when the battery is empty, whichever is first. The memory
    fills at the rate of all instruments until the cameras go off and at that of stuck cameras and
    housekeeping after that;
    the battery empties at one power until then and another after it. All are closed forms
    (`analyses/physics/storage.py`), and sums of times.

    **On the safe side.** Memory and battery are counted from the wake-up on. A stuck camera goes on
    writing and taking power until the last transmission. The energy at wake-up is what the pad hold
    must leave, at the terminals. A reset may come at any moment: it delays the start of the cameras
    and each timer, and a camera that records goes on through it (its switch holds).

    **Earliest and latest.** Each time is computed at given values; over the declared ranges of
    wake-up, late wake-up, reset, releases and clock the tool gives its lowest and highest value.
    The same wake-up moves start and timers together, so their differences are narrower than those
    of the extremes.

    **Assumptions.** The releases follow each other at one interval. Times of the launcher do not
    hang on the ascent that moved the wake-up, which is on the safe side.

    **Not covered.** A slip after arming and a stay on the pad (the recorder is asleep; its energy
    is the pad hold's); an engine cut off after ignition on the pad, where pressure keeps the vote
    asleep; a flight that fails after the wake-up, which ends the mission. A wake-up on the ground:
    the vote's analyses. Whether light and field of view show the release. More than one reset.
    """
    wake = wake_time + wake_up_delay
    restart = computer_resets * computer_restart_time
    clock = clock_factor(timer_error)
    camera_stop = wake + camera_stop_delay * clock + restart
    transmit_stop = wake + transmit_stop_delay * clock + restart
    releases = {FAIRING: fairing_release_time} | {
        name: first_release_time + place * release_interval for place, name in enumerate(SATELLITES)
    }
    volume = MBIT_PER_GB * net_volume(
        memory_chips, parity_chips, chip_capacity, bad_block_share, file_system_overhead
    )  # Mbit
    housekeeping = 1e-3 * housekeeping_rate
    vibration = sampled_rate(
        vibration_channels, vibration_sampling_rate, vibration_sample_size, vibration_compression
    )
    recording = camera_stop - wake
    storage_full = wake + time_until_spent(
        volume,
        cameras * camera_bit_rate + vibration + housekeeping,
        stuck_cameras * camera_bit_rate + housekeeping,
        recording,
    )
    battery_empty = wake + time_until_spent(
        3600.0 * guaranteed_energy,  # J
        recording_power,
        downlink_power + stuck_cameras * stuck_camera_power,
        recording,
    )
    events = {
        "wake-up": wake,
        "cameras on": wake + restart + camera_start_time,
        **releases,
        "cameras off": camera_stop,
        "transmitter on": wake + transmit_start_delay * clock + restart,
        "last transmission": transmit_stop,
        "storage full": storage_full,
        "battery empty": battery_empty,
    }
    last_frame = minimum(minimum(camera_stop, storage_full), battery_empty)
    return MissionSequence(
        event_time=events,
        recorded_before={n: time - events["cameras on"] for n, time in releases.items()},
        recorded_after={n: last_frame - time for n, time in releases.items()},
        storage_spare=storage_full - transmit_stop,
        battery_spare=battery_empty - transmit_stop,
    )
