"""What a reader of a document sees of a dossier: nothing of exceptions, no advice on code.

An author needs both and has them on the terminal and in the JSON of the dossier. A document says
which analysis failed and whom that concerns. All documents are made of what this module gives.
"""

from __future__ import annotations

from dataclasses import replace

from closeout.model.attachment import Attachment
from closeout.model.changes import Changes, MarginChange, VerdictChange
from closeout.model.compared import Compared, Prediction
from closeout.model.dossier import (
    ComputedFound,
    Dossier,
    Evaluation,
    Evidence,
    QuantityFound,
    RequirementResult,
)
from closeout.model.on_file import OnFile
from closeout.model.problem import Problem
from closeout.model.question import Failure
from closeout.model.study import Study
from closeout.model.subject import RecordSubject, Subject
from closeout.model.validation import NamedTest, Tested, Validation
from closeout.render import reader_words
from closeout.render.reader_words import is_of_code
from closeout.render.trail import is_named

# What is to be done about a finding whose action is code, by its rule.
_ACTIONS = {
    "safety-not-proved": "prove the worst case, and support it by a test",
    "analysis-not-validated": "hold it against a source outside the project, by a test",
    "unknown-analysis": "write the analysis, or plan the verification without it for now",
    "validation-failed": "correct the analysis or its test, and run the test again",
}
_ACTION = "correct the analysis"


def for_readers(dossier: Dossier) -> Dossier:
    """Return a dossier as documents show it; the verdicts and the numbers are the same."""
    return _Reader(dossier).dossier()


def on_file_for_readers(on_file: OnFile, dossier: Dossier) -> OnFile:
    """Return what else is on file as documents show it."""
    reader = _Reader(dossier)
    subjects = {
        name: tuple(reader.subject(one) for one in some) for name, some in on_file.subjects.items()
    }
    return replace(on_file, subjects=subjects)


def changes_for_readers(changes: Changes) -> Changes:
    """Return what changed between two states as documents show it."""
    was, now = _Reader(changes.was), _Reader(changes.now)
    return replace(
        changes,
        was=was.dossier(),
        now=now.dossier(),
        verdicts=tuple(
            VerdictChange(was.requirement(one.was), now.requirement(one.now))
            for one in changes.verdicts
        ),
        margins=tuple(_margin(one) for one in changes.margins),
    )


def study_for_readers(study: Study) -> Study:
    """Return a study as documents show it."""
    return study._replace(
        failure=study.failure and _ended(study.failure, "the study could not be made: "),
        symbolic=None if study.symbolic is None else reader_words.symbolic(study.symbolic),
        reasons={name: reader_words.part(text) for name, text in study.reasons.items()},
        ends=tuple(
            one._replace(remark=_clean(_remark(one.remark, one.low is None), "not known"))
            for one in study.ends
        ),
    )


def attachment_for_readers(attachment: Attachment) -> Attachment:
    """Return a figure or a set of files, of which one that failed says no more than how."""
    return attachment._replace(failure=attachment.failure and _ended(attachment.failure))


def _remark(text: str, is_reason: bool) -> str:
    return reader_words.part(text) if is_reason and text else reader_words.linearised(text)


def _margin(one: MarginChange) -> MarginChange:
    if one.reason is None:
        return one
    return replace(one, reason=_clean(one.reason, "an analysis failed on the way between both"))


def _clean(text: str, otherwise: str) -> str:
    """Return a text as it is, or another where it speaks of code."""
    return otherwise if is_of_code(text) else text


def _ended(failure: Failure, what: str = "") -> Failure:
    return Failure(failure.kind, f"{what}{reader_words.ended(failure)}", "")


