"""Rules of the standards over one state of a project: how it plans to verify."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from closeout.graph import Index
from closeout.graph.new_findings import warning
from closeout.model.criterion import TBD
from closeout.model.problem import Finding, Pointer, Severity
from closeout.model.records import Method, Parameter, Requirement
from closeout.rules.context import Context
from closeout.rules.reporting import verification_reports

# ECSS-E-ST-10-02C Rev.1, 4.2.4: the first three stages are complete before launch.
BEFORE_LAUNCH = ("qualification", "acceptance", "pre-launch")
AFTER_LAUNCH = ("in-orbit", "post-landing")
# Where analysis and review of design count (5.2.2.3f, 5.2.2.4c).
ON_PAPER_COUNTS = ("qualification", "in-orbit")
ON_PAPER = (Method.ANALYSIS, Method.REVIEW_OF_DESIGN)
_ON_PAPER = frozenset(ON_PAPER)
# ECSS-M-ST-10C, 4.4.3: the last reviews before launch, and those of a life in orbit.
LAST_BEFORE_LAUNCH = ("LRR", "FRR", "ORR", "AR", "QR", "CDR", "PDR", "SRR")
FIRST_AFTER_LAUNCH = ("CRR", "ELR", "MCR")
# Whole numbers of pieces are exact as they stand.
COUNT = "count"

_OPEN_TERM = re.compile(
    r"(?<![\w-])(?:TB[CDRS])(?![\w-])"
    r"|\(to be (?:confirmed|decided|defined|determined|resolved|specified)\)"
)
# What is quoted or set as code is spoken about, not said.
_SPOKEN_ABOUT = re.compile(r"`[^`]*`|\"[^\"]*\"|“[^”]*”|«[^»]*»")


def standards(index: Index, context: Context) -> Iterator[Finding]:
    """Yield what a standard of verification says against the present state of a project."""
    launch = _launch(index.project.charter.reviews)
    due = {one.id: _due(one, index) for one in index.requirements.values()}
    for requirement in index.requirements.values():
        if requirement.not_applicable is not None:
            continue
        if requirement.verification:
            yield from _of_methods(requirement)
            yield from _of_stages(requirement, launch, index)
        if requirement.derived_from:
            yield from _due_after_parent(requirement, due, index)
            yield from _derived_without_rationale(requirement)
    yield from _analysis_not_validated(index, context)
    for parameter in index.parameters.values():
        yield from _parameter_without_source(parameter)
        yield from _parameter_without_tolerance(parameter)
    yield from verification_reports(index, context)
    yield from _open_terms(index, context)


def _of_methods(requirement: Requirement) -> Iterator[Finding]:
    methods = _methods(requirement)
    if methods <= _ON_PAPER:
        yield from _no_risk_assessment(requirement, methods)
    if methods & _ON_PAPER:
        yield from _stage_not_served(requirement)
    if requirement.safety is not None and methods == {Method.ANALYSIS}:
        yield from _safety_by_analysis_alone(requirement)


def _of_stages(requirement: Requirement, launch: int | None, index: Index) -> Iterator[Finding]:
    stages = _stages(requirement)
    if stages and stages <= set(AFTER_LAUNCH):
        yield from _after_launch_only(requirement, index)
    if stages and launch is not None:
        yield from _stage_and_review(requirement, launch, index)


def _no_risk_assessment(requirement: Requirement, methods: set[Method]) -> Iterator[Finding]:
    if not any(verification.risk for verification in requirement.verification):
        how = " and ".join(method.value for method in ON_PAPER if method in methods)
        yield warning(
            "no-risk-assessment",
            requirement.where / "verification",
            f"{requirement.id} is verified by {how} only, without a risk assessment",
            "name it with risk:, or plan a test or an inspection",
        )


def _stage_not_served(requirement: Requirement) -> Iterator[Finding]:
    for verification in requirement.verification:
        method, stage = verification.method, verification.stage
        if method in ON_PAPER and stage is not None and stage not in ON_PAPER_COUNTS:
            yield warning(
                "stage-not-served",
                verification.where / "stage",
                f"{requirement.id}: {method.value} does not count at the stage {stage}",
                "plan it for qualification or in-orbit, or verify by test or inspection",
            )


def _safety_by_analysis_alone(requirement: Requirement) -> Iterator[Finding]:
    yield warning(
        "safety-by-analysis-alone",
        requirement.where / "verification",
        f"{requirement.id} is safety {requirement.safety}, and would be closed by analysis only",
        "support it by a test, an inspection or a review of design",
    )


def _after_launch_only(requirement: Requirement, index: Index) -> Iterator[Finding]:
    below = (index.requirements[name] for name in index.below([requirement.id]))
    if not any(_stages(one) & set(BEFORE_LAUNCH) for one in below):
        yield warning(
            "in-orbit-only",
            requirement.where / "verification",
            f"{requirement.id} is verified after launch only",
            "plan also a verification before launch",
        )


def _stage_and_review(requirement: Requirement, launch: int, index: Index) -> Iterator[Finding]:
    for verification in requirement.verification:
        at = index.review_number(verification.review)
        if at is None or verification.stage is None:
            continue
        if verification.stage in BEFORE_LAUNCH and at >= launch:
            message = f"the stage {verification.stage} is complete before launch, and"
            cure = "plan it for a review before launch, or name the stage in-orbit"
        elif verification.stage in AFTER_LAUNCH and at < launch:
            message = f"the stage {verification.stage} begins with the launch, and"
            cure = "plan it for a review after launch, or name a stage before it"
        else:
            continue
        yield warning(
            "stage-and-review",
            verification.where / "review",
            f"{requirement.id}: {message} {verification.review} is {_side(at, launch)} it",
            cure,
        )


def _side(at: int, launch: int) -> str:
    return "after" if at >= launch else "before"


def _launch(reviews: tuple[str, ...]) -> int | None:
    """Return the number of the first review after launch; None where the names do not tell."""
    last = max((n for n, name in enumerate(reviews) if name in LAST_BEFORE_LAUNCH), default=None)
    first = next((n for n, name in enumerate(reviews) if name in FIRST_AFTER_LAUNCH), None)
    if first is not None:
        return first
    return None if last is None or reviews[last] not in ("LRR", "FRR") else last + 1


def _due_after_parent(
    requirement: Requirement, due: Mapping[str, int | None], index: Index
) -> Iterator[Finding]:
    own = due[requirement.id]
    for number, name in enumerate(requirement.derived_from):
        above = due.get(name)
        if own is None or above is None or own <= above:
            continue
        reviews = index.project.charter.reviews
        yield warning(
            "due-after-parent",
            requirement.where / "derived_from" / number,
            f"{requirement.id} is due at {reviews[own]}, its parent {name} already at"
            f" {reviews[above]}",
            f"plan it for {reviews[above]} or before, or {name} for a later review",
        )


def _due(requirement: Requirement, index: Index) -> int | None:
    """Return the number of the review at which a requirement is closed for good, if it is known."""
    numbers = [index.review_number(v.review) for v in requirement.verification]
    return max((number for number in numbers if number is not None), default=None)


def _derived_without_rationale(requirement: Requirement) -> Iterator[Finding]:
    if requirement.rationale is None:
        yield warning(
            "derived-without-rationale",
            requirement.where,
            f"{requirement.id} is derived from {', '.join(requirement.derived_from)}"
            " without rationale",
            "add rationale: with the reason and the origin of its numbers",
        )


def _analysis_not_validated(index: Index, context: Context) -> Iterator[Finding]:
    for spec in index.specs:
        where = Pointer(spec.path, (spec.line,))
        if not spec.validated_by:
            yield warning(
                "analysis-not-validated",
                where,
                f"the analysis {spec.name} names no validation",
                'name its test, as @analysis(validated_by="tests/test_it.py")',
            )
        for path in spec.validated_by:
            if path not in context.tests:
                yield warning(
                    "analysis-not-validated",
                    where,
                    f"the analysis {spec.name} names {path} as its validation, which does not"
                    " exist",
                    "name a test file by its path from the project's root, or file.py::function",
                )


def _parameter_without_source(parameter: Parameter) -> Iterator[Finding]:
    if parameter.source is None:
        yield warning(
            "parameter-without-source",
            parameter.where,
            f"the value of {parameter.id} has no source",
            "add source: with the data sheet, the log or the document and its clause",
        )


def _parameter_without_tolerance(parameter: Parameter) -> Iterator[Finding]:
    """A condition is set by what the requirement names; a number of pieces or a limit is exact."""
    whole = parameter.value.unit == COUNT and parameter.value.number.denominator == 1
    if not (parameter.spread or parameter.condition or whole or parameter.link):
        yield warning(
            "parameter-without-tolerance",
            parameter.where,
            f"{parameter.id} is {parameter.value} without a tolerance",
            "add tolerance:, range: or sigma:; tolerance: 0 where it is exact",
        )


def _open_terms(index: Index, context: Context) -> Iterator[Finding]:
    until = index.project.charter.policy.open_terms_until
    now, last = index.review_number(context.review), index.review_number(until)
    if last is not None and now is not None and now <= last:
        return
    limit = "the project allows none" + ("" if until is None else f" after {until}")
    for term in open_terms(index):
        yield Finding(
            "open-term",
            Severity.WARNING,
            term.where,
            f"{term.name} still has {term.text}, and {limit}",
            "write the decided value, or postpone the review",
            term.start,
        )


class OpenTerm(NamedTuple):
    """A TBD or TBC: whose it is, where it stands, and where in that text it begins."""

    name: str
    where: Pointer
    text: str
    start: int


def open_terms(index: Index) -> Iterator[OpenTerm]:
    """Yield every text of a project that still has a TBD or TBC, whether it may or not."""
    for name, where, text in _texts(index):
        term = _open_term(text)
        if term is not None:
            yield OpenTerm(name, where, term[0], term.start())


def _open_term(text: str) -> re.Match[str] | None:
    return _OPEN_TERM.search(_SPOKEN_ABOUT.sub(lambda quoted: " " * len(quoted[0]), text))


def _texts(index: Index) -> Iterator[tuple[str, Pointer, str]]:
    """Yield the texts that may hold an open term: whose each is, where it stands, the text."""
    for requirement in index.requirements.values():
        for steps, text in _said(requirement):
            if text is not None and _may_be_open(text):
                path, above = requirement.where.path, requirement.where.steps
                yield requirement.id, Pointer(path, (*above, *steps)), text
    charter = index.project.charter
    for owner, report in charter.reports.items():
        if _may_be_open(report):
            yield f"the report of {owner}", charter.where / "reports" / owner, report
    for parameter in index.parameters.values():
        if parameter.source is not None and _may_be_open(parameter.source):
            yield parameter.id, parameter.where / "source", parameter.source


def _said(requirement: Requirement) -> Iterator[tuple[tuple[str | int, ...], str | None]]:
    """Yield the texts of a requirement, with the steps that lead to each."""
    yield ("title",), requirement.title
    yield ("statement",), requirement.statement
    yield ("rationale",), requirement.rationale
    yield ("report",), requirement.report
    if requirement.source is not None:
        yield ("source", "clause"), requirement.source.clause
        yield ("source",), requirement.source.text
    for number, verification in enumerate(requirement.verification):
        yield ("verification", number, "plan"), verification.plan
        yield ("verification", number, "risk"), verification.risk
        for key in verification.criterion.limits.undecided:
            yield ("verification", number, key), TBD


def _may_be_open(text: str) -> bool:
    return "TB" in text or "(to be " in text


def _methods(requirement: Requirement) -> set[Method]:
    return {verification.method for verification in requirement.verification}


def _stages(requirement: Requirement) -> set[str]:
    return {v.stage for v in requirement.verification if v.stage is not None}
