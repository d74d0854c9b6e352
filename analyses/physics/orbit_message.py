"""Orbit Ephemeris Message: CCSDS 502.0-B, version 2, as keyword = value text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from analyses.physics.orbit import Burn, Moment
from analyses.physics.trajectory_issue import TrajectoryIssue, utc_text

FRAME = "ITRF2000"


def orbit_ephemeris_message(
    flight: Sequence[Moment], burn: Burn, issue: TrajectoryIssue, lift_off: datetime
) -> str:
    """Return the message of an Earth-fixed ephemeris; times of the flight in s after lift-off.

    Position in km and velocity in km/s, seen from the turning Earth, in UTC. Before, during and
    after the burn are segments of their own, so that nothing is interpolated across its edges.
    """
    lines = [
        "CCSDS_OEM_VERS = 2.0",
        "COMMENT Invented demonstration data: no such object flies",
        f"COMMENT Trajectory {issue.trajectory} issue {issue.issue}",
        f"COMMENT Lift-off {utc_text(lift_off, 0.0)} UTC; another lift-off needs a new message",
        f"CREATION_DATE = {issue.issued_utc.isoformat()}",
        f"ORIGINATOR = {issue.originator}",
    ]
    edges = (burn.start, burn.start + burn.duration)
    parts = (
        ("Coast before the burn", [m for m in flight if m.time <= edges[0]]),
        ("Burn against the motion", [m for m in flight if edges[0] <= m.time <= edges[1]]),
        ("Descent after the burn, without drag", [m for m in flight if m.time >= edges[1]]),
    )
    for comment, part in parts:
        if len(part) > 1:
            lines += ["", *_segment(part, comment, issue, lift_off)]
    return "\n".join(lines) + "\n"


def _segment(
    part: Sequence[Moment], comment: str, issue: TrajectoryIssue, lift_off: datetime
) -> list[str]:
    start, stop = (utc_text(lift_off, m.time, "microseconds") for m in (part[0], part[-1]))
    return [
        "META_START",
        f"COMMENT {comment}",
        "COMMENT Polar motion left out: the frame is turned from the pole by less than 0.6 arcsec",
        f"OBJECT_NAME = {issue.object_name}",
        f"OBJECT_ID = {issue.object_id}",
        "CENTER_NAME = EARTH",
        f"REF_FRAME = {FRAME}",
        "TIME_SYSTEM = UTC",
        f"START_TIME = {start}",
        f"STOP_TIME = {stop}",
        "INTERPOLATION = HERMITE",
        "INTERPOLATION_DEGREE = 3",
        "META_STOP",
        *(_line(moment, lift_off) for moment in part),
    ]


def _line(moment: Moment, lift_off: datetime) -> str:
    position = " ".join(f"{value:.6f}" for value in moment.state.position)
    velocity = " ".join(f"{value:.9f}" for value in moment.state.velocity)
    return f"{utc_text(lift_off, moment.time, 'microseconds')} {position} {velocity}"
