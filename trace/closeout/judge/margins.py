"""The project's margin policy: how far beyond its limit a quantity must be at a review."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

from closeout.graph import RequiredMargin
from closeout.graph.bounds import rounded
from closeout.judge.limits import Judgement, compare, shown_in
from closeout.measure import UnitError, Units
from closeout.model.answer import Assurance, Bounds
from closeout.model.criterion import Limits
from closeout.model.dossier import Evidence, State

Against = Callable[[Judgement, Bounds], Judgement]

NO_UNIT = "the margin "


def with_margins(
    one: Judgement,
    limits: Limits,
    margins: Sequence[RequiredMargin],
    units: Units,
    against: Against,
) -> Judgement:
    """Return evidence that meets its limit held to the margins that are required beside it.

    ``against`` judges evidence by other limits. An enforced margin that is missed makes it a
    shortfall: the evidence's margin is then that to the limit with the required margin on it, and
    so a waiver is asked. Another one is noted.
    """
    for margin in margins:
        if one.evidence.state is not State.MET or one.extremes is None:
            break
        try:
            bounds = rounded(margin.on(limits, one.extremes.unit, units))
        except UnitError as wrong:
            text = f"{NO_UNIT}{margin.amount} of {one.evidence.quantity}: {wrong.message}"
            one = one._replace(thin=(*one.thin, (margin, text)))
            continue
        judged = against(one, bounds)
        if judged.evidence.state is State.MET:
            one = judged if margin.policy.enforce else one
        elif margin.policy.enforce:
            text = f"the limit is met, {margin} is not"
            if judged.evidence.state is State.OPEN:
                between = "between what was seen and what is proved"
                if judged.evidence.assurance is Assurance.LINEARISED:
                    between = "within what straight lines are off"
                text = f"undecided: {margin} ends {between}"
            one = judged._replace(evidence=replace(judged.evidence, message=text))
        else:
            one = one._replace(thin=(*one.thin, (margin, _missing(one.evidence, margin))))
    return one


def _missing(entry: Evidence, margin: RequiredMargin) -> str:
    return (
        f"{entry.quantity} meets its limit by {entry.margin:.4g} {entry.margin_unit}, and"
        f" {margin.amount} of the {margin.policy.of} is required at {margin.review}"
    )


def measured(
    one: Judgement, limits: Limits, margins: Sequence[RequiredMargin], units: Units
) -> Judgement:
    """Return what was measured held to the margins that are required."""

    def against(before: Judgement, bounds: Bounds) -> Judgement:
        assert before.extremes is not None
        judged = compare(before.extremes.low, before.extremes.high, bounds)
        if judged.state is State.MET:
            return before
        margin = shown_in(units, before.extremes.unit, limits).margin(judged.margin)
        evidence = replace(before.evidence, state=judged.state, margin=margin)
        return Judgement(evidence, before.extremes._replace(bounds=bounds), before.thin)

    return with_margins(one, limits, margins, units, against)


def noted(judged: Sequence[Judgement]) -> list[Evidence]:
    """Return the evidence of one verification, with what is told of margins that are not there.

    Where so many cases are asked, it is enough that so many have the margin.
    """
    if not any(one.thin for one in judged):
        return [one.evidence for one in judged]
    met = [e for e, *_ in judged if e.state is State.MET and e.margin is not None]
    lacking = Counter(margin for one in judged for margin, _ in one.thin)

    def told(one: Judgement) -> tuple[str, ...]:
        wanted = one.evidence.cases_wanted
        few = [m for m, _ in one.thin if wanted is None or len(met) - lacking[m] < wanted]
        return tuple(text for margin, text in one.thin if margin in few)

    return [replace(one.evidence, thin=(*one.evidence.thin, *told(one))) for one in judged]
