"""Amounts that cannot be compared with what they stand beside, or that exclude each other."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from closeout.graph.bounds import crossed
from closeout.graph.index import Index
from closeout.graph.new_findings import comparable, error, in_order, is_difference, is_unit
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount, exchanged
from closeout.model.criterion import Condition, Limits
from closeout.model.problem import Finding, Pointer
from closeout.model.records import (
    Parameter,
    Record,
    Requirement,
    Verification,
    Waiver,
)
from closeout.model.setting import Setting


def amounts(index: Index, units: Units) -> Iterator[Finding]:
    """Yield a finding for each amount whose unit does not fit, whatever uses it."""
    for parameter in index.project.parameters:
        yield from _parameter(parameter, units)
    for record in index.project.records:
        yield from _record(record, index, units)
    for requirement in index.project.requirements:
        for verification in requirement.verification:
            if not _by_a_known_quantity(verification, index):
                yield from limits_in(verification.criterion.limits, None, verification.where, units)
            yield from _measured_against(verification, index, units)
    for waiver in index.project.waivers:
        yield from _waiver(waiver, index.requirements.get(waiver.requirement), units)


def faults_of(parameter: Parameter, setting: Setting, units: Units) -> Iterator[tuple[str, str]]:
    """Yield what keeps a what-if from being read for a parameter, each with its cure."""
    unit, value = parameter.value.unit, setting.value
    ends = setting.ends if value is None else (value,)
    wrong = [message for end in ends for message in _refusal(units.nearest, end, unit)]
    yield from wrong
    if wrong or setting.spread is None:
        return
    if value is None:
        low, high = setting.ends
        if units.convert(low, unit) > units.convert(high, unit):
            yield exchanged(low, high)
        return
    for _, width in setting.spread.tolerance:
        yield from _refusal(units.tolerance, value, width, value.unit)


def _refusal(read: Callable[..., object], *arguments: object) -> Iterator[tuple[str, str]]:
    try:
        read(*arguments)
    except UnitError as wrong:
        yield wrong.message, wrong.cure


def limits_in(limits: Limits, unit: str | None, where: Pointer, units: Units) -> Iterator[Finding]:
    """Yield what keeps limits from being compared with a unit (None: with each other)."""
    unit = limits.unit if unit is None else unit
    if unit is None:
        return
    known = is_unit(unit, units)
    for key, amount in limits.amounts:
        yield from comparable(amount, unit if known else amount.unit, where / key, units)
    if limits.equal_to is not None and limits.within is not None:
        yield from is_difference(limits.within, limits.equal_to, where / "within", units)
    message = crossed(limits, units)
    if message is not None:
        yield error("bad-limits", where / "at_least", message, "correct the limits")


def _by_a_known_quantity(verification: Verification, index: Index) -> bool:
    """Return whether its limits are compared with a quantity's unit when the question is made."""
    spec = index.analyses.get(verification.analysis or "")
    return spec is not None and spec.field(verification.criterion.quantity or "") is not None


def _parameter(parameter: Parameter, units: Units) -> Iterator[Finding]:
    value, where = parameter.value, parameter.where
    wrong = list(comparable(value, value.unit, where / "value", units))
    yield from wrong
    if wrong:
        return
    spread = parameter.spread
    for name, amount in spread.tolerance:
        place = where / "tolerance"
        yield from is_difference(amount, value, place / name if name else place, units)
    if spread.sigma is not None:
        yield from is_difference(spread.sigma, value, where / "sigma", units)
    if spread.range is not None:
        yield from _range(parameter, spread.range, units)


def _range(parameter: Parameter, ends: tuple[Amount, Amount], units: Units) -> Iterator[Finding]:
    value, where = parameter.value, parameter.where / "range"
    wrong = [f for n, end in enumerate(ends) for f in comparable(end, value.unit, where / n, units)]
    yield from wrong
    if wrong:
        return
    low, high = (units.convert(end, value.unit) for end in ends)
    if low > high:
        yield from in_order(ends, where / 0, units)
    elif not low <= value.number <= high:
        yield error(
            "bad-spread",
            where,
            f"the value {value} is outside its range, {ends[0]} to {ends[1]}",
            "write a range that contains the value",
        )


def _record(record: Record, index: Index, units: Units) -> Iterator[Finding]:
    for name, at in record.conditions:
        parameter = index.parameters.get(name)
        unit = "" if parameter is None else parameter.value.unit
        if parameter is not None and is_unit(unit, units):
            yield from _as_run(at, unit, record.where / "conditions" / name, units)
    for name, measured in record.measured:
        where = record.where / "measured" / name
        wrong = list(comparable(measured.value, measured.value.unit, where, units))
        yield from wrong
        if measured.uncertainty is not None and not wrong:
            yield from is_difference(measured.uncertainty, measured.value, where, units)


def _as_run(at: Condition, unit: str, where: Pointer, units: Units) -> Iterator[Finding]:
    wrong = [
        finding
        for number, end in enumerate(at.ends)
        for finding in comparable(end, unit, where / number if at.is_range else where, units)
    ]
    yield from wrong
    if wrong:
        return
    if at.is_range:
        yield from in_order(at.ends, where / 0, units)
    elif at.measured is not None and at.measured.uncertainty is not None:
        yield from is_difference(at.measured.uncertainty, at.measured.value, where, units)


def _measured_against(verification: Verification, index: Index, units: Units) -> Iterator[Finding]:
    """Yield a finding where a record measures in a unit that the limit cannot be compared with."""
    quantity, unit = verification.criterion.quantity, verification.criterion.limits.unit
    if quantity is None or unit is None:
        return
    for record in (index.records.get(name) for name in verification.records):
        measured = None if record is None else dict(record.measured).get(quantity)
        if record is not None and measured is not None and is_unit(unit, units):
            where = record.where / "measured" / quantity
            yield from comparable(measured.value, unit, where, units)


def _waiver(waiver: Waiver, requirement: Requirement | None, units: Units) -> Iterator[Finding]:
    """Yield what keeps the accepted limits from being compared with the requirement's own."""
    verifications = () if requirement is None else requirement.verification
    written = (
        verification.criterion.limits.unit
        for verification in verifications
        if verification.criterion.quantity == waiver.quantity
    )
    unit = next((unit for unit in written if unit is not None), None)
    known = unit if unit is not None and is_unit(unit, units) else None
    yield from limits_in(waiver.limits, known, waiver.where / "accepts", units)
