"""The ends of an extent that decide, how surely, and how they are shown."""

from __future__ import annotations

from typing import NamedTuple

from closeout.graph import Asked
from closeout.judge.limits import Judged, Shown, compare
from closeout.model.answer import Assurance, Bounds, Extent
from closeout.model.dossier import State
from closeout.model.records import BasisKind
from closeout.model.setting import exactly

Point = tuple[tuple[str, float], ...]


def widened(extent: Extent, asked: Asked) -> Extent:
    """Return an extent with the uncertainty of the model taken in."""
    return extent if asked.uncertainty is None else asked.uncertainty.widened(extent)


class Ends(NamedTuple):
    """The ends that decide, how surely they are known, and the same ends as the analysis gave them.

    ``own`` are None where the inputs alone were evaluated.
    """

    low: float
    high: float
    assurance: Assurance
    own: tuple[float | None, float | None]

    def shown(self, shown: Shown) -> tuple[float | None, float | None]:
        """Return the ends that the analysis gave in the unit of the limits."""
        low, high = self.own
        if low is None or high is None:
            return None, None
        return shown.value(low), shown.value(high)


def judged_ends(extent: Extent, wide: Extent, bounds: Bounds) -> Ends:
    """Return the ends that decide about limits, of an extent and of the same widened.

    A proved end decides where it meets its limit, and where it is tight. Else what was seen
    decides, and is called searched; or what straight lines say. A number that was seen stands for a
    proved end where nothing but rounding lies between the two, and no limit does; where the number
    is the limit itself, the limit is met exactly.
    """
    assert wide.value is not None
    if extent.low is None or extent.high is None:  # at the inputs alone
        least = wide.value if wide.low is None else wide.low
        most = wide.value if wide.high is None else wide.high
        return Ends(least, most, Assurance.NOMINAL, (None, None))
    assert wide.low is not None
    assert wide.high is not None
    if wide.off is not None:
        return Ends(wide.low, wide.high, Assurance.LINEARISED, (extent.low, extent.high))
    low, high = wide.proved_low, wide.proved_high
    if low is None or high is None:
        return Ends(wide.low, wide.high, Assurance.SEARCHED, (extent.low, extent.high))
    below, above = bounds.at_least, bounds.at_most
    low_reached = wide.low_reached and (below is None or not low < below < wide.low)
    high_reached = wide.high_reached and (above is None or not wide.high < above < high)
    low, high = wide.low if low_reached else low, wide.high if high_reached else high
    low_decides = below is None or wide.low_tight or low >= below
    high_decides = above is None or wide.high_tight or high <= above
    if not (low_decides and high_decides):
        return Ends(wide.low, wide.high, Assurance.SEARCHED, (extent.low, extent.high))
    own = (
        extent.low if low_reached else extent.proved_low,
        extent.high if high_reached else extent.proved_high,
    )
    return Ends(low, high, Assurance.BOUNDED, own)


def is_undecided(wide: Extent, judged: Judged, bounds: Bounds) -> bool:
    """Return whether the limit lies between what was seen and what is proved.

    Or, of straight lines, whether they are off by more than the margin.
    """
    if wide.off is not None:
        return judged.margin is not None and 0.0 <= judged.margin < wide.off
    if judged.state is not State.NOT_MET or wide.low is None or wide.high is None:
        return False
    return compare(wide.low, wide.high, bounds).state is not State.NOT_MET


def is_tight(extent: Extent, judged: Judged) -> bool:
    """Return whether the end that the margin is taken from is proved to the tolerance."""
    return extent.low_tight if _at_low(judged) else extent.high_tight


def _at_low(judged: Judged) -> bool:
    under, over = judged.under, judged.over
    return over is None or (under is not None and under <= over)


def deciding_point(extent: Extent, judged: Judged, bounds: Bounds) -> Point:
    """Return the point of the box that was seen at the end that decides.

    Of a shortfall it is the point that fails by most, of the numbers that were seen.
    """
    if extent.low is None or extent.high is None:
        return ()
    if judged.state is State.NOT_MET:
        judged = compare(extent.low, extent.high, bounds)
    return extent.low_at if _at_low(judged) else extent.high_at


def held_at(point: Point, asked: Asked) -> tuple[tuple[str, str], ...]:
    """Return a point of the box as texts that ``--set`` reads, each input with a spread held.

    By root sum square and by probability the inputs spread at any end: held is what stands at a
    point, the conditions that are given as a range.
    """
    at = dict(point)
    chance = asked.verification.basis.kind in (BasisKind.ROOT_SUM_SQUARE, BasisKind.PROBABILITY)
    return tuple(
        (used.name, exactly(at.get(used.name, used.value), used.unit))
        for used in asked.inputs
        if (used.name in at and used.side if chance else used.spreads)
    )


def unproved(extent: Extent, ends: Ends, shown: Shown) -> str | None:
    """Return why a searched end is not proved; None where it is, or where nothing is known."""
    if ends.assurance is not Assurance.SEARCHED or extent.off is not None:
        return None
    low, high = extent.proved_low, extent.proved_high
    if extent.unproved is not None or low is None or high is None:
        return extent.unproved
    unit = f" {shown.unit}" if shown.unit not in ("", "1") else ""
    return (
        f"its proved bounds, {shown.value(low)!r} to {shown.value(high)!r}{unit}, do not decide;"
        " with more evaluations they may"
    )
