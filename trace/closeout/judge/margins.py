"""The project's margin policy: how far beyond its limit a quantity must be at a review."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

from closeout.graph import RequiredMargin, acceptance
from closeout.judge.limits import Judgement, compare, shown_in
from closeout.measure import UnitError, Units
from closeout.model.answer import Assurance
from closeout.model.criterion import ExactLimits, Limits
from closeout.model.dossier import Evidence, State


class Beside(NamedTuple):
    """What was found of a required margin: evidence as it is where it decides, else a message.

    ``message`` is for a margin that decides nothing and is missed.
    """

    judged: Judgement
    message: str


# Holds evidence to a required margin; UnitError where the margin does not fit its quantity.
Against = Callable[[Judgement, RequiredMargin], Beside]

NO_UNIT = "the margin "


def with_margins(one: Judgement, margins: Sequence[RequiredMargin], against: Against) -> Judgement:
    """Return evidence that meets its limit, judged with the required margins as well.

    Each is compared in one way. An enforced margin then decides as a limit does: where it is missed
    the evidence is a shortfall, and a waiver is asked. Another one that is missed is noted.
    """
    for margin in margins:
        if one.evidence.state is not State.MET:
            break
        try:
            judged, message = against(one, margin)
        except UnitError as wrong:
            text = f"{NO_UNIT}{margin.amount} of {one.evidence.quantity}: {wrong.message}"
            one = one._replace(thin=(*one.thin, (margin, text)))
            continue
        if margin.policy.enforce or judged.evidence.state is State.ERROR:
            one = judged
        elif judged.evidence.state is not State.MET:
            one = one._replace(thin=(*one.thin, (margin, message)))
    return one


def of_limits(
    against: Callable[[Judgement, ExactLimits], Judgement], limits: Limits, unit: str, units: Units
) -> Against:
    """Return what holds values of a unit to margins, from what holds them to limits in it."""

    def beside(before: Judgement, margin: RequiredMargin) -> Beside:
        judged = against(before, margin.on(limits, unit, units))
        if judged.evidence.state is not State.MET:
            evidence = replace(judged.evidence, message=_short(judged.evidence, margin))
            judged = judged._replace(evidence=evidence)
        return Beside(judged, _missing(before.evidence, margin))

    return beside


def _short(entry: Evidence, margin: RequiredMargin) -> str:
    if entry.state is not State.OPEN:
        return f"the limit is met, {margin} is not"
    if entry.assurance is Assurance.LINEARISED:
        return f"undecided: {margin} ends within the linearisation error"
    return f"undecided: {margin} ends between the searched and the proved end"


def _missing(entry: Evidence, margin: RequiredMargin) -> str:
    return (
        f"{entry.quantity} meets its limit by {entry.margin:.4g} {entry.margin_unit}, and"
        f" {margin.amount} of the {margin.policy.of} is required at {margin.review}"
    )


def measured(
    one: Judgement, limits: Limits, margins: Sequence[RequiredMargin], units: Units
) -> Judgement:
    """Return a measured value judged with the required margins."""
    extremes = one.extremes
    if extremes is None:
        return one
    shown = shown_in(units, extremes.unit, limits)

    def against(before: Judgement, exact: ExactLimits) -> Judgement:
        tightened = acceptance(exact)
        judged = compare(extremes.low, extremes.high, tightened)
        if judged.state is State.MET:
            return before
        evidence = replace(before.evidence, state=judged.state, margin=shown.margin(judged.margin))
        return before._replace(evidence=evidence, extremes=extremes._replace(limits=tightened))

    return with_margins(one, margins, of_limits(against, limits, extremes.unit, units))


def noted(judged: Sequence[Judgement]) -> list[Evidence]:
    """Return the evidence of one verification, with a message for each margin that is missed.

    Where so many cases are asked, it is enough that so many have the margin.
    """
    if not any(one.thin for one in judged):
        return [one.evidence for one in judged]
    met = [e for e, *_ in judged if e.state is State.MET and e.margin is not None]
    lacking = Counter(margin for one in judged for margin, _ in one.thin)

    def messages(one: Judgement) -> tuple[str, ...]:
        wanted = one.evidence.cases_wanted
        few = [m for m, _ in one.thin if wanted is None or len(met) - lacking[m] < wanted]
        return tuple(text for margin, text in one.thin if margin in few)

    return [replace(one.evidence, thin=(*one.evidence.thin, *messages(one))) for one in judged]
