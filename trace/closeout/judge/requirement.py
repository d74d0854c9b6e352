"""A requirement's result: its evidence, its code, whether it is closed and what is outstanding."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from closeout.graph import Index, Plan, Request, RequiredMargin, required_margins
from closeout.graph.allocation import budget_text
from closeout.graph.assessed import to_be_assessed
from closeout.judge import reasons
from closeout.judge.analysis import by_analysis
from closeout.judge.compliance import of_criteria, of_derived
from closeout.judge.cover import covered, may_approve
from closeout.judge.limits import Judgement, as_written
from closeout.judge.margins import measured, noted
from closeout.judge.nonconformance import open_nonconformance, reported
from closeout.judge.records import by_records, took_place, unnamed_failures, worst
from closeout.judge.validity import Validity
from closeout.measure import Units
from closeout.model.answer import Answer
from closeout.model.criterion import TBD, WORDS, Limits
from closeout.model.dossier import AsRun, Compliance, Evidence, RequirementResult, State
from closeout.model.question import Failure, Question, analyses_of
from closeout.model.records import Agreement, Method, Requirement, Verification
from closeout.model.setting import Setting
from closeout.model.validation import Validation

Below = Sequence[RequirementResult]


class Judge:
    """Judges requirements over one set of answers at one review (None: the whole life).

    ``settings``, ``altered`` and ``under_git`` are those of
    :class:`~closeout.judge.validity.Standing`; ``read`` are the project's files that an answer
    rests on, where that is known; ``validations`` what is known of the tests of analyses, by name.
    """

    def __init__(
        self,
        index: Index,
        plan: Plan,
        answers: Mapping[Question, Answer | Failure],
        units: Units,
        review: str | None,
        settings: Mapping[str, Setting] | None = None,
        altered: frozenset[str] = frozenset(),
        read: Mapping[Question, frozenset[str]] | None = None,
        under_git: bool = False,
        validations: Mapping[str, Validation] | None = None,
    ) -> None:
        self._index = index
        self._plan = plan
        self._answers = answers
        self._read = read or {}
        self._validations = validations or {}
        self._units = units
        self._review = review
        self._number = index.review_number(review)
        self._validity = Validity(index, units, review, settings or {}, altered, under_git)
        # Most projects of any size have few of these, and most requirements none.
        self._reports = bool(index.project.nonconformances)
        self._to_be_assessed = to_be_assessed(index)
        self._more = self._reports or bool(index.project.agreements)

    def result(self, requirement: Requirement, below: Below, cyclic: bool) -> RequirementResult:
        """Return the result of a requirement from its evidence and what is derived from it.

        One that is derived from itself (``cyclic``) is not closed, and not judged by others.
        """
        if requirement.not_applicable is not None:
            found = self._not_applicable(requirement, below)
        elif requirement.verification:
            found = self._by_evidence(requirement, below, cyclic)
        else:
            found = self._by_derived(requirement, below, cyclic)
        if requirement.id in self._index.duplicated:
            found = _of_two(found)
        elif (reason := self._to_be_assessed.get(requirement.id)) is not None:
            found = _with_reason(found, reason)
        if not self._more and requirement.allocates is None:
            return found
        return replace(
            found,
            agreed=agreed_as_closed(requirement.id, self._index),
            to_be_agreed=to_be_agreed(requirement.id, self._index),
            budget=budget_text(requirement, self._index, self._units),
            reported=reported(requirement.id, self._index),
        )

    def by_analysis(self, requirement: Requirement, number: int) -> tuple[Evidence, ...]:
        """Return the evidence that the analysis of one verification gives, a case an entry."""
        asked = self._plan.requests[requirement.id, number]
        verification = asked.verification
        said = said_of(number, verification, self._due(verification.review), self._units)
        judged = self._covered(self._by_analysis(said, asked, verification), requirement)
        return tuple(_left_open(noted(judged), verification.criterion.limits))

    def _not_applicable(self, requirement: Requirement, below: Below) -> RequirementResult:
        reason = requirement.not_applicable
        assert reason is not None
        agreed = reason.planned is None and may_approve(reason.agreed_by, requirement, self._index)
        obstacle = self._report(requirement)
        if obstacle is not None:
            return _result(
                requirement, below, Compliance.NA,
                closed=False, due=True, outstanding=True, why=obstacle,
            )  # fmt: skip
        # Against an outside requirement it is a proposal until its authority agrees.
        proposed = requirement.source is not None and not agreed
        why = reasons.not_applicable(reason, agreed)
        return _result(
            requirement, below, Compliance.OPEN if proposed else Compliance.NA,
            closed=agreed, due=proposed, outstanding=proposed,
            why=f"proposed as not applicable: {why}" if proposed else why,
        )  # fmt: skip

    def _by_evidence(
        self, requirement: Requirement, below: Below, cyclic: bool
    ) -> RequirementResult:
        evidence = self._evidence(requirement)
        due = tuple([entry for entry in evidence if entry.due])
        left = [entry for entry in evidence if not entry.closed]
        obstacle = self._obstacle(requirement, below, cyclic)
        closed = obstacle is None and not left and all(result.closed for result in below)
        # What is closed for good is decided, also ahead of the review that it is due at.
        early = closed and not due
        judged = evidence if early else due
        code = of_criteria(requirement, judged, self._units)
        short = [entry for entry in judged if entry.state is State.NOT_MET]
        reported_open = self._report(requirement) is not None
        return _result(
            requirement, below, code,
            closed=closed,
            early=early,
            covered=bool(short) and all(entry.covered_by is not None for entry in short),
            due=bool(due) or any(result.due for result in below),
            outstanding=any(entry.due for entry in left)
            or (reported_open and bool(due))
            or any(result.outstanding for result in below),
            why=reasons.close_out(code, closed, evidence, below, obstacle),
            evidence=evidence,
        )  # fmt: skip

    def _by_derived(
        self, requirement: Requirement, below: Below, cyclic: bool
    ) -> RequirementResult:
        applicable = [result for result in below if result.compliance is not Compliance.NA]
        obstacle = self._obstacle(requirement, below, cyclic)
        nothing = cyclic or not applicable
        code = Compliance.OPEN if nothing else of_derived(result.compliance for result in below)
        if code is Compliance.C and (cyclic or not self._index.complete):
            code = Compliance.OPEN
        closed = not nothing and obstacle is None and all(result.closed for result in below)
        return _result(
            requirement, below, code,
            closed=closed,
            early=closed and all(result.early for result in applicable),
            due=nothing or any(result.due for result in applicable),
            outstanding=nothing
            or any(result.outstanding for result in applicable)
            or (obstacle is not None and any(result.due for result in applicable)),
            why=reasons.close_out(code, closed, (), below, obstacle),
        )  # fmt: skip

    def _obstacle(self, requirement: Requirement, below: Below, cyclic: bool) -> str | None:
        """Return why a requirement stays open whatever is shown; None where nothing hinders it.

        An item that could not be read may be derived from any that has derived ones.
        """
        if cyclic:
            return "it is derived from itself"
        if below and not self._index.complete:
            return "lower-level requirements may be missing: not all files could be read"
        return self._report(requirement)

    def _report(self, requirement: Requirement) -> str | None:
        """Return which nonconformance, or which new document, keeps a requirement open."""
        if requirement.id in self._to_be_assessed:
            return self._to_be_assessed[requirement.id]
        if not self._reports:
            return None
        return open_nonconformance(requirement, self._index, self._review)

    def _evidence(self, requirement: Requirement) -> tuple[Evidence, ...]:
        entries: list[Evidence] = []
        for number, verification in enumerate(requirement.verification):
            said = said_of(number, verification, self._due(verification.review), self._units)
            request = self._plan.requests.get((requirement.id, number))
            judged = self._judged(said, requirement, verification, request)
            entries.extend(_left_open(noted(judged), verification.criterion.limits))
        return tuple(entries)

    def _judged(
        self,
        said: dict[str, Any],
        requirement: Requirement,
        verification: Verification,
        request: Request | None,
    ) -> list[Judgement]:
        """Return the evidence of a verification: of its analysis, of its records, or planned."""
        judged: list[Judgement] = []
        if request is not None and verification.method is not Method.ANALYSIS:
            return self._tested(said, requirement, verification, request)
        if request is not None:
            judged += self._covered(self._by_analysis(said, request, verification), requirement)
            if not verification.records:
                found = unnamed_failures(said, requirement, verification, self._validity)
                judged += self._covered(found, requirement)
        if verification.records:
            found = by_records(said, requirement, verification, self._validity)
            judged.append(worst(self._covered(self._with_margins(found, requirement), requirement)))
        elif request is None:
            found = unnamed_failures(said, requirement, verification, self._validity)
            judged += self._covered(found, requirement)
        return judged or [Judgement(_planned(said, verification))]

    def _by_analysis(
        self, said: dict[str, Any], request: Request, verification: Verification
    ) -> list[Judgement]:
        margins = self._margins(verification)
        judged = by_analysis(said, request, self._answers, self._units, margins)
        if request.spec is None:
            return judged
        names = (request.spec.name,) if request.question is None else analyses_of(request.question)
        known = [self._validations[name] for name in names if name in self._validations]
        tests = dict.fromkeys(test for one in known for test in one.tests)
        return validated(judged, Validation(request.spec.name, tuple(tests)))

    def _tested(
        self,
        said: dict[str, Any],
        requirement: Requirement,
        verification: Verification,
        request: Request,
    ) -> list[Judgement]:
        """Return the evidence of a test that an analysis judges, once the test took place."""
        record, why_not = took_place(requirement, verification, self._validity)
        recorded = by_records(said, requirement, verification, self._validity)
        counting = [
            one
            for one in self._with_margins(recorded, requirement)
            if one.evidence.state is State.NOT_MET
            or (one.evidence.value is not None and one.evidence.state is not State.MET)
        ]
        said = {**said, "record": record, "as_run": _as_run(recorded)}
        if why_not is None and record is not None:
            why_not = self._not_read(record, request)
        if why_not is not None and counting:
            return [worst(self._covered(counting, requirement))]
        if why_not is not None:
            analysis = verification.analysis if request.spec is None else request.spec.name
            made = self._index.records.get(record or "")
            rebuilt = self._validity.rebuilt(requirement, verification, made) if made else ()
            evidence = Evidence(
                **said, analysis=analysis, state=State.OPEN, message=why_not, rebuilt=rebuilt
            )
            return [Judgement(evidence)]
        found = self._by_analysis(said, request, verification)
        # What the record itself measured counts beside what the analysis makes of its data.
        return self._covered(found + counting, requirement)

    def _not_read(self, record: str, request: Request) -> str | None:
        """Return why an analysis says nothing of a record: it did not read the record's data."""
        data = self._index.records[record].data
        if request.question is None or request.question not in self._read:
            return None
        if data in self._read[request.question]:
            return None
        return f"{request.question.analysis} did not read {data}, the data file of {record}"

    def _covered(self, judged: list[Judgement], requirement: Requirement) -> list[Judgement]:
        """Return evidence with what of it is covered."""
        if not any(one.evidence.state is State.NOT_MET for one in judged):
            return judged
        return covered(judged, requirement, self._index, self._units, self._review)

    def _margins(self, verification: Verification) -> Sequence[RequiredMargin]:
        """Return the margins that are required beside the limits of a verification."""
        if not self._index.project.charter.margins:
            return ()
        quantity = verification.criterion.quantity
        return list(required_margins(quantity, self._index, self._review))

    def _with_margins(self, judged: list[Judgement], requirement: Requirement) -> list[Judgement]:
        """Return a measured value judged with the required margins."""
        if not self._index.project.charter.margins:
            return judged
        verification = requirement.verification
        return [
            measured(
                one,
                verification[one.evidence.number].criterion.limits,
                self._margins(verification[one.evidence.number]),
                self._units,
            )
            for one in judged
        ]

    def _due(self, review: str | None) -> bool:
        if self._number is None or review is None:
            return True
        number = self._index.review_number(review)
        return number is None or number <= self._number


