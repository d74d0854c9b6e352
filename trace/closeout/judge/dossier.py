"""From answers and records to the dossier: every code, close-out and the exit status."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any

from closeout.evaluate.engine import Reply
from closeout.graph import Asked, Index, Plan
from closeout.judge.analysis import by_analysis
from closeout.judge.compliance import of_criteria, of_derived
from closeout.judge.cover import covered
from closeout.judge.limits import text_of, unit_of
from closeout.judge.records import by_records
from closeout.measure import Units
from closeout.model.amount import Amount
from closeout.model.answer import Answer
from closeout.model.dossier import (
    Compliance,
    Dossier,
    Evaluation,
    Evidence,
    QuantityFound,
    RequirementResult,
    Scale,
    SnapshotIdentity,
    State,
)
from closeout.model.problem import Problem, Severity
from closeout.model.question import Question
from closeout.model.records import Method, Requirement, Verification

OK, SHORTFALL, NOT_JUDGED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Run:
    """What is judged: a project, the answers to its questions, and what was asked of the run.

    ``review`` None judges the whole life; ``chosen`` limits the dossier to some requirements.
    """

    index: Index
    plan: Plan
    replies: Mapping[Question, Reply]
    units: Units
    snapshot: SnapshotIdentity
    problems: tuple[Problem, ...]
    files: int
    review: str | None = None
    settings: tuple[tuple[str, Amount], ...] = ()
    chosen: frozenset[str] | None = None


def judge(run: Run) -> Dossier:
    """Return the dossier of a run."""
    judged = _Judge(run).requirements()
    chosen = [
        judged[requirement.id]
        for requirement in _once(run.index)
        if run.chosen is None or requirement.id in run.chosen
    ]
    totals = {code.value: 0 for code in Compliance} | {"closed": 0}
    for result in chosen:
        totals[result.compliance.value] += 1
        totals["closed"] += result.closed
    charter = run.index.project.charter
    return Dossier(
        project=charter.name,
        note=charter.note,
        snapshot=run.snapshot,
        review=run.review,
        reviews=charter.reviews,
        requirements=tuple(chosen),
        problems=run.problems,
        analyses=run.index.specs,
        evaluations=tuple(_evaluations(run)),
        scale=_scale(run, chosen),
        exit_status=_exit_status(run, chosen),
        settings=tuple((name, amount.text) for name, amount in run.settings),
        totals=totals,
    )


class _Judge:
    def __init__(self, run: Run) -> None:
        self._run = run
        self._index = run.index
        self._number = run.index.review_number(run.review)
        self._answers = {question: reply.result for question, reply in run.replies.items()}
        self._done: dict[str, RequirementResult] = {}

    def requirements(self) -> dict[str, RequirementResult]:
        """Return the result of each requirement, those below before those above."""
        for identifier in _from_below(self._index):
            requirement = self._index.requirements[identifier]
            self._done[identifier] = self._requirement(requirement)
        return self._done

    def _requirement(self, requirement: Requirement) -> RequirementResult:
        names = self._index.derived.get(requirement.id, ())
        # One that stands in a circle has no result yet; the circle is told as a problem.
        below = [self._done[name] for name in names if name in self._done]
        whole = len(below) == len(names)
        evidence = self._evidence(requirement)
        due = tuple(entry for entry in evidence if entry.due)
        if requirement.not_applicable is not None:
            code, closed, is_due = Compliance.NA, True, False
        elif requirement.verification:
            code = of_criteria(requirement, due, self._run.units)
            closed = whole and all(e.closed for e in evidence) and all(b.closed for b in below)
            is_due = bool(due) or any(result.due for result in below)
        else:
            code = of_derived(result.compliance for result in below) if whole else Compliance.OPEN
            applicable = [result for result in below if result.compliance is not Compliance.NA]
            closed = whole and bool(applicable) and all(result.closed for result in applicable)
            is_due = not applicable or any(result.due for result in applicable)
        short = [entry for entry in due if entry.state is State.NOT_MET]
        return RequirementResult(
            id=requirement.id,
            issue=requirement.issue,
            title=requirement.title,
            statement=requirement.statement,
            rationale=requirement.rationale,
            source=None if requirement.source is None else str(requirement.source),
            owner=requirement.owner,
            safety=requirement.safety,
            derived_from=requirement.derived_from,
            derived=names,
            compliance=code,
            closed=closed,
            covered=bool(short) and all(entry.covered_by is not None for entry in short),
            due=is_due,
            why=_why(requirement, code, closed, evidence, below),
            evidence=evidence,
        )

    def _evidence(self, requirement: Requirement) -> tuple[Evidence, ...]:
        if requirement.not_applicable is not None:
            return ()
        entries: list[Evidence] = []
        for number, verification in enumerate(requirement.verification):
            said = _said(number, verification, self._due(verification.review))
            asked = self._run.plan.asked.get((requirement.id, number))
            entries.extend(self._judged(said, requirement, verification, asked))
        return tuple(covered(entries, requirement, self._index, self._run.units, self._run.review))

    def _judged(
        self,
        said: dict[str, Any],
        requirement: Requirement,
        verification: Verification,
        asked: Asked | None,
    ) -> list[Evidence]:
        units = self._run.units
        if asked is not None:
            return by_analysis(said, asked, self._answers, units)
        if verification.records:
            return [by_records(said, requirement, verification, self._index, units)]
        when = f", due at {verification.review}" if verification.review else ""
        what = "; the analysis is to be written" if verification.method is Method.ANALYSIS else ""
        return [Evidence(**said, state=State.OPEN, message=f"planned{when}{what}")]

    def _due(self, review: str | None) -> bool:
        if self._number is None or review is None:
            return True
        number = self._index.review_number(review)
        return number is None or number <= self._number


def _said(number: int, verification: Verification, due: bool) -> dict[str, Any]:
    """Return what is said of a verification before it is judged, as fields of its evidence."""
    criterion = verification.criterion
    return {
        "number": number,
        "method": verification.method.value,
        "level": verification.level,
        "stage": verification.stage,
        "review": verification.review,
        "due": due,
        "quantity": criterion.quantity,
        "unit": unit_of(criterion.limits),
        "limit_text": text_of(criterion.limits),
        "given": tuple(
            (name, f"{given[0]} to {given[1]}" if isinstance(given, tuple) else str(given))
            for name, given in criterion.given
        ),
        "plan": verification.plan,
    }


def _why(
    requirement: Requirement,
    code: Compliance,
    closed: bool,
    evidence: tuple[Evidence, ...],
    below: list[RequirementResult],
) -> str:
    """Return the reason of the close-out status in one line (ECSS-E-ST-10-02C Rev.1, Annex B)."""
    reason = requirement.not_applicable
    if reason is not None:
        by = f", agreed by {reason.agreed_by}" if reason.agreed_by else ", not agreed yet"
        return f"{reason.reason}{by}{f' ({reason.document})' if reason.document else ''}"
    covers = sorted({entry.covered_by for entry in evidence if entry.covered_by})
    if closed:
        done = "all verifications are met" if evidence else "all that is derived from it is closed"
        return f"not met, covered by {', '.join(covers)}" if covers else done
    for state, text in (
        (State.NOT_MET, "not met"),
        (State.ERROR, "could not be evaluated"),
        (State.OPEN, "open"),
    ):
        entries = [entry for entry in evidence if entry.state is state and not entry.closed]
        if entries:
            return _why_open(entries[0], text, len(entries))
    left = [result.id for result in below if not result.closed]
    if left:
        more = f" and {len(left) - 3} more" if len(left) > 3 else ""
        return f"not closed: {', '.join(left[:3])}{more}"
    return "nothing verifies it" if code is Compliance.OPEN else "not closed"


def _why_open(entry: Evidence, text: str, count: int) -> str:
    case = f" [{entry.case}]" if entry.case else ""
    subject = f"{entry.quantity}{case} by {entry.method}" if entry.quantity else entry.method
    more = f" (and {count - 1} more)" if count > 1 else ""
    message = f": {entry.message}" if entry.message else f" against {entry.limit_text}"
    early = "" if entry.due or entry.state is State.OPEN else f", early: due at {entry.review}"
    return f"{subject} {text}{early}{message if entry.message or entry.limit_text else ''}{more}"


def _evaluations(run: Run) -> list[Evaluation]:
    """Return each question with its inputs and what it gave, in the order of the project."""
    serves: dict[Question, list[str]] = {}
    first: dict[Question, Asked] = {}
    for (requirement, _), asked in run.plan.asked.items():
        if asked.question is not None and asked.question in run.replies:
            serves.setdefault(asked.question, []).append(requirement)
            first.setdefault(asked.question, asked)
    return [
        _evaluation(asked, run.replies[question], tuple(dict.fromkeys(serves[question])))
        for question, asked in first.items()
    ]


def _evaluation(asked: Asked, reply: Reply, serves: tuple[str, ...]) -> Evaluation:
    assert asked.spec is not None
    answer = reply.result if isinstance(reply.result, Answer) else None
    units = {field.name: field.unit for field in asked.spec.fields}
    found = tuple(
        QuantityFound(name, case, units[name], e.value, e.low, e.high, e.absent)
        for (name, case), e in (answer.extents.items() if answer else ())
    )
    return Evaluation(
        analysis=asked.spec.name,
        basis=str(asked.verification.basis),
        given=tuple((used.name, used.text) for used in asked.inputs if used.origin == "given"),
        inputs=asked.inputs,
        found=found,
        failure=None if isinstance(reply.result, Answer) else reply.result,
        assurance=answer.assurance if answer else None,
        evaluations=answer.evaluations if answer else 0,
        serves=serves,
        from_store=reply.from_store,
        not_kept=reply.not_kept,
    )


def _scale(run: Run, results: list[RequirementResult]) -> Scale:
    stored = sum(reply.from_store for reply in run.replies.values())
    return Scale(
        files=run.files,
        requirements=len(results),
        verifications=sum(len({e.number for e in result.evidence}) for result in results),
        parameters=len(run.index.parameters),
        analyses=len(run.index.specs),
        evaluated=len(run.replies) - stored,
        from_store=stored,
    )


def _exit_status(run: Run, results: list[RequirementResult]) -> int:
    due = [entry for result in results for entry in result.evidence if entry.due]
    broken = any(problem.severity is Severity.ERROR for problem in run.problems)
    if broken or any(entry.state is State.ERROR for entry in due):
        return NOT_JUDGED
    loose = any(
        result.due and not result.evidence and result.compliance is Compliance.OPEN
        and not any(child.due for child in _children(results, result))
        for result in results
    )  # fmt: skip
    return SHORTFALL if loose or any(not entry.closed for entry in due) else OK


def _children(results: list[RequirementResult], of: RequirementResult) -> list[RequirementResult]:
    names = set(of.derived)
    return [result for result in results if result.id in names]


def _once(index: Index) -> list[Requirement]:
    """Return the requirements in the order of the files, each identifier once."""
    return list(index.requirements.values())


def _from_below(index: Index) -> list[str]:
    """Return the identifiers so that what is derived stands before what it is derived from."""
    known = index.requirements
    graph = {name: {c for c in index.derived.get(name, ()) if c in known} for name in known}
    while True:
        try:
            return list(TopologicalSorter(graph).static_order())
        except CycleError as cycle:
            path: list[str] = cycle.args[1]
            graph[path[1]] = graph[path[1]] - {path[0]}
