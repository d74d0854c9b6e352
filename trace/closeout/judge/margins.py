"""The project's margin policy: how far beyond its limit a quantity must be at a review."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from closeout.graph import Bounds, Index, RequiredMargin, required_margins
from closeout.graph.findings import error, warning
from closeout.judge.limits import Judgement, compare, shown_in
from closeout.measure import UnitError, Units
from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.problem import Finding
from closeout.model.records import Limits

RULE = "margin-policy"
NO_UNIT = "the margin "
_CURE = "win margin, or agree on another policy (project.margins)"


def enforced(
    one: Judgement, limits: Limits, index: Index, units: Units, review: str | None
) -> Judgement:
    """Return evidence that meets its limit as a shortfall, where an enforced margin is missed.

    Its margin is then that to the limit with the required margin on it, and so a waiver is asked.
    """
    entry, extremes = one.evidence, one.extremes
    if entry.state is not State.MET or extremes is None:
        return one
    for margin in required_margins(entry.quantity, index, review):
        if not margin.policy.enforce:
            continue
        try:
            ends = (extremes.low, extremes.high)
            bounds = margin.tightened(extremes.bounds, ends, extremes.unit, units)
        except UnitError:
            continue  # told as a finding
        judged = compare(extremes.low, extremes.high, bounds)
        if judged.state is State.NOT_MET:
            shown = shown_in(units, extremes.unit, limits)
            text = f"the limit is met, {margin} is not"
            evidence = replace(
                entry, state=State.NOT_MET, margin=shown.margin(judged.margin), message=text
            )
            return Judgement(evidence, extremes._replace(bounds=bounds))
    return one


def thin_margins(dossier: Dossier, index: Index, units: Units) -> Iterator[Finding]:
    """Yield due evidence that meets its limit by less than the review to come requires."""
    for result in dossier.requirements:
        requirement = index.requirements[result.id]
        for entry in result.evidence:
            if entry.due and entry.state is State.MET:
                where = requirement.verification[entry.number].where
                for margin in required_margins(entry.quantity, index, dossier.review):
                    message = _thin(entry, margin, units)
                    if message is not None and message.startswith(NO_UNIT):
                        yield error("unit", where, message, "write a share in %, or a difference")
                    elif message is not None:
                        yield warning(RULE, where, f"{result.id}: {message}", _CURE)
                for message in entry.thin:
                    yield warning(RULE, where, f"{result.id}: {message}", _CURE)


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
        f"{entry.quantity} meets its limit by {entry.margin:.4g} {entry.unit}, and"
        f" {required.amount} of the {required.policy.of} is required at {required.review}"
    )
