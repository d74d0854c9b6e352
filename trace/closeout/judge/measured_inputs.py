"""Parameters that a verification record measured: a number while the record is in force.

A measured input (``from: TR-PWR-002.sleep_drain``) is the value and the expanded uncertainty of the
record that is in force for the article's present build. A record that is only named as the source
of a stated value is compared with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from closeout.graph.inputs import ends_of, spread_text
from closeout.graph.links import record_named
from closeout.graph.new_findings import alike, error, nearest, warning
from closeout.judge.measuring import measuring
from closeout.judge.uncertainty import half_width, times_of
from closeout.judge.validity import Validity
from closeout.measure import UnitError
from closeout.model.amount import Amount, Measured
from closeout.model.awaited import Awaited
from closeout.model.problem import Finding, Pointer
from closeout.model.records import LinkedParameter, Parameter, Record, Spread, build_text


@dataclass(frozen=True, slots=True)
class MeasuredInputs:
    """What records say of the parameters that are found in them.

    ``waiting`` are those of which no record is in force, with the reason; of one that is in neither
    something is wrong, which ``findings`` tell.
    """

    parameters: Mapping[str, Parameter]
    waiting: Mapping[str, Awaited]
    findings: tuple[Finding, ...]


def measured_inputs(validity: Validity) -> MeasuredInputs:
    """Return the parameters that records measured, at the date of the state."""
    parameters: dict[str, Parameter] = {}
    waiting: dict[str, Awaited] = {}
    findings: list[Finding] = []
    for one in validity.index.linked.values():
        if not any(record_named(text, validity.index) for text in one.link.quantities):
            continue
        found = _found(one, validity)
        if isinstance(found, Parameter):
            parameters[one.id] = found
        elif isinstance(found, Awaited):
            waiting[one.id] = found
        else:
            findings.append(found)
    findings += _sources(validity)
    return MeasuredInputs(parameters, waiting, tuple(findings))


def _found(one: LinkedParameter, validity: Validity) -> Parameter | Awaited | Finding:
    """Return the parameter, why no record is in force, or what is wrong with the link."""
    link, index = one.link, validity.index
    named = record_named(link.quantities[0], index)
    if named is None or len(link.quantities) > 1:
        text = "a record measures one value, and is not the end of a range"
        return error("linked-parameter", link.where, text, "name one quantity of one record")
    if link.case is not None or link.every_case:
        text = f"{link.quantities[0]} is measured, and has no cases"
        return error("linked-parameter", link.where, text, "remove the key case")
    record, quantity = index.records[named[0]], named[1]
    found = measuring(record, quantity, validity)
    last = found.record
    if quantity not in dict(record.measured) and (record.date is not None or record.measured):
        return _not_measured(record, quantity, link.where)
    if found.against:
        reason = f"{one.id} has no value: {'; '.join(found.against)}"
        return Awaited(one.id, reason, last.id, found.rebuilt)
    value = dict(last.measured)[quantity]
    if value.uncertainty is None:
        return _no_uncertainty(one, last, quantity)
    try:  # that it is a distance from the value
        half_width(value, value.value.unit, validity.units, _least_k(validity))
    except UnitError as wrong:
        return error("unit", last.where / "measured" / quantity, wrong.message, wrong.cure)
    origin = _source(last, record, value, validity)
    source = f"{one.source}; {origin}" if one.source else origin
    return Parameter(
        one.where, one.id, value.value, _spread(value, validity), source=source,
        formerly=one.formerly, record=last.id, link=link, coverage=_coverage(value, validity),
    )  # fmt: skip


def _not_measured(record: Record, quantity: str, where: Pointer) -> Finding:
    names = [name for name, _ in record.measured]
    near = nearest(quantity, names)
    cure = f"did you mean {near}?" if near else f"it measured {', '.join(names) or 'nothing'}"
    return error("unknown-quantity", where, f"{record.id} did not measure {quantity}", cure)


def _no_uncertainty(one: LinkedParameter, record: Record, quantity: str) -> Finding:
    value = dict(record.measured)[quantity]
    return error(
        "linked-parameter", one.link.where,
        f"{record.id} states no uncertainty of {quantity}, so {one.id} would have no spread",
        f"add it to {record.id}, as {value.value} +/- its uncertainty (k = 2), or say why it is"
        " exact",
    )  # fmt: skip


def _least_k(validity: Validity) -> Fraction:
    return validity.index.project.charter.policy.coverage_factor


def _spread(value: Measured, validity: Validity) -> Spread:
    """Return the expanded uncertainty at the project's coverage factor, as a tolerance."""
    if value.uncertainty is None or value.exact is not None:
        return Spread()
    times, stated = times_of(value, _least_k(validity)), value.uncertainty
    if times == 1:
        return Spread(tolerance=(("", stated),))
    number = stated.number * times
    half = Amount(f"{float(number):.6g} {stated.unit}".strip(), number, stated.unit)
    return Spread(tolerance=(("", half),))


