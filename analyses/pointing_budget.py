"""How far the antenna of a station may point past the stage."""

from __future__ import annotations

from typing import NamedTuple

from closeout import analysis
from closeout.units import deg


class PointingBudget(NamedTuple):
    station_pointing_error: deg


@analysis(validated_by="tests/analyses/test_pointing_budget.py")
def pointing_budget(file_pointing_error: deg, station_mount_error: deg) -> PointingBudget:
    """Compute the pointing error of a station from those of its file and of its own mount.

    **Model.** The two angles in one plane, so their sum.

    **On the safe side.** The file is as far off as COM-105 allows at each moment of a pass,
    whatever `station_pointing` finds of it. Two angles in different planes add up to less
    (spherical triangle).

    **Sources.** Triangle inequality. All numbers are invented.

    **Not covered.** A file for another lift-off time, which points past the stage altogether; an
    antenna that does not follow (`station_windows` has its rates).
    """
    return PointingBudget(file_pointing_error + station_mount_error)
