"""What a memory holds and what instruments write: closed forms.

Volumes in GB (1 GB is 1e9 byte, 8e9 bit) unless a name says GiB (2^30 byte); data rates in Mbit/s
(1e6 bit/s); times in s.
"""

from __future__ import annotations

from closeout.math import maximum, minimum
from closeout.units import GB, GiB, Mbit_s, bit, count, kHz, ratio, s

GB_PER_GIB = 2.0**30 / 1e9  # IEC 80000-13: 1.073741824
MBIT_PER_GB = 8000.0


def net_volume(
    chips: count,
    parity_chips: count,
    chip_capacity_gib: GiB,
    bad_block_share: ratio,
    file_system_overhead: ratio,
) -> GB:
    """Return what files can fill, in GB.

    Of n chips p hold parity, so that p may fail as a whole (an erasure code that meets the
    Singleton bound leaves n - p of n). A stripe takes one good block of each chip, so the share of
    bad blocks is that of the chip that has most.
    """
    raw = (chips - parity_chips) * chip_capacity_gib * GB_PER_GIB
    return raw * (1.0 - bad_block_share) * (1.0 - file_system_overhead)


def sampled_rate(
    channels: count, sampling_rate_khz: kHz, sample_bits: bit, compression: ratio
) -> Mbit_s:
    """Return the data rate in Mbit/s of sampled channels; compression is volume left to volume."""
    return 1e-3 * channels * sampling_rate_khz * sample_bits * compression


def volume_of(rate: Mbit_s, duration: s) -> GB:
    """Return the volume in GB of a data rate in Mbit/s over a time in s."""
    return rate * duration / MBIT_PER_GB


def time_to_fill(volume: GB, rate: Mbit_s) -> s:
    """Return how long a volume in GB takes a data rate in Mbit/s, in s."""
    return volume * MBIT_PER_GB / rate


def time_until_spent(store: float, rate: float, later_rate: float, change: s) -> s:
    """Return when a store is spent, in s, where the rate changes once.

    Store in any unit, rates in that unit per s, the change in s after the begin. It serves a memory
    in Mbit and a battery in J alike.
    """
    first = minimum(store / rate, change)
    return first + maximum(store - rate * first, 0.0) / later_rate