class _Reader:
    """Turns the parts of one dossier into what is read of them."""

    def __init__(self, dossier: Dossier) -> None:
        self._dossier = dossier
        self._analyses = tuple(spec.name for spec in dossier.analyses)
        self._failed = [
            (one.analysis, one.failure, one.failure.message.strip().partition("\n")[0])
            for one in dossier.evaluations
            if one.failure is not None
        ]

    def dossier(self) -> Dossier:
        """Return the whole of it."""
        whole = self._dossier
        return replace(
            whole,
            requirements=tuple(map(self.requirement, whole.requirements)),
            problems=tuple(map(_problem, whole.problems)),
            evaluations=tuple(map(self._evaluation, whole.evaluations)),
            validations=tuple(map(_validation, whole.validations)),
            compared=tuple(map(_compared, whole.compared)),
        )

    def requirement(self, result: RequirementResult) -> RequirementResult:
        """Return a requirement, of which the reason repeats what its evidence says."""
        evidence = tuple(map(self._evidence, result.evidence))
        why = result.why
        for was, now in zip(result.evidence, evidence, strict=True):
            if was.message and now.message:
                why = why.replace(was.message, now.message)
        return replace(result, evidence=evidence, why=_clean(why, "an analysis failed"))

    def subject(self, subject: Subject) -> Subject:
        """Return an item that is on file; of a record with what was judged of it."""
        if not isinstance(subject, RecordSubject):
            return subject
        uses = tuple(
            replace(
                use,
                entries=tuple(map(self._evidence, use.entries)),
                alone=None if use.alone is None else self._evidence(use.alone),
            )
            for use in subject.uses
        )
        return replace(subject, uses=uses)

    def _evidence(self, one: Evidence) -> Evidence:
        return replace(
            one,
            message=None if one.message is None else self._message(one, one.message),
            unproved=None if one.unproved is None else reader_words.unproved(one.unproved),
        )

    def _message(self, one: Evidence, message: str) -> str:
        for analysis, failure, text in self._failed:
            if is_named(analysis, one.analysis) and text and text in message:
                return reader_words.failed(analysis, failure, self._analyses)
        said = reader_words.linearised(message)
        return _clean(said, f"the analysis {one.analysis} failed" if one.analysis else "it failed")

    def _evaluation(self, one: Evaluation) -> Evaluation:
        failure = one.failure
        if failure is not None:
            text = reader_words.failed(one.analysis, failure, self._analyses)
            failure = Failure(failure.kind, text, "")
        return replace(
            one,
            failure=failure,
            found=tuple(map(_found, one.found)),
            computed=tuple(map(_computed, one.computed)),
            estimates=tuple(
                (_computed(found), wrong and _clean(wrong, f"the estimate of {found.name} failed"))
                for found, wrong in one.estimates
            ),
        )


def _found(one: QuantityFound) -> QuantityFound:
    if one.unproved is None:
        return one
    return replace(one, unproved=reader_words.unproved(one.unproved))


def _computed(one: ComputedFound) -> ComputedFound:
    if one.unproved is None:
        return one
    if one.value is None:
        return replace(one, unproved="what computes it failed")
    return replace(one, unproved=reader_words.unproved(one.unproved))


def _compared(one: Compared) -> Compared:
    return replace(
        one,
        now=_prediction(one.now),
        before=None if one.before is None else _prediction(one.before),
        no_before=one.no_before and _clean(one.no_before, "the earlier model failed"),
    )


def _prediction(one: Prediction) -> Prediction:
    return replace(
        one,
        failed=one.failed and _clean(one.failed, "the analysis failed"),
        no_error=one.no_error and _clean(one.no_error, "the spread of the model is not known"),
    )


def _validation(one: Validation) -> Validation:
    return replace(one, tests=tuple(map(_test, one.tests)))


def _test(one: NamedTest) -> NamedTest:
    """Return a test; what it printed as it failed is for who mends it."""
    if one.message is None:
        return one
    if one.state is Tested.FAILED or is_of_code(one.message):
        return replace(one, message=None)
    return one


def _problem(one: Problem) -> Problem:
    """Return a finding; of a file of Python without the line, and without what Python says."""
    in_code = one.path.endswith(".py")
    message = one.message
    if in_code:
        head, _, rest = message.partition(": ")
        message = head if is_of_code(rest) else message
    if is_of_code(one.cure):
        cure = _ACTIONS.get(one.rule, _ACTION)
    else:
        cure = _ACTIONS.get(one.rule, one.cure) if in_code else one.cure
    return replace(one, line=0 if in_code else one.line, message=message, cure=cure)


def place(problem: Problem) -> str:
    """Return where a finding is: ``requirements/power.yaml:3:5``, or a file alone."""
    if not problem.line:
        return problem.path
    return f"{problem.path}:{problem.line}:{problem.column}"
