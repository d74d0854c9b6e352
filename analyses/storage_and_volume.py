"""Whether the recorder's memory holds what its instruments write, and how long pictures take."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, NamedTuple

from analyses.physics.dvbs2 import read_modes
from analyses.physics.stations import read_stations
from analyses.physics.storage import (
    MBIT_PER_GB,
    net_volume,
    sampled_rate,
    time_to_fill,
    volume_of,
)
from closeout import analysis
from closeout.math import maximum
from closeout.units import GB, GiB, Mbit_s, Msymbol_s, Unit, bit, count, kB, kbit_s, kHz, ratio, s

DATA = Path(__file__).parent / "data"


class StorageAndVolume(NamedTuple):
    """In GB of 1e9 byte; data_volume is the sum of the four before it."""

    storage_volume: GB  # that files can fill
    camera_data: GB  # of the cameras until they are switched off
    stuck_data: GB  # of those that go on until the last transmission, after that
    vibration_data: GB
    housekeeping_data: GB
    data_volume: GB
    storage_left: GB
    readout_time: s  # of all priority pictures from the memory
    round_time: Annotated[Mapping[str, float], Unit("s")]  # to send each of them once


@analysis(validated_by="tests/analyses/test_storage_and_volume.py")
def storage_and_volume(
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
    camera_stop_delay: s,
    transmit_stop_delay: s,
    satellites: count,
    pictures_per_release: count,
    picture_size: kB,
    picture_overhead: ratio,
    memory_read_rate: Mbit_s,
    symbol_rate: Msymbol_s,
) -> StorageAndVolume:
    """Volume of the memory against what is written into it, and the time of one round of pictures.

    **Model.** The memory is what its chips hold, less the parity that lets chips fail, less bad
    blocks, less the share of the file system (`analyses/physics/storage.py`). A capacity in GiB
    (2^30 byte) is not one in GB (1e9 byte): 7.4 % lie between them, as IEC 80000-13 says. Written
    are the pictures of each camera from wake-up to its switch-off, of a camera that is stuck in
    recording until the last transmission, the vibration data with the cameras, and housekeeping all
    the time. A round of pictures is one transfer of each priority picture: as slow as the memory or
    the link, whichever is slower, in the planned DVB-S2 mode of each station (ETSI EN 302 307-1,
    Table 13).

    **On the safe side.** Cameras are counted from wake-up, though they start later. What is written
    twice is not counted as deleted. The picture is at the limit of its size.

    **Assumptions.** Bit rates are means: an encoder keeps its mean over a minute, and the memory's
    buffer takes the rest. A chip's own error correction sits in its spare area, outside its stated
    capacity. A stuck camera keeps its bit rate.

    **Not covered.** Bits that flip faster than the correction repairs them, write amplification and
    wear, a reset, which keeps the cameras on for a restart more (0.05 GB; `mission_sequence` counts
    it in storage_spare), a file system that is torn by a reset in mid-write, a chip that fails as a
    whole (the parity is for that, and the volume does not shrink); lost pictures that are sent
    again and the order of sending, which downlink analyses treat.
    """
    volume = net_volume(
        memory_chips, parity_chips, chip_capacity, bad_block_share, file_system_overhead
    )
    vibration = sampled_rate(
        vibration_channels, vibration_sampling_rate, vibration_sample_size, vibration_compression
    )
    longer = maximum(transmit_stop_delay - camera_stop_delay, 0.0)
    camera_data = volume_of(cameras * camera_bit_rate, camera_stop_delay)
    stuck_data = volume_of(stuck_cameras * camera_bit_rate, longer)
    vibration_data = volume_of(vibration, camera_stop_delay)
    housekeeping_data = volume_of(1e-3 * housekeeping_rate, transmit_stop_delay)
    written = camera_data + stuck_data + vibration_data + housekeeping_data
    pictures = 1e-6 * satellites * pictures_per_release * picture_size  # GB
    readout = time_to_fill(pictures, memory_read_rate)
    modes = read_modes(DATA / "dvbs2_modes.csv")
    sent = time_to_send(pictures, picture_overhead, symbol_rate)
    return StorageAndVolume(
        storage_volume=volume,
        camera_data=camera_data,
        stuck_data=stuck_data,
        vibration_data=vibration_data,
        housekeeping_data=housekeeping_data,
        data_volume=written,
        storage_left=volume - written,
        readout_time=readout,
        round_time={
            name: maximum(readout, sent / modes[station.mode].spectral_efficiency)
            for name, station in read_stations(DATA / "stations.csv").items()
        },
    )


def time_to_send(volume: GB, overhead: ratio, symbol_rate: Msymbol_s) -> s:
    """Return how long the link takes for a volume with its overhead, at 1 bit a symbol."""
    return volume * MBIT_PER_GB * overhead / symbol_rate
