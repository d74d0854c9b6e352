"""The ends of an extent that decide, how surely, and how they are shown."""

from __future__ import annotations

from typing import NamedTuple

from closeout.graph import Acceptance, Request
from closeout.judge.limits import Judged, Shown, compare
from closeout.model.amount import EXACTLY
from closeout.model.answer import Assurance, Bounds, Cut, Extent
from closeout.model.dossier import State
from closeout.model.inputs_used import CHAIN, InputUsed
from closeout.model.records import BasisKind
from closeout.model.setting import exactly

Point = tuple[tuple[str, float], ...]

# Bases by which the inputs vary together, so that no one point of the box decides.
_BY_CHANCE = (BasisKind.ROOT_SUM_SQUARE, BasisKind.PROBABILITY)


class Ends(NamedTuple):
    """The ends that decide, as an analysis gave them, and how surely they are known."""

    low: float
    high: float
    assurance: Assurance

    def shown(self, shown: Shown) -> tuple[float | None, float | None]:
        """Return the ends in the unit of the limits; None where the inputs alone were evaluated."""
        if self.assurance is Assurance.NOMINAL:
            return None, None
        return shown.value(self.low), shown.value(self.high)


def deciding_ends(extent: Extent, bounds: Bounds) -> Ends:
    """Return the ends of an extent that decide about acceptance limits.

    A proved end decides where it meets its limit, and where it is tight. Else what was seen
    decides, and is called searched; or what straight lines say. A number that was seen stands for a
    proved end where nothing but rounding lies between the two, and no limit does; where the number
    is the limit itself, the limit is met exactly.
    """
    assert extent.value is not None
    if extent.low is None or extent.high is None:  # at the inputs alone
        return Ends(extent.value, extent.value, Assurance.NOMINAL)
    if extent.off is not None:
        return Ends(extent.low, extent.high, Assurance.LINEARISED)
    if extent.cut is not None:
        return _of_cut(extent, extent.cut, bounds)
    low, high = extent.proved_low, extent.proved_high
    if low is None or high is None:
        return Ends(extent.low, extent.high, Assurance.SEARCHED)
    below, above = bounds.at_least, bounds.at_most
    low_reached = extent.low_reached and (below is None or not low < below < extent.low)
    high_reached = extent.high_reached and (above is None or not extent.high < above < high)
    low, high = extent.low if low_reached else low, extent.high if high_reached else high
    low_decides = below is None or extent.low_tight or low >= below
    high_decides = above is None or extent.high_tight or high <= above
    if not (low_decides and high_decides):
        return Ends(extent.low, extent.high, Assurance.SEARCHED)
    return Ends(low, high, Assurance.BOUNDED)


def _of_cut(extent: Extent, cut: Cut, bounds: Bounds) -> Ends:
    """Return the ends of a chain that was cut: those that the whole gave where they fail.

    Else those that were found over the box, beyond which it does not go.
    """
    assert extent.low is not None
    assert extent.high is not None
    under, over = bounds.margins(extent.low, extent.high)
    low = extent.low if under < 0.0 else cut.low
    return Ends(low, extent.high if over < 0.0 else cut.high, Assurance.SEARCHED)


def is_undecided(extent: Extent, ends: Ends, judged: Judged, limits: Acceptance) -> bool:
    """Return whether the limit lies between what was seen and what is proved.

    Or, of straight lines, whether they are off by more than the ends lie inside of it.
    """
    if extent.off is not None:
        return 0.0 <= min(limits.bounds.margins(ends.low, ends.high)) < extent.off
    if judged.state is not State.NOT_MET or extent.low is None or extent.high is None:
        return False
    return compare(extent.low, extent.high, limits).state is not State.NOT_MET


def is_tight(extent: Extent, judged: Judged) -> bool:
    """Return whether the end that the margin is taken from is proved to the tolerance."""
    return extent.low_tight if _at_low(judged) else extent.high_tight


def _at_low(judged: Judged) -> bool:
    under, over = judged.under, judged.over
    return over is None or (under is not None and under <= over)


def deciding_point(extent: Extent, judged: Judged, limits: Acceptance) -> Point:
    """Return the point of the box that was seen at the end that decides.

    Of a shortfall it is the point that fails by most, of the numbers that were seen.
    """
    if extent.low is None or extent.high is None:
        return ()
    seen = compare(extent.low, extent.high, limits)
    if extent.cut is not None and seen.state is not State.NOT_MET:
        return extent.cut.low_at if _at_low(judged) else extent.cut.high_at
    if judged.state is State.NOT_MET:
        judged = seen
    return extent.low_at if _at_low(judged) else extent.high_at


def point_that_decides(extent: Extent, request: Request) -> Point:
    """Return the inputs that differ from the declared ones where a verification is decided.

    By root sum square and by probability no one point decides, nor is there one without ends.
    """
    if request.verification.basis.kind in _BY_CHANCE or extent.value is None:
        return ()
    limits = request.acceptance
    ends = deciding_ends(extent, limits.bounds)
    return deciding_point(extent, compare(ends.low, ends.high, limits), limits)


def settings_at(point: Point, request: Request) -> tuple[tuple[str, str], ...]:
    """Return a point of the box as texts that ``--set`` reads, each input with a spread fixed.

    By root sum square and by probability the inputs vary at any end, and with them what is
    computed: fixed are, at a point, only the conditions that are given as a range.
    """
    at = dict(point)
    chance = request.verification.basis.kind in _BY_CHANCE
    own = tuple(
        (used.name, _exactly(at.get(used.name, used.value), used))
        for used in request.inputs
        if used.origin != CHAIN and (used.name in at and used.side if chance else used.spreads)
    )
    computed = () if chance else request.computed
    return (*own, *((o.name, exactly(at[o.name], o.unit)) for o in computed if o.name in at))


def _exactly(number: float, used: InputUsed) -> str:
    """Return a number of an input as someone wrote it, where it is such a one."""
    text = dict(used.amounts).get(number)
    return exactly(number, used.unit) if text is None else f"{text} {EXACTLY}"


def unproved(extent: Extent, ends: Ends, shown: Shown) -> str | None:
    """Return why a searched end is not proved; None where it is, or where nothing is known."""
    if ends.assurance is not Assurance.SEARCHED or extent.off is not None:
        return None
    low, high = extent.proved_low, extent.proved_high
    if extent.unproved is not None or low is None or high is None:
        return extent.unproved
    unit = f" {shown.unit}" if shown.unit not in ("", "1") else ""
    return (
        f"the proved bounds, {shown.value(low)!r} to {shown.value(high)!r}{unit}, do not decide;"
        " with more evaluations they may"
    )