def _coverage(value: Measured, validity: Validity) -> Fraction | None:
    """Return the k of the expanded uncertainty that is the spread; None where there is none."""
    return None if value.k is None else max(value.k, _least_k(validity))


def _source(last: Record, named: Record, value: Measured, validity: Validity) -> str:
    """Return where a measured number comes from: record, document, day, build, coverage factor."""
    parts = [f"measured: {last.id}"]
    if last is not named:
        parts[0] += f", which replaces {named.id}"
    parts += [part for part in (last.document, last.date) if part]
    parts += [f"{name} {build_text(build)}" for name, build in last.article]
    if value.exact is not None:
        parts.append(f"exact: {value.exact}")
    elif value.k is not None:
        k = _coverage(value, validity)
        assert k is not None
        parts.append(f"expanded uncertainty, k = {float(k):g}")
        if k != value.k:
            parts.append(f"raised from {value.uncertainty} (k = {float(value.k):g})")
    return ", ".join(parts)


def _sources(validity: Validity) -> Iterator[Finding]:
    """Yield where a stated value is not what the record measured that is named as its source."""
    index = validity.index
    renamed = index.renamed.get("records", {})
    for one in index.parameters.values():
        is_record = one.source in index.records or one.source in renamed
        name = one.record or (one.source if is_record else None)
        if name is None or one.link is not None:
            continue
        if name not in index.records and index.is_absent(name, index.records):
            near = alike(name, index.records, renamed)
            cure = f"did you mean {near}?" if near else "add the record, or name the document"
            place = one.where / "source"
            place = place / "record" if one.record else place
            yield error("dangling-reference", place, f"there is no record {name}", cure)
        now = renamed.get(name, name)
        if now in index.records:
            yield from _source_findings(one, index.records[now], validity)


def _source_findings(one: Parameter, record: Record, validity: Validity) -> Iterator[Finding]:
    quantity = _quantity_of(one, record, validity)
    found = measuring(record, quantity, validity)
    last, value = found.record, dict(found.record.measured).get(quantity)
    if found.against:
        yield warning(
            "source-not-in-force", one.where / "source",
            f"the source of {one.id} is not in force: {'; '.join(found.against)}",
            "measure it again, or name another source",
        )  # fmt: skip
        return
    if last is not record:
        yield warning(
            "source-not-in-force", one.where / "source",
            f"{record.id}, the source of {one.id}, is replaced by {last.id}",
            f"name {last.id}, and its value",
        )  # fmt: skip
    if value is not None and (outside := _outside(one, value, validity)):
        yield error(
            "measured-outside-declared", one.where,
            f"{one.id} is declared as {outside}, and {last.id} measured {value.text}",
            f"declare what {last.id} measured, or write from: {last.id}.{quantity}",
        )  # fmt: skip


def _quantity_of(one: Parameter, record: Record, validity: Validity) -> str:
    """Return the quantity of a record that a parameter is: of its name, or the only one there is.

    A name that it had before counts; what is of another dimension is another quantity.
    """
    measured = dict(record.measured)
    named = next((name for name in (one.id, *one.formerly) if name in measured), None)
    if named is not None or len(measured) != 1:
        return named or one.id
    ((only, value),) = measured.items()
    try:
        validity.units.convert(value.value, one.value.unit)
    except UnitError:
        return one.id
    return only


def _outside(one: Parameter, value: Measured, validity: Validity) -> str | None:
    """Return what is declared, where it does not enclose what was measured; else None."""
    unit, units = one.value.unit, validity.units
    try:
        middle = units.convert(value.value, unit)
        half = half_width(value, unit, units, _least_k(validity)) or Fraction(0)
        low, high = ends_of(one, unit, units) or (one.value.number, one.value.number)
    except UnitError as wrong:
        return f"{one.value} ({wrong.message})"
    if low <= middle - half and middle + half <= high:
        return None
    return " ".join(filter(None, (one.value.text, spread_text(one.spread))))
