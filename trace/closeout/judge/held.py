"""Evidence by analysis beside the margins that a policy requires."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from closeout.graph import Asked, RequiredMargin
from closeout.judge.ends import (
    Ends,
    deciding_point,
    held_at,
    is_tight,
    is_undecided,
    judged_ends,
    unproved,
    widened,
)
from closeout.judge.limits import Judgement, Shown, compare
from closeout.judge.margins import with_margins
from closeout.measure import Units
from closeout.model.answer import Assurance, Bounds, Extent
from closeout.model.dossier import State


def held(
    one: Judgement,
    extent: Extent,
    asked: Asked,
    margins: Sequence[RequiredMargin],
    shown: Shown,
    units: Units,
) -> Judgement:
    """Return evidence by analysis held to the margins that a policy requires.

    Where an enforced margin is met by what was seen alone, no more is claimed of the limit.
    """
    wide = widened(extent, asked)

    def against(before: Judgement, bounds: Bounds) -> Judgement:
        assert before.extremes is not None
        ends = judged_ends(extent, wide, bounds)
        judged = compare(ends.low, ends.high, bounds)
        undecided = is_undecided(wide, judged, bounds)
        if judged.state is State.MET and not undecided:
            if (ends.low, ends.high) == (before.extremes.low, before.extremes.high):
                return before
            return _restated(before, extent, asked, ends, asked.bounds, shown)
        found = _restated(before, extent, asked, ends, bounds, shown)
        state = State.OPEN if undecided else State.NOT_MET
        counterexample = found.evidence.at if state is State.NOT_MET else ()
        evidence = replace(found.evidence, state=state, counterexample=counterexample)
        return found._replace(evidence=evidence)

    return with_margins(one, asked.verification.criterion.limits, margins, units, against)


def _restated(
    one: Judgement, extent: Extent, asked: Asked, ends: Ends, bounds: Bounds, shown: Shown
) -> Judgement:
    """Return evidence on other ends, and with the margin to other limits."""
    low, high, assurance = ends.low, ends.high, ends.assurance
    against = compare(low, high, bounds)
    shown_low, shown_high = ends.shown(shown)
    bounded = assurance is Assurance.BOUNDED
    evidence = replace(
        one.evidence,
        assurance=assurance,
        low=shown_low,
        high=shown_high,
        judged_low=None if asked.uncertainty is None else shown.value(low),
        judged_high=None if asked.uncertainty is None else shown.value(high),
        margin=shown.margin(against.margin),
        at=held_at(deciding_point(widened(extent, asked), against, bounds), asked),
        tight=is_tight(extent, against) if bounded else None,
        unproved=unproved(extent, ends, shown),
    )
    assert one.extremes is not None
    return Judgement(evidence, one.extremes._replace(low=low, high=high, bounds=bounds), one.thin)