def _left_open(entries: Sequence[Evidence], limits: Limits) -> Sequence[Evidence]:
    """Return evidence of which each open entry says which limits nobody has decided yet."""
    if not limits.undecided:
        return entries
    named = " and ".join(WORDS[key] for key in limits.undecided)
    text = f"{named} {TBD}: not met before it is decided"
    return [
        replace(one, message=f"{text}; {one.message}" if one.message else text)
        if one.state is State.OPEN
        else one
        for one in entries
    ]


def _as_run(recorded: Sequence[Judgement]) -> tuple[AsRun, ...]:
    return tuple(dict.fromkeys(row for one in recorded for row in one.evidence.as_run))


def _planned(said: dict[str, Any], verification: Verification) -> Evidence:
    when = f", due at {verification.review}" if verification.review else ""
    what = "; the analysis is to be written" if verification.method is Method.ANALYSIS else ""
    return Evidence(**said, state=State.OPEN, message=f"planned{when}{what}")


def said_of(number: int, verification: Verification, due: bool, units: Units) -> dict[str, Any]:
    """Return what is said of a verification before it is judged, as fields of its evidence."""
    criterion = verification.criterion
    limits = criterion.limits
    bounds = as_written(limits, units)
    return {
        "number": number,
        "method": verification.method.value,
        "level": verification.level,
        "stage": verification.stage,
        "review": verification.review,
        "due": due,
        "quantity": criterion.quantity,
        "unit": limits.unit,
        "at_least": bounds.at_least,
        "at_most": bounds.at_most,
        "limit_text": str(limits),
        "given": tuple((name, str(given)) for name, given in criterion.given),
        "plan": verification.plan,
        "cases_wanted": criterion.cases_at_least,
        "records": verification.records,
    }


