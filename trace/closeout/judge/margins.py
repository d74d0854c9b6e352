"""The project's margin policy: how far beyond its limit a quantity must be at a review."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from operator import attrgetter

from closeout.graph import Bounds, Index, RequiredMargin, required_margins
from closeout.graph.findings import error, warning
from closeout.judge.limits import Judgement, compare, shown_in
from closeout.measure import UnitError, Units
from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.problem import Finding, Pointer
from closeout.model.records import Limits

Against = Callable[[Judgement, Bounds], Judgement]

RULE = "margin-policy"
NO_UNIT = "the margin "
_CURE = "win margin, or agree on another policy (project.margins)"


def enforced(
    one: Judgement, margins: Sequence[RequiredMargin], units: Units, against: Against
) -> Judgement:
    """Return evidence that meets its limit as a shortfall, where an enforced margin is missed.

    ``against`` judges evidence by other limits. The margin is then that to the limit with the
    required margin on it, and so a waiver is asked.
    """
    for margin in margins:
        entry, extremes = one.evidence, one.extremes
        if entry.state is not State.MET or extremes is None:
            break
        ends = (extremes.low, extremes.high)
        try:
            bounds = margin.tightened(extremes.bounds, ends, extremes.unit, units)
        except UnitError:
            continue  # told as a finding
        one = against(one, bounds)
        if one.evidence.state is not State.MET:
            text = f"the limit is met, {margin} is not"
            if one.evidence.state is State.OPEN:
                between = "between what was seen and what is proved"
                if one.evidence.assurance is Assurance.LINEARISED:
                    between = "within what straight lines are off"
                text = f"undecided: {margin} ends {between}"
            one = one._replace(evidence=replace(one.evidence, message=text))
    return one


def measured(
    one: Judgement, limits: Limits, margins: Sequence[RequiredMargin], units: Units
) -> Judgement:
    """Return what was measured held to the margins that are enforced."""

    def against(before: Judgement, bounds: Bounds) -> Judgement:
        assert before.extremes is not None
        judged = compare(before.extremes.low, before.extremes.high, bounds)
        if judged.state is State.MET:
            return before
        margin = shown_in(units, before.extremes.unit, limits).margin(judged.margin)
        evidence = replace(before.evidence, state=judged.state, margin=margin)
        return Judgement(evidence, before.extremes._replace(bounds=bounds))

    return enforced(one, margins, units, against)


def thin_margins(dossier: Dossier, index: Index, units: Units) -> Iterator[Finding]:
    """Yield due evidence that meets its limit by less than the review to come requires.

    Where so many cases are asked, it is enough that so many have the margin.
    """
    for result in dossier.requirements if index.project.charter.margins else ():
        requirement = index.requirements[result.id]
        for number, some in groupby(result.evidence, attrgetter("number")):
            entries = [entry for entry in some if entry.due and entry.state is State.MET]
            where = requirement.verification[number].where
            for margin in required_margins(_quantity(entries), index, dossier.review):
                told = [
                    _thin(entry, margin, units) for entry in entries if entry.margin is not None
                ]
                wanted = entries[0].cases_wanted
                if wanted is None or told.count(None) < wanted:
                    for message in filter(None, told):
                        yield _told_at(where, result.id, message)
            for message in (text for entry in entries for text in entry.thin):
                yield _told_at(where, result.id, message)


def _quantity(entries: list[Evidence]) -> str | None:
    return entries[0].quantity if entries else None


def _told_at(where: Pointer, requirement: str, message: str) -> Finding:
    if message.startswith(NO_UNIT):
        return error("unit", where, message, "write a share in %, or a difference")
    return warning(RULE, where, f"{requirement}: {message}", _CURE)


def _thin(entry: Evidence, required: RequiredMargin, units: Units) -> str | None:
    low = next(n for n in (entry.judged_low, entry.low, entry.value, 0.0) if n is not None)
    high = next(n for n in (entry.judged_high, entry.high, entry.value, 0.0) if n is not None)
    if entry.margin is None or entry.unit is None or entry.assurance is Assurance.SAMPLED:
        return None
    bounds = Bounds(entry.at_least, entry.at_most)
    try:
        wanted = required.tightened(bounds, (low, high), entry.unit, units)
    except UnitError as wrong:
        return f"{NO_UNIT}{required.amount} of {entry.quantity}: {wrong.message}"
    if compare(low, high, wanted).state is State.MET:
        return None
    return (
        f"{entry.quantity} meets its limit by {entry.margin:.4g} {entry.margin_unit}, and"
        f" {required.amount} of the {required.policy.of} is required at {required.review}"
    )
