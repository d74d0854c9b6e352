"""Levels of unwanted emission: field of a transmitter, sums, bandwidths, masks, occupied bandwidth.

dBuV/m and dBuA are levels of an amplitude: 20 log. dBW is a level of a power: 10 log. Frequencies
of emission in MHz, distances in m.
"""

from __future__ import annotations

from collections.abc import Sequence

from closeout.math import cos, exp, log, log10, pi
from closeout.units import MHz, Msymbol_s, dB, dBuV_per_m, dBW, m, ratio

SPEED_OF_LIGHT = 299.792458  # m MHz, exact (SI)
FIELD_OF_ONE_WATT = 134.771213  # dBuV/m at 1 m: 20 log10(sqrt(30) 1e6), ITU-R P.525 with 120 pi ohm

# A reading with one detector, against a limit for another: peak is never below quasi-peak, which is
# never below average (CISPR 16-1-1), so a stronger detector's reading is on the safe side.
STRENGTH = {"average": 0, "quasi-peak": 1, "peak": 2}
# Growth with the bandwidth ratio: a line none, noise as power, pulses as amplitude.
GROWTH = {"line": 0.0, "noise": 10.0, "pulses": 20.0}


def field_of_eirp(eirp: dBW, distance: m) -> dBuV_per_m:
    """Return the field strength in dBuV/m of an EIRP in dBW at a distance in m, free space.

    E = sqrt(30 P) / d, the rms field in the far field (ITU-R P.525).
    """
    return FIELD_OF_ONE_WATT + eirp - 20.0 * log10(distance)


def at_distance(field: float, measured: m, wanted: m) -> float:
    """Return a field strength at another distance, 20 dB a decade: far field only."""
    return field - 20.0 * log10(wanted / measured)


def near_field_end(frequency: MHz) -> m:
    """Return the distance in m at which the near field of a small source ends: lambda/(2 pi)."""
    return SPEED_OF_LIGHT / (2.0 * pi * frequency)


def amplitude_sum(levels: Sequence[float]) -> float:
    """Return the sum of amplitudes that come in phase, in dB: 20 log sum 10^(L/20).

    The upper bound of emitters at one frequency: two equal ones give 6.02 dB more.
    """
    total = sum((exp(level * (log(10.0) / 20.0)) for level in levels), 0.0)
    return 20.0 * log10(total)


def power_sum(levels: Sequence[float]) -> float:
    """Return the sum of powers of emitters that know nothing of each other: 10 log sum 10^(L/10).

    Two equal ones give 3.01 dB more. The mean of what is seen, no bound.
    """
    total = sum((exp(level * (log(10.0) / 10.0)) for level in levels), 0.0)
    return 10.0 * log10(total)


def bandwidth_rise(measured: float, wanted: float, character: str) -> dB:
    """Return what a reading rises by in a wider bandwidth, in dB; none in a narrower one.

    `character` is line (0), noise (10 log of the ratio) or pulses (20 log). A reading in a wider
    bandwidth than the limit's is taken as it stands, on the safe side.

    Raises:
        ValueError: the character is not one of the three.
    """
    if character not in GROWTH:
        raise ValueError(f"{character!r} is no character of an emission: {', '.join(GROWTH)}")
    return max(GROWTH[character] * log10(wanted / measured), 0.0)


def limit_at(frequency: MHz, low: tuple[float, float], high: tuple[float, float]) -> float:
    """Return a limit in dB between two points (MHz, dB): straight over the log of the frequency."""
    share = log(frequency / low[0]) / log(high[0] / low[0])
    return low[1] + (high[1] - low[1]) * share


def shaped_bandwidth(symbol_rate: Msymbol_s, roll_off: ratio) -> MHz:
    """Return the width outside of which a raised-cosine spectrum has nothing: (1 + a) Rs.

    It holds more than the 99 % of the power that define the occupied bandwidth (ITU Radio
    Regulations 1.153), so it is an upper bound of that.
    """
    return symbol_rate * (1.0 + roll_off)


def raised_cosine(offset: MHz, symbol_rate: Msymbol_s, roll_off: ratio) -> ratio:
    """Return the density of a raised-cosine spectrum at an offset, 1 in the middle.

    1 up to (1 - a) Rs/2, 1/2 (1 + cos(pi/(a Rs) (|f| - (1 - a) Rs/2))) up to (1 + a) Rs/2, then 0;
    any text on digital communication. For numbers alone.
    """
    distance = abs(offset) - (1.0 - roll_off) * symbol_rate / 2.0
    if distance <= 0.0:
        return 1.0
    if distance >= roll_off * symbol_rate:
        return 0.0
    return 0.5 * (1.0 + cos(pi * distance / (roll_off * symbol_rate)))
