"""Under which conditions a criterion holds, and what a verification says of testing there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from closeout.graph.bounds import key_of_criterion
from closeout.graph.index import Index
from closeout.graph.new_findings import comparable, error, is_difference, is_unit
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.criterion import Condition, Criterion
from closeout.model.problem import Finding, Pointer
from closeout.model.records import Parameter, Requirement, Verification

TESTED_AT = "tested-at"


def conditions_of(
    requirement: Requirement, verification: Verification, units: Units
) -> dict[str, list[Condition]]:
    """Return the conditions under which a criterion holds, by name.

    Those are the conditions of the verification, and where it gives none of a name, each that the
    same criterion (quantity and limits) has in the requirement's other verifications.
    """
    criterion = verification.criterion
    found: dict[str, list[Condition]] = {name: [given] for name, given in criterion.given}
    if criterion.quantity is None:
        return found
    own = set(found)
    for other in requirement.verification:
        if not other.criterion.given or not is_same_limit(criterion, other.criterion, units):
            continue
        for name, given in other.criterion.given:
            if name not in own:
                found.setdefault(name, []).append(given)
    return found


def is_same_limit(one: Criterion, other: Criterion, units: Units) -> bool:
    """Return whether two criteria are of one quantity and limit, in however many cases."""
    if one.quantity != other.quantity:
        return False
    keys = [
        key_of_criterion(replace(criterion, cases_at_least=None), units)
        for criterion in (one, other)
    ]
    return keys[0] == keys[1]


def leeways(index: Index, units: Units) -> Iterator[Finding]:
    """Yield tolerances that are no distances, and points of tests that no range holds."""
    charter = index.project.charter
    for pattern, tolerance in charter.policy.test_tolerances:
        where = charter.where / "policy" / "test_tolerances" / pattern
        yield from _distance(pattern, tolerance, index.parameters, where, units)
    for requirement, _, verification in index.project.verifications():
        leeway, where = verification.leeway, verification.where
        for name, tolerance in leeway.within:
            place = where / "within" / name
            yield from _distance(name, tolerance, index.parameters, place, units)
        required = conditions_of(requirement, verification, units) if leeway.at else {}
        for name, point in leeway.at:
            yield from _point(
                name, point, required.get(name, []), where / "tested_at" / name, units
            )


def _distance(
    name: str,
    tolerance: Amount,
    parameters: Mapping[str, Parameter],
    where: Pointer,
    units: Units,
) -> Iterator[Finding]:
    parameter = parameters.get(name)
    if parameter is not None and is_unit(parameter.value.unit, units):
        yield from is_difference(tolerance, parameter.value, where, units)


def _point(
    name: str, point: Amount, required: list[Condition], where: Pointer, units: Units
) -> Iterator[Finding]:
    ranges = [one for one in required if one.is_range]
    if not ranges:
        yield error(
            TESTED_AT, where,
            f"tested_at names {name}, for which the criterion gives no range",
            "remove it, or name a condition with a range",
        )  # fmt: skip
        return
    wrong = list(comparable(point, ranges[0].ends[0].unit, where, units))
    yield from wrong
    if not wrong and not any(_is_inside(point, one, units) for one in ranges):
        yield error(
            TESTED_AT, where,
            f"{point} is outside the range of {name}, {ranges[0]}",
            "name a point of the range",
        )  # fmt: skip


def _is_inside(point: Amount, given: Condition, units: Units) -> bool:
    try:
        low, high = sorted(units.convert(end, point.unit) for end in given.ends)
    except UnitError:
        return True  # reported where the two ends are compared with the parameter
    return low <= point.number <= high
