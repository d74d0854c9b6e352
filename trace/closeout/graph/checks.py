"""What does not hold together in a project: references, circles, identifiers, units, loose ends.

Every rule here is one of form, trace or unit: an error, except the loose ends, which are warnings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fnmatch import fnmatchcase
from typing import Any

from closeout.graph.allocation import allocations
from closeout.graph.amounts import amounts
from closeout.graph.assessed import source_issues
from closeout.graph.criterion_conditions import leeways
from closeout.graph.cycles import cycles
from closeout.graph.formerly import earlier_identifiers
from closeout.graph.index import Index
from closeout.graph.links import findings_of_links, taken_by_links
from closeout.graph.measured import misspelt_quantities
from closeout.graph.new_findings import Spelling, error, is_difference, is_unit, warning
from closeout.graph.new_findings import nearest as nearest  # who asks for checks asks for this too
from closeout.graph.references import references, reviews
from closeout.graph.reports import reports
from closeout.graph.temperatures import temperatures
from closeout.measure import Units
from closeout.model.amount import Amount
from closeout.model.probability import probability_text
from closeout.model.problem import Finding, Pointer
from closeout.model.question import Field
from closeout.model.records import LinkedParameter, Parameter


def check(index: Index, units: Units) -> list[Finding]:
    """Return everything that can be said of a project without running an analysis.

    Where items were left out because of a fault of their own, nothing is reported of what only they
    may lack: a reference to them, a requirement that nothing verifies, a parameter without use.
    """
    found: list[Finding] = []
    for rule in (
        _duplicates,
        earlier_identifiers,
        references,
        reviews,
        cycles,
        _unverified,
        _nothing_applicable,
    ):
        found.extend(rule(index))
    if index.complete:
        found.extend(_no_requirements(index))
        found.extend(_unused_parameters(index) if index.code else ())
        found.extend(_unused_analyses(index))
        found.extend(_policies_of_nothing(index))
        found.extend(_reports_of_nobody(index))
    found.extend(_contingencies_below_zero(index))
    found.extend(out_of_reach(index))
    found.extend(reports(index))
    found.extend(misspelt_quantities(index))
    found.extend(allocations(index, units))
    found.extend(amounts(index, units))
    found.extend(temperatures(index, units))
    found.extend(leeways(index, units))
    found.extend(findings_of_links(index, units))
    found.extend(correlations(index, units))
    found.extend(source_issues(index))
    return list(dict.fromkeys(found))


def _no_requirements(index: Index) -> Iterator[Finding]:
    """Yield a warning where nothing is there to be judged: a lost file is no success."""
    if not index.requirements:
        yield warning(
            "no-requirements",
            index.project.charter.where,
            "the project has no requirement, so nothing is judged",
            "add requirements below requirements/, or find the lost files",
        )


def _duplicates(index: Index) -> Iterator[Finding]:
    project = index.project
    kinds: Mapping[str, Iterable[Any]] = {
        "requirement": project.requirements,
        "parameter": (*project.parameters, *project.linked),
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
                f"{kind} {item.id} is already in {first[item.id].path}; this one is not used",
                "use another identifier; identifiers are never reused",
            )


def _unverified(index: Index) -> Iterator[Finding]:
    for requirement in index.requirements.values():
        verified = requirement.verification or requirement.not_applicable
        if index.complete and not verified and requirement.id not in index.derived:
            yield error(
                "unverified-requirement",
                requirement.where,
                f"{requirement.id} has no verification and no children",
                "plan a verification (method, level, stage, review), or derive requirements",
            )


def _nothing_applicable(index: Index) -> Iterator[Finding]:
    for requirement in index.requirements.values():
        if requirement.verification or requirement.not_applicable:
            continue
        children = [index.requirements[name] for name in index.derived.get(requirement.id, ())]
        if children and index.complete and all(child.not_applicable for child in children):
            yield warning(
                "nothing-applicable",
                requirement.where,
                f"{requirement.id} has no verification, and all its children are not applicable",
                "plan a verification, or declare it not applicable",
            )


def _policies_of_nothing(index: Index) -> Iterator[Finding]:
    """Yield policies that hold for no parameter or quantity: mostly a typing error."""
    charter = index.project.charter
    for number, one in enumerate(charter.policy.contingency):
        place = charter.where / "policy" / "contingency" / number / "parameters"
        for step, pattern in enumerate(one.parameters):
            if not any(fnmatchcase(name, pattern) for name in index.parameters):
                yield warning(
                    "policy-of-nothing",
                    place / step,
                    f"no parameter matches {pattern}, so the contingency has no effect",
                    _near(pattern, index.parameters),
                )
    for pattern, _ in charter.policy.test_tolerances:
        if not any(fnmatchcase(name, pattern) for name in index.parameters):
            yield warning(
                "policy-of-nothing",
                charter.where / "policy" / "test_tolerances" / pattern,
                f"no parameter matches {pattern}, so the test tolerance has no effect",
                _near(pattern, index.parameters),
            )
    if not charter.margins:
        return
    limited = {v.criterion.quantity for _, _, v in index.project.verifications()} - {None}
    for number, policy in enumerate(charter.margins):
        if policy.quantity not in limited:
            yield warning(
                "policy-of-nothing",
                charter.where / "margins" / number / "quantity",
                f"no verification limits {policy.quantity}, so its margin has no effect",
                _near(policy.quantity, [str(name) for name in limited]),
            )


def _reports_of_nobody(index: Index) -> Iterator[Finding]:
    owners = sorted({one.owner for one in index.requirements.values() if one.owner is not None})
    for owner in index.project.charter.reports:
        if owner not in owners:
            yield warning(
                "policy-of-nothing",
                index.project.charter.where / "reports" / owner,
                f"no requirement has the owner {owner}, so this report has no effect",
                _near(owner, owners),
            )


def _near(name: str, known: Iterable[str]) -> str:
    near = nearest(name, known)
    return "correct the name, or remove the policy" if near is None else f"did you mean {near}?"


def _contingencies_below_zero(index: Index) -> Iterator[Finding]:
    charter = index.project.charter
    for number, one in enumerate(charter.policy.contingency):
        for maturity, amount in one.by_maturity:
            if amount.number < 0:
                yield error(
                    "contingency-below-zero",
                    charter.where / "policy" / "contingency" / number / "by_maturity" / maturity,
                    f"the contingency {amount} for {maturity} is below zero",
                    "write it above zero; direction: down for a value that falls",
                )


def _unused_parameters(index: Index) -> Iterator[Finding]:
    wanted = {argument.name for spec in index.specs for argument in spec.arguments}
    used = {n for _, _, v in index.project.verifications() for n, _ in v.criterion.given}
    used |= {name for record in index.project.records for name, _ in record.conditions}
    unknown = sorted(wanted - {*index.parameters, *index.linked})
    spelling = Spelling()
    every: tuple[Parameter | LinkedParameter, ...]
    every = (*index.parameters.values(), *index.linked.values())
    for parameter in every:
        if parameter.id not in wanted and parameter.id not in used:
            otherwise = "remove it, or use it in an analysis"
            yield warning(
                "unused-parameter",
                parameter.where,
                f"nothing uses the parameter {parameter.id}",
                spelling.cure("parameter", parameter.id, unknown, otherwise),
            )


def _unused_analyses(index: Index) -> Iterator[Finding]:
    named = {v.analysis for _, _, v in index.project.verifications() if v.analysis is not None}
    used = {index.analyses[name].name for name in named if name in index.analyses}
    used |= taken_by_links(index)
    for spec in index.specs:
        if spec.name not in used:
            yield warning(
                "unused-analysis",
                Pointer(spec.path, (spec.line,)),
                f"no requirement uses the analysis {spec.name}",
                "name it in a verification, or remove it",
            )


def out_of_reach(index: Index) -> Iterator[Finding]:
    """Yield each verification whose probability stays undecided though every sample passes."""
    for requirement in index.requirements.values():
        for verification in requirement.verification:
            basis = verification.basis
            if basis.probability is None or basis.confidence is None:
                continue
            from closeout.arithmetic.chance.decision import (  # few projects ask for one
                CAP,
                highest,
            )

            most = highest(float(basis.confidence))
            if basis.probability > most:
                yield warning(
                    "probability-out-of-reach",
                    verification.where / "basis",
                    f"{requirement.id} requires the {basis}, and with {CAP} samples, the most that"
                    f" are drawn, at most {probability_text(most)} can be shown: it can be not met"
                    " or open, never met",
                    "judge the worst case; or compute the probability in the analysis, as with"
                    " normal_cdf of closeout.math, and judge that as a quantity",
                )


def correlations(index: Index, units: Units) -> Iterator[Finding]:
    """Yield each criterion of a quantity that no analysis gives, or that is no difference of it."""
    charter = index.project.charter
    fields: dict[str, Field] = {}
    for field in (field for spec in index.specs for field in spec.fields):
        fields.setdefault(field.name, field)
    spelling = Spelling(index.renamed)
    for number, criterion in enumerate(charter.correlation):
        where = charter.where / "correlation" / number
        known = fields.get(criterion.quantity)
        if known is not None:
            zero = Amount("", criterion.within.number * 0, known.unit)
            if is_unit(known.unit, units):
                yield from is_difference(criterion.within, zero, where / "within", units)
        elif index.code and index.complete:
            yield error(
                "unknown-quantity",
                where / "quantity",
                f"no analysis gives {criterion.quantity}",
                spelling.cure("quantity", criterion.quantity, fields, "name one that it gives"),
            )
