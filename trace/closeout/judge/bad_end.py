"""Where in a range an analysis finds its bad end, and whether that is where it was tested."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from closeout.graph import Asked, Index
from closeout.graph.conditions import is_same_limit
from closeout.graph.findings import warning
from closeout.judge.records import in_force
from closeout.judge.standing import Standing
from closeout.measure import Units
from closeout.model.amount import read_amount
from closeout.model.answer import Extent
from closeout.model.dossier import Dossier, Evidence
from closeout.model.problem import Finding
from closeout.model.records import Requirement, Verification

Point = tuple[tuple[str, float], ...]
Texts = tuple[tuple[str, str], ...]

RULE = "bad-end-not-tested"


def bad_end(extent: Extent, asked: Asked, point: Point) -> Texts:
    """Return the conditions given as a range at the point that decides, as texts of amounts.

    One that is the same at the good end is left out: nothing was seen to depend on it.
    """
    if extent.low is None or extent.high is None:
        return ()
    # A point names what differs from the inputs.
    inputs = {used.name: used.value for used in asked.inputs}
    low, high, here = (inputs | dict(at) for at in (extent.low_at, extent.high_at, point))
    ranges = [used.name for used in asked.inputs if used.origin == "given" and used.low is not None]
    differ = [name for name in ranges if low[name] != high[name]]
    return ranges_at(tuple((name, here[name]) for name in differ), asked)


def ranges_at(point: Point, asked: Asked) -> Texts:
    """Return inputs at a point as texts of amounts."""
    at = dict(point)
    units = {used.name: "" if used.unit == "1" else f" {used.unit}" for used in asked.inputs}
    return tuple((name, f"{at[name]!r}{unit}") for name, unit in units.items() if name in at)


def not_tested(dossier: Dossier, index: Index, units: Units) -> Iterator[Finding]:
    """Yield a warning where an analysis finds its bad end elsewhere than a test was made."""
    standing = Standing(index, units, dossier.review)
    for result in dossier.requirements:
        if any(entry.bad_end for entry in result.evidence):
            requirement = index.requirements[result.id]
            for verification in requirement.verification:
                yield from _of(requirement, verification, result.evidence, standing)


def _of(
    requirement: Requirement,
    verification: Verification,
    evidence: Sequence[Evidence],
    standing: Standing,
) -> Iterator[Finding]:
    if not verification.records and not verification.leeway.at:
        return
    records = in_force(requirement, verification, standing)
    for entry in _deciding(requirement, verification, evidence, standing.units):
        for name, text in entry.bad_end:
            tested = standing.conditions.tested_elsewhere(
                requirement, verification, records, name, read_amount(text)
            )
            if tested is None:
                continue
            number, _, unit = text.partition(" ")
            yield warning(
                RULE,
                verification.where,
                f"{requirement.id} is tested {tested}, and {entry.analysis} finds its bad end at"
                f" {name} = {float(number):.6g} {unit}",
                "test it there, or say in the analysis what it leaves out",
            )


def _deciding(
    requirement: Requirement,
    verification: Verification,
    evidence: Sequence[Evidence],
    units: Units,
) -> Iterator[Evidence]:
    """Yield the evidence with the least margin of each analysis of the same criterion."""
    for number, other in enumerate(requirement.verification):
        if not is_same_limit(verification.criterion, other.criterion, units):
            continue
        cases = [e for e in evidence if e.number == number and e.bad_end and e.margin is not None]
        if cases:
            yield min(cases, key=lambda entry: entry.margin or 0.0)
