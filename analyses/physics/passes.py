"""Passes of an ephemeris over a station: rise, highest point, set.

Times in s on the ephemeris' own clock, angles in deg.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from analyses.physics.look_angles import Look, Site, climbs, look_at
from analyses.physics.orbit import Moment, at
from closeout.units import deg, s

_RESOLVED = 1e-4  # s, how closely rise, top and set are found


class Pass(NamedTuple):
    """One pass above the mask; a pass that is cut by the ephemeris begins or ends with it."""

    rise: s
    top: s
    set: s
    highest_elevation: deg

    @property
    def duration(self) -> s:
        """Return how long it lasts, in s."""
        return self.set - self.rise


def find_passes(flight: Sequence[Moment], site: Site, mask: deg, begin: s, end: s) -> list[Pass]:
    """Return the passes above a mask angle between two times, of an Earth-fixed ephemeris.

    Looked for are the points where the elevation turns from rising to falling, between neighbours
    of the ephemeris; so no pass is too short to be found. Rise and set are sought on the
    side of the top. Times are cut to the ephemeris.
    """
    begin, end = max(begin, flight[0].time), min(end, flight[-1].time)
    if begin >= end:
        return []

    def look(time: float) -> Look:
        return look_at(site, at(flight, time))

    inside = [moment for moment in flight if begin < moment.time < end]
    moments = [Moment(begin, at(flight, begin)), *inside, Moment(end, at(flight, end))]
    rising = [climbs(site, moment.state) for moment in moments]
    found: list[Pass] = []
    for i, (time, _) in enumerate(moments):
        if i + 1 == len(moments):
            top = time if rising[i] else None  # still rising at the end
        elif rising[i] and not rising[i + 1]:
            top = _crossing(lambda t: -look(t).elevation_rate, time, moments[i + 1].time)
        else:
            top = time if i == 0 and not rising[i] else None  # already falling at the begin
        if top is None:
            continue
        if look(top).elevation > mask and not (found and top <= found[-1].set):
            found.append(_around(look, moments, site, top, mask))
    return found


def _around(
    look: Callable[[float], Look],
    moments: Sequence[Moment],
    site: Site,
    top: s,
    mask: deg,
) -> Pass:
    """Return the pass around a top that is above the mask."""
    rise, later = moments[0].time, top
    for time, state in reversed(moments):
        if time < top and look_at(site, state).elevation <= mask:
            rise = _crossing(lambda t: look(t).elevation - mask, time, later)
            break
        later = min(later, time)
    fall, earlier = moments[-1].time, top
    for time, state in moments:
        if time > top and look_at(site, state).elevation <= mask:
            fall = _crossing(lambda t: mask - look(t).elevation, earlier, time)
            break
        earlier = max(earlier, time)
    return Pass(rise, top, fall, look(top).elevation)


def _crossing(function: Callable[[float], float], low: s, high: s) -> s:
    """Return where a function rises through zero between two times.

    False position, with the weight of an end halved that stays (Illinois method), until a step is
    below what is resolved. Where an end is on the wrong side of zero already, that end.
    """
    at_low, at_high = function(low), function(high)
    if at_low >= 0.0 or at_high <= 0.0:
        return low if at_low >= 0.0 else high
    found, before, side = high, low, 0
    while high - low > _RESOLVED and abs(found - before) > _RESOLVED:
        before = found
        found = (low * at_high - high * at_low) / (at_high - at_low)
        value = function(found)
        if value > 0.0:
            high, at_high = found, value
            at_low = 0.5 * at_low if side > 0 else at_low
            side = 1
        else:
            low, at_low = found, value
            at_high = 0.5 * at_high if side < 0 else at_high
            side = -1
    return found


def open_time(windows: Sequence[tuple[float, float]], at_least: int) -> float:
    """Return for how long at least so many of the windows are open together, in their unit."""
    edges = sorted([(begin, 1) for begin, _ in windows] + [(end, -1) for _, end in windows])
    open_now, total, since = 0, 0.0, 0.0
    for time, change in edges:
        if open_now >= at_least:
            total += time - since
        open_now += change
        since = time
    return total
