"""The ends of an extent that decide, how surely, and how they are shown."""

from __future__ import annotations

from closeout.graph import Asked, Bounds
from closeout.judge.limits import Judged, Shown, compare
from closeout.model.answer import Assurance, Extent
from closeout.model.dossier import State
from closeout.model.records import BasisKind
from closeout.model.setting import exactly

Point = tuple[tuple[str, float], ...]


def widened(extent: Extent, asked: Asked) -> Extent:
    """Return an extent with the uncertainty of the model taken in."""
    return extent if asked.uncertainty is None else asked.uncertainty.widened(extent)


def judged_ends(extent: Extent, bounds: Bounds) -> tuple[float, float, Assurance]:
    """Return the ends that decide, and how surely.

    A proved end decides where it is tight, whether it meets its limit or not, and where it is loose
    and meets it. Else what was seen decides, and is called searched; or what straight lines say.
    """
    assert extent.value is not None
    if extent.low is None or extent.high is None:
        return extent.value, extent.value, Assurance.NOMINAL
    if extent.off is not None:
        return extent.low, extent.high, Assurance.LINEARISED
    low, high = extent.proved_low, extent.proved_high
    if low is None or high is None:
        return extent.low, extent.high, Assurance.SEARCHED
    below, above = bounds.at_least, bounds.at_most
    low_decides = below is None or extent.low_tight or low >= below
    high_decides = above is None or extent.high_tight or high <= above
    if low_decides and high_decides:
        return low, high, Assurance.BOUNDED
    return extent.low, extent.high, Assurance.SEARCHED


def is_undecided(extent: Extent, judged: Judged, bounds: Bounds) -> bool:
    """Return whether the limit lies between what was seen and what is proved.

    Or, of straight lines, whether they are off by more than the margin.
    """
    if extent.off is not None:
        return judged.margin is not None and 0.0 <= judged.margin < extent.off
    if judged.state is State.MET or extent.low is None or extent.high is None:
        return False
    return compare(extent.low, extent.high, bounds).state is State.MET


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


def shown_ends(
    extent: Extent, assurance: Assurance, shown: Shown
) -> tuple[float | None, float | None]:
    """Return the ends that the analysis gave, those that its assurance speaks of."""
    low, high = extent.low, extent.high
    if assurance is Assurance.BOUNDED:
        low, high = extent.proved_low, extent.proved_high
    if low is None or high is None:
        return None, None
    return shown.value(low), shown.value(high)
