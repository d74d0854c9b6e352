"""Evidence by analysis beside the margins that a policy enforces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from closeout.graph import Asked, Bounds, RequiredMargin
from closeout.judge.ends import (
    deciding_point,
    held_at,
    is_tight,
    is_undecided,
    judged_ends,
    shown_ends,
    widened,
)
from closeout.judge.limits import Judgement, Shown, compare
from closeout.judge.margins import enforced
from closeout.measure import Units
from closeout.model.answer import Assurance, Extent
from closeout.model.dossier import State


def held(
    one: Judgement,
    extent: Extent,
    asked: Asked,
    margins: Sequence[RequiredMargin],
    shown: Shown,
    units: Units,
) -> Judgement:
    """Return evidence by analysis held to the margins that are enforced.

    Where a margin is met by what was seen alone, no more is claimed of the limit.
    """
    wide = widened(extent, asked)

    def against(before: Judgement, bounds: Bounds) -> Judgement:
        assert before.extremes is not None
        low, high, assurance = judged_ends(wide, bounds)
        judged = compare(low, high, bounds)
        undecided = is_undecided(wide, judged, bounds)
        if judged.state is State.MET and not undecided:
            if (low, high) == (before.extremes.low, before.extremes.high):
                return before
            return _restated(before, extent, asked, (low, high, assurance), asked.bounds, shown)
        found = _restated(before, extent, asked, (low, high, assurance), bounds, shown)
        state = State.OPEN if undecided else State.NOT_MET
        counterexample = found.evidence.at if state is State.NOT_MET else ()
        evidence = replace(found.evidence, state=state, counterexample=counterexample)
        return found._replace(evidence=evidence)

    return enforced(one, margins, units, against)


def _restated(
    one: Judgement,
    extent: Extent,
    asked: Asked,
    judged: tuple[float, float, Assurance],
    bounds: Bounds,
    shown: Shown,
) -> Judgement:
    """Return evidence on other ends, and with the margin to other limits."""
    low, high, assurance = judged
    against = compare(low, high, bounds)
    ends = shown_ends(extent, assurance, shown)
    bounded = assurance is Assurance.BOUNDED
    evidence = replace(
        one.evidence,
        assurance=Assurance.NOMINAL if extent.low is None else assurance,
        low=ends[0],
        high=ends[1],
        judged_low=None if asked.uncertainty is None else shown.value(low),
        judged_high=None if asked.uncertainty is None else shown.value(high),
        margin=shown.margin(against.margin),
        at=held_at(deciding_point(widened(extent, asked), against, bounds), asked),
        tight=is_tight(widened(extent, asked), against) if bounded else None,
    )
    assert one.extremes is not None
    return Judgement(evidence, one.extremes._replace(low=low, high=high, bounds=bounds))
