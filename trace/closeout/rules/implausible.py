"""Rules over what is well-formed and can hardly be meant."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from closeout.graph import Index
from closeout.graph.links import reach_of
from closeout.graph.new_findings import warning
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.criterion import Condition
from closeout.model.problem import Finding
from closeout.model.records import (
    BasisKind,
    Method,
    Nonconformance,
    Requirement,
    Spread,
    Verification,
)


def implausible(index: Index, units: Units) -> Iterator[Finding]:
    """Yield what contradicts what is declared elsewhere, or says nothing at all."""
    for requirement in index.requirements.values():
        for verification in requirement.verification:
            yield from _given_outside_range(requirement, verification, index, units)
            yield from _worst_case_of_nothing(requirement, verification, index)
    yield from _review_dates_falling(index)
    for report in index.project.nonconformances:
        yield from _nonconformance_of_nothing(report, index)
    yield from _risk_of_another(index)


def _given_outside_range(
    requirement: Requirement, verification: Verification, index: Index, units: Units
) -> Iterator[Finding]:
    for name, given in verification.criterion.given:
        parameter = index.parameters.get(name)
        declared = None if parameter is None else parameter.spread.range
        if parameter is None or declared is None:
            continue
        if _is_outside(given, declared, parameter.value.unit, units):
            yield warning(
                "given-outside-range",
                verification.where / "given" / name,
                f"{requirement.id} applies at {name} = {given}, and {name} is declared from"
                f" {declared[0]} to {declared[1]}",
                "correct the condition, or declare the wider range at the parameter",
            )


def _is_outside(given: Condition, declared: tuple[Amount, Amount], unit: str, units: Units) -> bool:
    """Return whether a condition leaves a range; one that holds all of it asks for more, rightly.

    What does not compare is reported elsewhere.
    """
    try:
        low, *rest = (units.convert(end, unit) for end in given.ends)
        least, most = (units.convert(end, unit) for end in declared)
    except UnitError:
        return False
    high = rest[0] if rest else low
    return not (least <= low and high <= most) and not (low <= least and most <= high)


def _worst_case_of_nothing(
    requirement: Requirement, verification: Verification, index: Index
) -> Iterator[Finding]:
    spec = index.analyses.get(verification.analysis or "")
    worst = verification.basis.kind is BasisKind.WORST_CASE
    if spec is None or not worst or verification.method is not Method.ANALYSIS:
        return
    names = reach_of(spec, index).parameters
    if not any(_spreads(name, verification, index) for name in names):
        yield warning(
            "worst-case-of-nothing",
            verification.where / "analysis",
            f"{requirement.id} requires the worst case of {spec.name}, and none of its inputs has"
            " a tolerance: one point is evaluated",
            "declare tolerances of its inputs, or write basis: nominal",
        )


def _spreads(name: str, verification: Verification, index: Index) -> bool:
    """Return whether an input may be anywhere but at its value; one that is unknown may be."""
    given = dict(verification.criterion.given).get(name)
    if given is not None:
        return len({end.text for end in given.ends}) > 1
    if name in index.waiting:
        return True
    if name in index.linked:  # two ends are a range; else what is below it says it
        linked = index.linked[name].link
        known = all(text.rpartition(".")[0] in index.analyses for text in linked.quantities)
        return not known or len(linked.quantities) > 1 or linked.every_case
    parameter = index.parameters.get(name)
    return parameter is None or _is_wide(parameter.spread)


def _is_wide(spread: Spread) -> bool:
    if spread.range is not None:
        return spread.range[0].text != spread.range[1].text
    return spread.sigma is not None or any(part.number for _, part in spread.tolerance)


def _review_dates_falling(index: Index) -> Iterator[Finding]:
    """The reviews are listed in their order, so none can come before one that is listed earlier."""
    charter = index.project.charter
    dates = charter.review_dates
    dated = [(review, dates[review]) for review in charter.reviews if review in dates]
    for (before, first), (after, then) in pairwise(dated):
        if then < first:  # both as year-month-day
            yield warning(
                "review-dates-falling",
                charter.where / "review_dates" / after,
                f"{after} is on {then}, before {before} on {first}, which comes first in reviews",
                "correct the date, or the order of reviews",
            )


def _nonconformance_of_nothing(report: Nonconformance, index: Index) -> Iterator[Finding]:
    found_by = index.records.get(report.found_by or "")
    missing = [] if report.found_by else ["the record that found it (found_by)"]
    if not report.requirements and not (found_by and found_by.judged):
        missing.append("its requirements, so it keeps no requirement open")
    if missing:
        yield warning(
            "nonconformance-of-nothing",
            report.where,
            f"{report.id} does not name {', nor '.join(missing)}",
            "add found_by: with the record, and requirements: with those that are not met",
        )


def _risk_of_another(index: Index) -> Iterator[Finding]:
    """One assessment of two subjects was made of one of them; two owners are two subjects."""
    first: dict[str, Requirement] = {}
    for requirement, number, verification in index.project.verifications():
        if verification.risk is None or requirement.owner is None:
            continue
        other = first.setdefault(" ".join(verification.risk.split()), requirement)
        if other.owner != requirement.owner:
            yield warning(
                "risk-of-another",
                requirement.where / "verification" / number / "risk",
                f"{requirement.id} of {requirement.owner} cites {verification.risk}, and so does"
                f" {other.id} of {other.owner}: an assessment covers one subject",
                "cite the assessment of this requirement, or its clause",
            )
