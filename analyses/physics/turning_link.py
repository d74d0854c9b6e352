"""When a station hears an antenna on a body that spins, along a pass.

Times in s, angles in rad. The spin angle at time zero is unknown; everything here is prepared for
one axis and one rate, so that a start angle costs two look-ups for each turn.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import accumulate
from math import ceil, floor, pi
from typing import Annotated, NamedTuple

from analyses.physics.frames import Vector
from analyses.physics.spin import Axes, direction_in, half_turn
from closeout.units import Unit, rad, s

rad_per_s = Annotated[float, Unit("rad/s")]

TURN = 2.0 * pi


class Moments(NamedTuple):
    """A part of a pass: times, unit vectors to the station in an inertial frame, and how far from
    its axis the antenna may point; None where no direction of it is heard.
    """

    times: Sequence[s]
    lines: Sequence[Vector]
    reaches: Sequence[float | None]


class Stretch(NamedTuple):
    """A part of a pass in which the antenna can look at the station once in a turn."""

    times: Sequence[s]
    azimuths: Sequence[rad]  # of the station round the spin axis, without jumps
    halves: Sequence[rad]  # half of the spin angle in which it is heard


class Gate(NamedTuple):
    """Spin angles turned back to a start: heard from the one until the other passes a full turn."""

    times: Sequence[s]
    opens: Sequence[rad]
    closes: Sequence[rad]


def stretches(moments: Moments, axes: Axes, cone: rad) -> list[Stretch]:
    """Return the parts in which the station is in reach; the rest of a step at an end is lost."""
    found: list[Stretch] = []
    part: tuple[list[float], list[float], list[float]] = ([], [], [])
    for time, line, reach in zip(*moments, strict=True):
        polar, azimuth = direction_in(axes, line)
        half = None if reach is None else half_turn(polar, cone, reach)
        if half is None:
            if len(part[0]) > 1:
                found.append(Stretch(*part))
            part = ([], [], [])
            continue
        if part[1]:
            azimuth += TURN * round((part[1][-1] - azimuth) / TURN)
        for values, value in zip(part, (time, azimuth, half), strict=True):
            values.append(value)
    if len(part[0]) > 1:
        found.append(Stretch(*part))
    return found


def gate(stretch: Stretch, rate: rad_per_s) -> Gate:
    """Return when the antenna looks at the station, for a spin rate in rad/s and any start angle.

    The angle from the station to the antenna runs as rate times time less azimuth. Where it does
    not run forward (near the ends, or where the line turns faster than the body) what is surely
    heard is kept: the lowest of what comes for the opening, the highest of what was for the close.
    """
    run = [rate * t - a for t, a in zip(stretch.times, stretch.azimuths, strict=True)]
    if rate < 0.0:
        run = [-angle for angle in run]
    opens = [angle + half for angle, half in zip(run, stretch.halves, strict=True)]
    closes = [angle - half for angle, half in zip(run, stretch.halves, strict=True)]
    kept = list(accumulate(reversed(opens), min))
    return Gate(stretch.times, kept[::-1], list(accumulate(closes, max)))


def heard(through: Gate, start: rad, relock: s) -> list[tuple[float, float]]:
    """Return the times of reception for a start angle, less the time to lock in each of them."""
    times, opens, closes = through
    found: list[tuple[float, float]] = []
    first = ceil((closes[0] + start) / TURN)
    for turns in range(first, floor((opens[-1] + start) / TURN) + 1):
        mark = TURN * turns - start
        begin, end = _from(times, opens, mark), _until(times, closes, mark)
        if found and begin <= found[-1][1]:
            found[-1] = found[-1][0], max(end, found[-1][1])
        elif end > begin:
            found.append((begin, end))
    return [(begin + relock, end) for begin, end in found if end - begin > relock]


def _from(times: Sequence[float], opens: Sequence[float], mark: float) -> float:
    """Return when rising values reach a mark that the last one reaches."""
    i = bisect_left(opens, mark)
    return times[0] if i == 0 else _between(times, opens, i, mark)


def _until(times: Sequence[float], closes: Sequence[float], mark: float) -> float:
    """Return when rising values pass a mark that the first one does not pass."""
    i = bisect_right(closes, mark)
    return times[-1] if i == len(closes) else _between(times, closes, i, mark)


def _between(times: Sequence[float], values: Sequence[float], i: int, mark: float) -> float:
    share = (mark - values[i - 1]) / (values[i] - values[i - 1])
    return times[i - 1] + share * (times[i] - times[i - 1])
