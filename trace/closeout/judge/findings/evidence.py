"""Findings about evidence: what it rests on, where it was not tested, what speaks against it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from closeout.graph import Index
from closeout.graph.criterion_conditions import is_same_limit
from closeout.graph.new_findings import error, warning
from closeout.judge.compliance import by_criterion
from closeout.judge.margins import NO_UNIT
from closeout.judge.records import in_force
from closeout.judge.validity import Validity
from closeout.measure import Units
from closeout.model.amount import read_amount
from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.problem import Finding, Pointer, Severity
from closeout.model.records import Requirement, Verification
from closeout.model.validation import NamedTest

_WEAK = {
    Assurance.NOMINAL: "on nominal values alone",
    Assurance.LINEARISED: "on a linearisation, which proves nothing",
    Assurance.SEARCHED: "on a search, which proves nothing",
}
_WIN_MARGIN = "increase the margin, or agree on another policy (project.margins)"


def contradictions(dossier: Dossier, index: Index, units: Units) -> tuple[Finding, ...]:
    """Return a warning for each record that found not met what an analysis says is met.

    The failed record decides the verdict; that the model is wrong somewhere is said beside it.
    """
    found: list[Finding] = []
    for result in dossier.requirements:
        if len(result.evidence) > 1:
            found += _contradicted(index.requirements[result.id], result.evidence, units)
    return tuple(dict.fromkeys(found))


def _contradicted(
    requirement: Requirement, evidence: tuple[Evidence, ...], units: Units
) -> Iterator[Finding]:
    for some in by_criterion(requirement, evidence, units).values():
        promised = [e for e in some if e.record is None and e.state is State.MET]
        failed = [e for e in some if e.record is not None and e.state is State.NOT_MET]
        for entry in failed if promised else ():
            yield Finding(
                "test-against-analysis",
                Severity.WARNING,
                requirement.verification[entry.number].where,
                f"{entry.record} found {entry.quantity} of {requirement.id} not met, the analysis"
                f" {promised[0].analysis} finds it met",
                "correct the analysis",
            )


def unproved_safety(dossier: Dossier, index: Index) -> tuple[Finding, ...]:
    """Return a warning for each due criterion of a safety requirement that is not proved."""
    found: list[Finding] = []
    for result in dossier.requirements:
        if result.safety is None:
            continue
        requirement = index.requirements[result.id]
        for entry in result.evidence:
            if entry.due and entry.assurance in _WEAK:
                found.append(
                    warning(
                        "safety-not-proved",
                        requirement.verification[entry.number].where,
                        f"{result.id} is safety {result.safety}, and {entry.quantity} by"
                        f" {entry.analysis} rests {_WEAK[entry.assurance]}",
                        "write the formula in closed form with closeout.math, request the worst"
                        " case, and support it by a test",
                    )
                )
    return tuple(dict.fromkeys(found))


def not_tested(dossier: Dossier, index: Index, units: Units) -> Iterator[Finding]:
    """Yield a warning where an analysis finds its bad end elsewhere than a test was made."""
    validity = Validity(index, units, dossier.review)
    for result in dossier.requirements:
        if any(entry.bad_end for entry in result.evidence):
            requirement = index.requirements[result.id]
            for verification in requirement.verification:
                yield from _at_bad_end(requirement, verification, result.evidence, validity)


def _at_bad_end(
    requirement: Requirement,
    verification: Verification,
    evidence: Sequence[Evidence],
    validity: Validity,
) -> Iterator[Finding]:
    if not verification.records and not verification.leeway.at:
        return
    records = in_force(requirement, verification, validity)
    for entry in _deciding(requirement, verification, evidence, validity.units):
        for name, text in entry.bad_end:
            tested = validity.conditions.tested_elsewhere(
                requirement, verification, records, name, read_amount(text)
            )
            if tested is None:
                continue
            number, _, unit = text.partition(" ")
            yield warning(
                "bad-end-not-tested",
                verification.where,
                f"{requirement.id} is tested {tested}, and {entry.analysis} finds its worst case at"
                f" {name} = {float(number):.6g} {unit}",
                "test it there, or state in the analysis why not",
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


def thin_margins(dossier: Dossier, index: Index) -> Iterator[Finding]:
    """Yield due evidence that meets its limit by less than the review to come requires."""
    for result in dossier.requirements if index.project.charter.margins else ():
        requirement = index.requirements[result.id]
        for entry in result.evidence:
            if entry.due and entry.state is State.MET:
                where = requirement.verification[entry.number].where
                for message in entry.thin:
                    yield _margin_finding(where, result.id, message)


def _margin_finding(where: Pointer, requirement: str, message: str) -> Finding:
    if message.startswith(NO_UNIT):
        return error("unit", where, message, "write a share in %, or a difference")
    return warning("margin-policy", where, f"{requirement}: {message}", _WIN_MARGIN)


def failed_validations(dossier: Dossier) -> Iterator[Finding]:
    """Yield each named test that was run and failed, once, where it failed."""
    users: dict[NamedTest, list[str]] = {}
    for validation in dossier.validations:
        for test in validation.failed:
            users.setdefault(test, []).append(validation.analysis)
    for test, analyses in users.items():
        yield Finding(
            "validation-failed",
            Severity.ERROR,
            Pointer(test.path or test.named.partition("::")[0], (test.line or 1,)),
            f"{test.named}, which validates {', '.join(analyses)}, failed: {test.message}",
            "correct the analysis or its test, then run closeout verify --validate",
        )
