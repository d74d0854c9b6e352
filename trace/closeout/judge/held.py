"""Evidence by analysis beside the margins that a policy enforces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from closeout.graph import Asked, Bounds, RequiredMargin
from closeout.judge.ends import is_tight, is_undecided, judged_ends, shown_ends, widened
from closeout.judge.limits import Judgement, Shown, compare
from closeout.measure import UnitError, Units
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
    """Return evidence that meets its limit as a shortfall, where an enforced margin is missed.

    Its margin is then that to the limit with the required margin on it, and so a waiver is asked.
    Where the margin is met by what was seen alone, no more is claimed of the limit.
    """
    unit, wide = None if one.extremes is None else one.extremes.unit, widened(extent, asked)
    for margin in margins:
        entry, extremes = one.evidence, one.extremes
        if entry.state is not State.MET or extremes is None or unit is None:
            break
        try:
            bounds = margin.tightened(asked.bounds, (extremes.low, extremes.high), unit, units)
        except UnitError:
            continue  # told as a finding
        low, high, assurance = judged_ends(wide, bounds)
        judged = compare(low, high, bounds)
        if judged.state is State.MET:
            if (low, high) != (extremes.low, extremes.high):
                one = _restated(one, extent, asked, (low, high, assurance), asked.bounds, shown)
            continue
        undecided = is_undecided(wide, judged, bounds)
        text = f"the limit is met, {margin} is not"
        if undecided:
            text = f"undecided: {margin} ends between what was seen and what is proved"
        one = _restated(one, extent, asked, (low, high, assurance), bounds, shown)
        state = State.OPEN if undecided else State.NOT_MET
        one = one._replace(evidence=replace(one.evidence, state=state, message=text))
    return one


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
        tight=is_tight(widened(extent, asked), against) if bounded else None,
    )
    assert one.extremes is not None
    return Judgement(evidence, one.extremes._replace(low=low, high=high, bounds=bounds))