def _of_two(result: RequirementResult) -> RequirementResult:
    """Return the result of a requirement that is given twice: nobody knows which was verified."""
    shown = Compliance.OPEN if result.compliance is Compliance.C else result.compliance
    why = "duplicate identifier"
    return replace(result, compliance=shown, closed=False, early=False, outstanding=True, why=why)


def _with_reason(result: RequirementResult, reason: str) -> RequirementResult:
    """Return a result with what keeps it open before all else that does."""
    why = reason if result.why == reason else f"{reason}; {result.why}"
    return replace(result, why=why)


def _result(
    requirement: Requirement,
    below: Below,
    code: Compliance,
    *,
    closed: bool,
    due: bool,
    outstanding: bool,
    why: str,
    early: bool = False,
    covered: bool = False,
    evidence: tuple[Evidence, ...] = (),
) -> RequirementResult:
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
        derived=tuple(result.id for result in below),
        compliance=code,
        closed=closed,
        covered=covered,
        due=due,
        why=why,
        evidence=evidence,
        outstanding=outstanding,
        early=early,
        where=requirement.where,
    )


def agreed_as_closed(requirement: str, index: Index) -> tuple[str, ...]:
    """Return by whom, when and at which review a requirement was agreed as closed."""
    return tuple(_shown(one) for one in _about(requirement, index) if one.planned is None)


