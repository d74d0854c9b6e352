"""What does not hold together in a project: references, cycles, identifiers, units, loose ends.

Every rule here is one of form, trace or unit: an error, except the loose ends, which are warnings.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import Any

from closeout.graph.index import Index
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount, shorten
from closeout.model.problem import Finding, Pointer, Severity
from closeout.model.records import Method, Parameter


def check(index: Index, units: Units) -> list[Finding]:
    """Return everything that can be said of a project without running an analysis."""
    found: list[Finding] = []
    for rule in (_duplicates, _references, _reviews, _cycles, _loose_requirements, _unused):
        found.extend(rule(index))
    found.extend(_units(index, units))
    return found


def error(rule: str, where: Pointer, message: str, cure: str) -> Finding:
    """Return a finding that keeps the project from being judged."""
    return Finding(rule, Severity.ERROR, where, message, cure)


def warning(rule: str, where: Pointer, message: str, cure: str) -> Finding:
    """Return a finding to look at."""
    return Finding(rule, Severity.WARNING, where, message, cure)


def _duplicates(index: Index) -> Iterator[Finding]:
    project = index.project
    kinds: Mapping[str, Iterable[Any]] = {
        "requirement": project.requirements,
        "parameter": project.parameters,
        "record": project.records,
        "waiver": project.waivers,
        "document": project.documents,
        "article": project.articles,
        "nonconformance": project.nonconformances,
    }
    for kind, items in kinds.items():
        first: dict[str, Pointer] = {}
        for item in items:
            if item.id not in first:
                first[item.id] = item.where
                continue
            yield error(
                "duplicate-identifier",
                item.where if kind == "parameter" else item.where / "id",
                f"{kind} {item.id} is given already in {first[item.id].path}; this one is not used",
                "give each its own identifier; identifiers are never reused",
            )


def _references(index: Index) -> Iterator[Finding]:
    project = index.project
    for requirement in project.requirements:
        yield from _named(
            "requirement", requirement.derived_from, index.requirements,
            requirement.where / "derived_from",
        )  # fmt: skip
        if requirement.source and requirement.source.document and index.documents:
            yield from _named(
                "document", [requirement.source.document], index.documents,
                requirement.where / "source" / "document", scalar=True,
            )  # fmt: skip
        for verification in requirement.verification:
            yield from _named(
                "record", verification.records, index.records, verification.where / "records"
            )
            yield from _methods(index, verification.records, verification.method,
                                verification.where / "records")  # fmt: skip
    for record in project.records:
        judged = [name for name, _ in record.judged]
        yield from _named(
            "requirement", judged, index.requirements, record.where / "judged", keys=True
        )
        if record.replaces is not None:
            yield from _named(
                "record", [record.replaces], index.records, record.where / "replaces", scalar=True
            )
    for waiver in project.waivers:
        yield from _named(
            "requirement", [waiver.requirement], index.requirements,
            waiver.where / "requirement", scalar=True,
        )  # fmt: skip
    for report in project.nonconformances:
        yield from _named(
            "requirement", report.requirements, index.requirements, report.where / "requirements"
        )
        for key, name in (("found_by", report.found_by), ("closed_by", report.closed_by)):
            if name is not None:
                yield from _named("record", [name], index.records, report.where / key, scalar=True)
    for agreement in project.agreements:
        yield from _named(
            "requirement", agreement.requirements, index.requirements,
            agreement.where / "requirements",
        )  # fmt: skip


def _named(
    kind: str,
    names: Iterable[str],
    known: Mapping[str, Any],
    where: Pointer,
    *,
    scalar: bool = False,
    keys: bool = False,
) -> Iterator[Finding]:
    for number, name in enumerate(names):
        if name not in known:
            near = nearest(name, known)
            yield error(
                "dangling-reference",
                where if scalar else where / (name if keys else number),
                f"there is no {kind} {name}",
                f"did you mean {near}?" if near else f"add the {kind} or remove the reference",
            )


def _methods(
    index: Index, names: Iterable[str], method: Method, where: Pointer
) -> Iterator[Finding]:
    for number, name in enumerate(names):
        record = index.records.get(name)
        if record is not None and record.method is not method:
            yield error(
                "record-method",
                where / number,
                f"{name} records a {record.method.value}, the verification is by {method.value}",
                "name a record of the verification's own method",
            )


def _reviews(index: Index) -> Iterator[Finding]:
    charter = index.project.charter
    reviews = charter.reviews
    listed = f"the project's reviews are {', '.join(reviews)}" if reviews else "it lists none"

    def known(review: str | None, where: Pointer) -> Iterator[Finding]:
        if review is not None and review not in reviews:
            yield error("unknown-review", where, f"there is no review {review}", listed)

    yield from known(charter.next_review, charter.where / "next_review")
    for review in {review for review in reviews if reviews.count(review) > 1}:
        yield error(
            "duplicate-identifier", charter.where / "reviews", f"review {review} is listed twice",
            "list each review once, in their order",
        )  # fmt: skip
    for _, _, verification in index.project.verifications():
        yield from known(verification.review, verification.where / "review")
    for waiver in index.project.waivers:
        yield from known(waiver.expires, waiver.where / "expires")
    for agreement in index.project.agreements:
        yield from known(agreement.review, agreement.where / "review")


def _cycles(index: Index) -> Iterator[Finding]:
    graph = {r.id: set(r.derived_from) for r in index.project.requirements}
    while True:
        try:
            TopologicalSorter(graph).prepare()
            return
        except CycleError as cycle:
            path: list[str] = cycle.args[1]
            first = index.requirements[min(path)]
            shown = path[path.index(first.id) :] + path[1 : path.index(first.id) + 1]
            yield error(
                "cycle",
                first.where / "derived_from",
                f"these requirements are derived from each other: {' <- '.join(shown)}",
                "remove one of the references; a requirement stands above or below, not both",
            )
            # One edge less, and look for the next.
            graph[path[1]] = graph[path[1]] - {path[0]}


def _loose_requirements(index: Index) -> Iterator[Finding]:
    for requirement in index.project.requirements:
        if requirement.verification or requirement.not_applicable:
            continue
        children = [index.requirements[child] for child in index.derived.get(requirement.id, ())]
        if not children:
            yield error(
                "unverified-requirement",
                requirement.where,
                f"{requirement.id} has no verification, and none is derived from it",
                "plan a verification (method, level, stage, review), or derive requirements",
            )
        elif all(child.not_applicable for child in children):
            yield warning(
                "nothing-applicable",
                requirement.where,
                f"{requirement.id} has no verification of its own, and all that is derived from it"
                " is not applicable: nothing can show that it is met",
                "plan a verification, or say that it is not applicable too",
            )


def _unused(index: Index) -> Iterator[Finding]:
    wanted = {argument.name for spec in index.specs for argument in spec.arguments}
    conditions = {n for _, _, v in index.project.verifications() for n, _ in v.criterion.given}
    conditions |= {name for record in index.project.records for name, _ in record.conditions}
    for parameter in index.project.parameters:
        if parameter.id not in wanted and parameter.id not in conditions:
            near = nearest(parameter.id, wanted - set(index.parameters))
            yield warning(
                "unused-parameter",
                parameter.where,
                f"nothing uses the parameter {parameter.id}",
                f"did you mean {near}?" if near else "remove it, or use it in an analysis",
            )
    used = {
        index.analyses[v.analysis].name
        for _, _, v in index.project.verifications()
        if v.analysis is not None and v.analysis in index.analyses
    }
    for spec in index.specs:
        if spec.name not in used:
            yield warning(
                "unused-analysis",
                Pointer(spec.path, (spec.line,)),
                f"no requirement uses the analysis {spec.name}",
                "name it in a verification, or remove it",
            )


def _units(index: Index, units: Units) -> Iterator[Finding]:
    for parameter in index.project.parameters:
        yield from _parameter_units(parameter, units)
    for record in index.project.records:
        for name, amount in record.conditions:
            if name in index.parameters:
                where = record.where / "conditions" / name
                yield from comparable(amount, index.parameters[name].value.unit, where, units)
        for name, measured in record.measured:
            where = record.where / "measured" / name
            yield from comparable(measured.value, measured.value.unit, where, units)
            if measured.uncertainty is not None:
                yield from _difference(measured.uncertainty, measured.value, where, units)
    for _, _, verification in index.project.verifications():
        if verification.analysis in index.analyses:
            continue  # held against the unit of the quantity when the question is made
        limits = verification.criterion.limits
        where = verification.where
        ends = [
            (key, amount)
            for key in ("at_least", "at_most", "equal_to")
            if (amount := getattr(limits, key)) is not None
        ]
        for key, amount in ends:
            yield from comparable(amount, ends[0][1].unit, where / key, units)
        if limits.equal_to is not None and limits.within is not None:
            yield from _difference(limits.within, limits.equal_to, where / "within", units)


def _parameter_units(parameter: Parameter, units: Units) -> Iterator[Finding]:
    unit = parameter.value.unit
    wrong = list(comparable(parameter.value, unit, parameter.where / "value", units))
    yield from wrong
    if wrong:
        return
    spread = parameter.spread
    for name, amount in spread.tolerance:
        where = parameter.where / "tolerance"
        yield from _difference(amount, parameter.value, where / name if name else where, units)
    if spread.sigma is not None:
        yield from _difference(spread.sigma, parameter.value, parameter.where / "sigma", units)
    for number, end in enumerate(spread.range or ()):
        yield from comparable(end, unit, parameter.where / "range" / number, units)


def comparable(amount: Amount, unit: str, where: Pointer, units: Units) -> Iterator[Finding]:
    """Yield a finding where an amount cannot be read in a unit."""
    try:
        units.convert(amount, unit)
    except UnitError as wrong:
        yield error("unit", where, f"{shorten(amount.text)}: {wrong.message}", wrong.cure)


def _difference(amount: Amount, of: Amount, where: Pointer, units: Units) -> Iterator[Finding]:
    try:
        units.tolerance(of, amount, of.unit)
    except UnitError as wrong:
        yield error("unit", where, f"{shorten(amount.text)}: {wrong.message}", wrong.cure)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that is nearest in spelling, or None."""
    return next(iter(difflib.get_close_matches(name, list(known), n=1)), None)
