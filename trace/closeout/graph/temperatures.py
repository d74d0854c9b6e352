"""Where kelvin meets degrees Celsius: a temperature is converted, a difference is not.

100 K is -173.15 degC as a temperature and 100 degC wide as a difference, and a unit text does not
say which of the two is meant (SI Brochure, 9th edition, 2.3.1: the kelvin serves both).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from closeout.graph.index import Index
from closeout.graph.new_findings import error, warning
from closeout.measure import UnitError, Units
from closeout.measure.scale import POINT, TEMPERATURE
from closeout.model.amount import Amount
from closeout.model.criterion import Limits
from closeout.model.problem import Finding, Pointer

RULE = "kelvin-meets-celsius"

_OF_DIFFERENCES = re.compile(
    r"(?:^|_)(?:difference|differences|spread|gradient|margin|tolerance|rise|drop|swing|excursion"
    r"|delta|drift|offset|error|uncertainty|diff|change|variation|stability|span)(?:$|_)"
    r"|^d(?:elta)?_?T$"
)


@dataclass(frozen=True, slots=True)
class _Meeting:
    """An amount that is compared with a unit, what it is an amount of, and where it stands."""

    amount: Amount
    unit: str
    of: str
    where: Pointer
    is_quantity: bool = False


def temperatures(index: Index, units: Units) -> Iterator[Finding]:
    """Yield a finding for each amount in kelvin that is compared with degC or degF, or the reverse.

    It is an error where what is compared is a difference: a criterion of the quantity says
    ``difference: true``, or the name of the quantity or parameter says it (spread, gradient,
    margin, rise).
    """
    for meeting in _meetings(index):
        refused = refusal(meeting.of, meeting.amount, meeting.unit, index, units)
        if refused is not None:
            yield error(RULE, meeting.where, refused, "write both in K")
        elif _mixes(meeting.amount.unit, meeting.unit, units):
            yield _read_as_temperature(meeting, units)


def refusal(of: str, amount: Amount, unit: str, index: Index, units: Units) -> str | None:
    """Return why an amount of a difference cannot be compared with a unit; None where it can.

    ``of`` is the quantity or parameter that the amount is one of.
    """
    if of not in index.differences and not _OF_DIFFERENCES.search(of):
        return None
    if not _mixes(amount.unit, unit, units):
        return None
    return (
        f"{of} is a difference of temperatures, and {amount} is compared with {unit}:"
        " a difference is no point on a scale"
    )


def refused_link(of: str, found: str, unit: str, index: Index, units: Units) -> str | None:
    """Return why what is found in a unit cannot be taken in another; None where it can.

    ``of`` is the quantity or parameter that is taken.
    """
    if of not in index.differences and not _OF_DIFFERENCES.search(of):
        return None
    if not _mixes(found, unit, units):
        return None
    return (
        f"{of} is a difference of temperatures, and is found in {found} and taken in {unit}:"
        " a difference is no point on a scale"
    )


def _meetings(index: Index) -> Iterator[_Meeting]:
    yield from _of_criteria(index)
    yield from _of_records(index)
    for spec in index.specs:
        for argument in spec.arguments:
            parameter = index.parameters.get(argument.name)
            if parameter is not None:
                where = parameter.where / "value"
                yield _Meeting(parameter.value, argument.unit, parameter.id, where)
    for waiver in index.project.waivers:
        requirement = index.requirements.get(waiver.requirement)
        for verification in () if requirement is None else requirement.verification:
            unit = verification.criterion.limits.unit
            if unit is not None and waiver.quantity == verification.criterion.quantity:
                place = waiver.where / "accepts"
                yield from _each(waiver.limits, unit, waiver.quantity or "", place)


def _of_criteria(index: Index) -> Iterator[_Meeting]:
    """Yield limits and conditions of each verification, and each value that a record measured."""
    for _, _, verification in index.project.verifications():
        criterion, where = verification.criterion, verification.where
        quantity, written = criterion.quantity or "", criterion.limits.unit
        spec = index.analyses.get(verification.analysis or "")
        field = None if spec is None else spec.field(quantity)
        if written is not None:
            unit = written if field is None else field.unit
            yield from _each(criterion.limits, unit, quantity, where)
        for name, given in criterion.given:
            parameter = index.parameters.get(name)
            if parameter is not None:
                for end in given.ends:
                    yield _Meeting(end, parameter.value.unit, name, where / "given" / name)
        for name, point in verification.leeway.at:
            parameter = index.parameters.get(name)
            if parameter is not None:
                yield _Meeting(point, parameter.value.unit, name, where / "tested_at" / name)
        for record in (index.records.get(name) for name in verification.records):
            measured = None if record is None else dict(record.measured).get(quantity)
            if record is not None and measured is not None and written is not None:
                place = record.where / "measured" / quantity
                yield _Meeting(measured.value, written, quantity, place, True)


def _of_records(index: Index) -> Iterator[_Meeting]:
    for record in index.project.records:
        for name, at in record.conditions:
            parameter = index.parameters.get(name)
            if parameter is not None:
                place = record.where / "conditions" / name
                for amount in at.ends:
                    yield _Meeting(amount, parameter.value.unit, name, place)


def _each(limits: Limits, unit: str, of: str, where: Pointer) -> Iterator[_Meeting]:
    for key, amount in limits.amounts:
        yield _Meeting(amount, unit, of, where / key, True)


def _mixes(one: str, other: str, units: Units) -> bool:
    """Return whether one unit is a point on a scale of temperature and the other is kelvin."""
    try:
        scales = units.scale(one), units.scale(other)
    except UnitError:
        return False  # reported at its own place
    if any(scale.dimension != TEMPERATURE for scale in scales):
        return False
    return (scales[0].kind == POINT) != (scales[1].kind == POINT)


def _read_as_temperature(meeting: _Meeting, units: Units) -> Finding:
    value = float(units.convert(meeting.amount, meeting.unit))
    otherwise = "a difference is taken by an argument in K"
    if meeting.is_quantity:
        otherwise = (
            f"if {meeting.of} is a difference, write difference: true at its criterion, and K"
            " everywhere"
        )
    return warning(
        RULE,
        meeting.where,
        f"{meeting.amount} is read as a temperature: {value:.10g} {meeting.unit}",
        f"write it in {meeting.unit}; {otherwise}",
    )
