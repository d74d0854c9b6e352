"""Pointing file of one station: where its antenna looks, against UTC."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from math import ceil, floor

from analyses.physics.look_angles import Site, look_at, refraction
from analyses.physics.orbit import Moment, at
from analyses.physics.passes import Pass
from analyses.physics.trajectory_issue import TrajectoryIssue, utc_text
from closeout.units import deg, km, s

PERIOD = 10.0  # s between rows

COLUMNS = (
    "utc",
    "azimuth_deg",
    "elevation_deg",
    "apparent_elevation_deg",
    "range_km",
    "range_rate_km_s",
    "azimuth_rate_deg_s",
)


def pointing_file(
    station: str,
    coordinates: tuple[float, float, float],
    site: Site,
    passes: Sequence[Pass],
    flight: Sequence[Moment],
    mask: deg,
    issue: TrajectoryIssue,
    lift_off: datetime,
) -> str:
    """Return a pointing file: a header of lines that begin with #, then CSV rows.

    Rows at rise, at set and each ten seconds between, of an Earth-fixed ephemeris whose times are
    s after lift-off. Coordinates are latitude and longitude in deg and altitude in m. A station
    that never sees the stage gets a file that says so, with no rows.
    """
    lines = [*_header(station, coordinates, mask, issue, lift_off), ",".join(COLUMNS)]
    if not passes:
        lines.insert(-1, "# no pass: the stage never rises above the mask while it transmits")
    altitude_km = coordinates[2] / 1e3
    for one in passes:
        for time in row_times(one):
            lines.append(_row(site, flight, time, altitude_km, lift_off))
    return "\n".join(lines) + "\n"


def row_times(one: Pass) -> list[s]:
    """Return when a pass has a row, in s after lift-off: full tens, with rise and set around.

    Rise and set are taken to the millisecond inside the pass, as the file prints them.
    """
    rise, fall = ceil(one.rise * 1e3) / 1e3, floor(one.set * 1e3) / 1e3
    tens = [PERIOD * n for n in range(floor(rise / PERIOD) + 1, ceil(fall / PERIOD))]
    return [rise, *tens, fall]


def _header(
    station: str,
    coordinates: tuple[float, float, float],
    mask: deg,
    issue: TrajectoryIssue,
    lift_off: datetime,
) -> list[str]:
    latitude, longitude, altitude = coordinates
    return [
        f"# pointing file: {issue.object_name} seen from {station}; invented demonstration data",
        f"# trajectory: {issue.trajectory} issue {issue.issue} of {issue.issued_utc.isoformat()}",
        f"# lift-off: {utc_text(lift_off, 0.0)}; this file is for no other",
        "# time scale: UTC",
        "# frame: Earth-fixed, WGS 84, polar motion left out; azimuth from true north over east",
        f"# station: latitude {latitude:.6f} deg, longitude {longitude:.6f} deg, {altitude:.1f} m",
        f"# mask: {mask:g} deg of straight-line elevation",
        "# apparent elevation: with refraction, atmosphere of ITU-R P.453; use one of the two",
        "# range rate: positive when the stage goes away; no light time in any column",
    ]


def _row(site: Site, flight: Sequence[Moment], time: s, altitude_km: km, lift_off: datetime) -> str:
    look = look_at(site, at(flight, time))
    apparent = look.elevation + refraction(look.elevation, altitude_km)
    return (
        f"{utc_text(lift_off, time)},{look.azimuth:.4f},{look.elevation:.4f},{apparent:.4f},"
        f"{look.range:.4f},{look.range_rate:.6f},{look.azimuth_rate:.5f}"
    )
