"""The project's margin policy: how far beyond its limit a quantity must be at a review."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from closeout.graph import Bounds, Index
from closeout.graph.findings import error, warning
from closeout.judge.limits import Judgement, compare, shown_in
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.problem import Finding
from closeout.model.records import BasisKind, Limits, MarginPolicy

RULE = "margin-policy"
NO_UNIT = "the margin "


def required(policy: MarginPolicy, index: Index, review: str | None) -> tuple[str, Amount] | None:
    """Return what a policy requires at a review: its own entry, else that of the next one.

    None for the review is the last one.
    """
    reviews = index.project.charter.reviews
    number = index.review_number(review)
    wanted = dict(policy.required)
    for name in reviews[len(reviews) - 1 if number is None else number :]:
        if name in wanted:
            return name, wanted[name]
    return None


def enforced(
    one: Judgement, limits: Limits, index: Index, units: Units, review: str | None
) -> Judgement:
    """Return evidence that meets its limit as a shortfall, where an enforced margin is missed.

    Its margin is then that to the limit with the required margin on it, and so a waiver is asked.
    """
    entry, extremes = one.evidence, one.extremes
    if entry.state is not State.MET or extremes is None:
        return one
    for policy in _of(entry, index):
        asked = required(policy, index, review) if policy.enforce else None
        if asked is None:
            continue
        try:
            ends = (extremes.low, extremes.high)
            bounds = _tightened(policy, asked[1], extremes.unit, extremes.bounds, ends, units)
        except UnitError:
            continue  # told as a finding
        judged = compare(extremes.low, extremes.high, bounds)
        if judged.state is State.NOT_MET:
            shown = shown_in(units, extremes.unit, limits)
            text = f"the limit is met, the margin of {asked[1]} that {asked[0]} requires is not"
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
                for policy in _of(entry, index):
                    where = requirement.verification[entry.number].where
                    asked = required(policy, index, dossier.review)
                    message = None if asked is None else _thin(entry, policy, *asked, units)
                    if message is not None and message.startswith(NO_UNIT):
                        yield error("unit", where, message, "write a share in %, or a difference")
                    elif message is not None:
                        yield warning(
                            RULE, where, f"{result.id}: {message}",
                            "win margin, or agree on another policy (project.margins)",
                        )  # fmt: skip


def _of(entry: Evidence, index: Index) -> Iterator[MarginPolicy]:
    for policy in index.project.charter.margins:
        if policy.quantity == entry.quantity:
            yield policy


def _thin(
    entry: Evidence, policy: MarginPolicy, review: str, amount: Amount, units: Units
) -> str | None:
    if entry.basis is not None and entry.basis.startswith(BasisKind.PROBABILITY.value):
        return (
            f"{entry.quantity} rests on a probability and has no margin in value, so the {amount}"
            f" of the {policy.of} that {review} requires is not held against it"
        )
    low = next(n for n in (entry.judged_low, entry.low, entry.value, 0.0) if n is not None)
    high = next(n for n in (entry.judged_high, entry.high, entry.value, 0.0) if n is not None)
    if entry.margin is None or entry.unit is None:
        return None
    bounds = Bounds(entry.at_least, entry.at_most)
    try:
        wanted = _tightened(policy, amount, entry.unit, bounds, (low, high), units)
    except UnitError as wrong:
        return f"{NO_UNIT}{amount} of {entry.quantity}: {wrong.message}"
    if compare(low, high, wanted).state is State.MET:
        return None
    return (
        f"{entry.quantity} meets its limit by {entry.margin:.4g} {entry.unit}, and {amount}"
        f" of the {policy.of} is required at {review}"
    )


def _tightened(
    policy: MarginPolicy,
    amount: Amount,
    unit: str,
    bounds: Bounds,
    ends: tuple[float, float],
    units: Units,
) -> Bounds:
    """Return limits with the required margin on them: a share of the limit or value, or absolute.

    Raises:
        UnitError: the margin is no difference in the unit.
    """
    low, high = ends

    def moved(limit: float, value: float, sign: int) -> float:
        # In decimals, as the author wrote them: 1.1 and 10 % of it are 1.21, not a bit more.
        base = Fraction(repr(limit if policy.of == "limit" else value))
        return float(Fraction(repr(limit)) + sign * units.convert_difference(amount, unit, base))

    return Bounds(
        None if bounds.at_least is None else moved(bounds.at_least, low, 1),
        None if bounds.at_most is None else moved(bounds.at_most, high, -1),
    )