def to_be_agreed(requirement: str, index: Index) -> tuple[str, ...]:
    """Return by whom, when and at which review it is planned to be, after the state's date."""
    return tuple(_shown(one) for one in _about(requirement, index) if one.planned is not None)


def _about(requirement: str, index: Index) -> Iterator[Agreement]:
    return (one for one in index.project.agreements if requirement in one.requirements)


def _shown(one: Agreement) -> str:
    day = one.date or one.planned
    parts = [f"at {one.review}", f"by {one.by}" if one.by else "", f"on {day}" if day else ""]
    return " ".join(filter(None, parts)) + (f" ({one.document})" if one.document else "")


def validated(judged: list[Judgement], validation: Validation | None) -> list[Judgement]:
    """Return evidence by an analysis with what is known of its validation.

    Where a test failed, what would be met is in error: nothing is shown. What is not met stays so,
    since bad news is not hidden, but no waiver reaches it: its size is not known.
    """
    if validation is None or validation.state is None:
        return judged
    return [_validated(one, validation) for one in judged]


def _validated(one: Judgement, validation: Validation) -> Judgement:
    evidence = replace(one.evidence, validation=validation.state)
    if not validation.failed:
        return one._replace(evidence=evidence)
    text = f"validation failed: {', '.join(test.named for test in validation.failed)}"
    evidence = replace(
        evidence,
        state=State.ERROR if evidence.state is State.MET else evidence.state,
        message=f"{text}; {evidence.message}" if evidence.message else text,
    )
    return one._replace(evidence=evidence, extremes=None)
