"""From a snapshot to a dossier: the steps of every command, in their one order.

load -> graph -> evaluate -> judge. Side effects (store, processes) are begun and ended here.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from closeout.evaluate.engine import Evaluator
from closeout.evaluate.trace import Trace, foreign_files
from closeout.graph import Index
from closeout.judge import Run, Validity, findings_of, judge
from closeout.model.as_of import span
from closeout.model.choice import Choice
from closeout.model.compared import Compared
from closeout.model.dossier import Compliance, Dossier, Scale
from closeout.model.problem import Problem, Severity, in_order
from closeout.model.question import Question, analyses_of
from closeout.model.reply import Reply
from closeout.rules import apply
from closeout.run.compared import Judged, compared_now, with_earlier
from closeout.run.contents import contents_of
from closeout.run.days import day_of, is_redated
from closeout.run.inspection import Checked, check_project, placed
from closeout.run.named_tests import Validations, validations
from closeout.run.options import Options, Progress
from closeout.run.outgrown import causes
from closeout.snapshot import Snapshot
from closeout.store.database import Store

if TYPE_CHECKING:  # loaded where git, studies or attachments come into it
    from closeout.model.attachment import Attachment
    from closeout.model.on_file import OnFile
    from closeout.model.study import Study
    from closeout.run.studies import Wanted


@dataclass(frozen=True, slots=True)
class Outcome:
    """A dossier, and what it rested on outside the project's own YAML and Python files.

    ``rested_on`` is None where something could not be stored, so that the run cannot be repeated
    from the store. It holds on each day from the first of ``holds`` on and before the second, None
    where there is no such end. ``studies`` and ``attachments`` are those that were asked for.
    """

    dossier: Dossier
    rested_on: Trace | None
    holds: tuple[str | None, str | None] = (None, None)
    studies: tuple[Study, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    on_file: OnFile | None = None


def assess(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    wanted: Wanted | None = None,
    about: About | None = None,
    *,
    verdicts_alone: bool = False,
) -> Outcome:
    """Return the dossier of a snapshot, and the studies that are wanted.

    ``about`` says of which requirements the verdicts are wanted, where not of all. With
    ``verdicts_alone`` a proof ends as soon as it is certain that the limits are met; how large the
    margin is at the least is then known, and no more.

    Raises:
        UserError: an option names something that the project does not have.
    """
    with assessing(
        snapshot, store, options, progress, about, verdicts_alone=verdicts_alone
    ) as assessment:
        if isinstance(assessment, Outcome):
            return assessment
        return assessment.outcome(wanted)


@contextmanager
def assessing(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    about: About | None = None,
    *,
    verdicts_alone: bool = True,
) -> Iterator[Assessment | Outcome]:
    """Give a project that is read and answered, of which more can be asked meanwhile.

    ``about`` says of which requirements the verdicts are wanted, where not of all. What cannot be
    read at all is an outcome already.

    Raises:
        UserError: an option names something that the project does not have.
    """
    with Evaluator(snapshot, store, options.jobs, progress, alone=options.alone) as evaluator:
        day = day_of(snapshot, options)
        while True:
            checked = check_project(snapshot, store, evaluator, options, day)
            if isinstance(checked, tuple):
                problems, files = checked
                yield Outcome(_unreadable(snapshot, problems, files), None)
                return
            if about is not None and (names := about(checked.index)) is not None:
                chosen = Choice((), names, names)
                checked = replace(checked, asked=replace(checked.asked, chosen=chosen))
            replies = _answers(evaluator, checked, checked.asked.needed, verdicts_alone)
            found = compared_now(checked, evaluator, _review(options, checked))
            before, day = day, day_of(snapshot, options, (*checked.rested_on, *evaluator.looked_at))
            # Once what was read turns out to be in no commit, the state is of today, and stays so.
            if day == before:
                known = _validations(snapshot, store, checked, options, progress)
                yield Assessment(
                    snapshot, store, evaluator, options, checked, replies, known, found, progress
                )
                return


# Says of which requirements of a project something is asked; None for all.
About = Callable[[Index], frozenset[str] | None]


@dataclass(frozen=True, slots=True)
class Assessment:
    """A project that was read and checked, and the answers that its verdicts rest on."""

    snapshot: Snapshot
    store: Store
    evaluator: Evaluator
    options: Options
    checked: Checked
    replies: Mapping[Question, Reply]
    validations: Validations
    compared: tuple[Compared, ...] = ()
    progress: Progress | None = None

    def outcome(self, wanted: Wanted | None = None) -> Outcome:
        """Return the dossier, and the studies that are wanted."""
        return _judge(self, wanted)

    def to_the_end(self, requirements: Collection[str]) -> Assessment:
        """Return the same with the ends of what some requirements ask, not their verdicts alone.

        The other answers stay as they are.
        """
        more = _answers(self.evaluator, self.checked, requirements, verdicts_alone=False)
        return replace(self, replies={**self.replies, **more})

    @property
    def validity(self) -> Validity:
        """The project as its records are compared with it."""
        checked = self.checked
        return Validity(
            checked.index, checked.units, _review(self.options, checked),
            dict(checked.asked.settings), checked.altered, self.snapshot.identity.under_git,
        )  # fmt: skip

    @property
    def judged(self) -> Judged:
        """The state itself, beside which earlier ones can be asked."""
        return Judged(self.checked, self.snapshot, self.store, self.options)

    def step(self, text: str) -> None:
        """Say on a terminal what is done from now on."""
        if self.progress is not None:
            self.progress.step(text)


def _answers(
    evaluator: Evaluator,
    checked: Checked,
    requirements: Collection[str] | None,
    verdicts_alone: bool,
) -> dict[Question, Reply]:
    plan, part = checked.plan, checked.plan.of(requirements)
    specs = {spec.name: spec for spec in checked.index.specs}
    return evaluator.answer(
        part.questions, specs, plan.limits, whole=not verdicts_alone, below=plan.below,
        beside=part.estimates,
    )  # fmt: skip


def _validations(
    snapshot: Snapshot,
    store: Store,
    checked: Checked,
    options: Options,
    progress: Progress | None,
) -> Validations:
    questions = checked.plan.of(checked.asked.needed).questions
    judged = {name for question in questions for name in analyses_of(question)}
    limit = checked.index.project.charter.policy.test_time
    if options.validate and progress is not None:
        progress.step("running the tests of analyses")
    specs = checked.index.specs
    return validations(specs, judged, snapshot, store, options, limit, progress)


def _review(options: Options, checked: Checked) -> str | None:
    return options.review or checked.index.project.charter.next_review


def _judge(assessment: Assessment, wanted: Wanted | None) -> Outcome:
    snapshot, evaluator, checked = assessment.snapshot, assessment.evaluator, assessment.checked
    options, index = assessment.options, checked.index
    looks = (*checked.rested_on, *evaluator.looked_at)
    dossier = judge(
        Run(
            index=index,
            plan=checked.plan.of(checked.asked.needed),
            replies=assessment.replies,
            units=checked.units,
            snapshot=replace(snapshot.identity, date=checked.day),
            problems=checked.problems,
            files=checked.loaded.files,
            review=_review(options, checked),
            settings=checked.asked.settings,
            chosen=checked.asked.chosen,
            altered=checked.altered,
            validations=assessment.validations.of,
            compared=assessment.compared,
            contents=contents_of(assessment.replies.values(), snapshot, assessment.store),
        )
    )
    dossier = _with_findings(dossier, assessment)
    dossier = replace(dossier, redated=is_redated(snapshot, options, looks))
    rested_on = None
    if evaluator.complete and checked.lasting and assessment.validations.certain:
        rested_on = (*evaluator.rested_on, *checked.rested_on)
    holds = span(checked.loaded.project, checked.day) if checked.loaded.project else (None, None)
    if wanted is None:
        dossier = _with_sources(dossier, snapshot, evaluator, checked)
        return Outcome(dossier, rested_on, holds)
    from closeout.judge.on_file import on_file
    from closeout.run.attachments import attachments
    from closeout.run.studies import studies

    assessment.step("searching sensitivity and break-even")
    studied = studies(wanted, checked.plan, index, checked.units, evaluator, assessment.replies)
    if wanted.attached:
        assessment.step("drawing figures")
    plan = checked.plan.of(checked.asked.needed)
    attached = attachments(plan, assessment.replies, evaluator) if wanted.attached else ()
    dossier = replace(dossier, unmade=tuple(_unmade(dossier, studied, attached)))
    dossier = _with_earlier(dossier, wanted, assessment)
    dossier = _with_sources(dossier, snapshot, evaluator, checked)
    filed = on_file(assessment.validity, dossier) if wanted.attached else None
    return Outcome(dossier, rested_on, holds, studied, attached, filed)


def _with_findings(dossier: Dossier, assessment: Assessment) -> Dossier:
    """Return a dossier with what only verdicts can tell."""
    checked, index = assessment.checked, assessment.checked.index
    moved = causes(dossier, assessment.judged, assessment.replies)
    after = apply(findings_of(dossier, index, checked.units, moved), index)
    found = placed(assessment.snapshot, after.findings)
    raised = any(problem.severity is Severity.ERROR for problem in found)
    return replace(
        dossier,
        problems=in_order([*dossier.problems, *found]),
        exit_status=max(dossier.exit_status, 2 if raised else 0),
        off=tuple(dict.fromkeys((*checked.off, *after.off))),
    )


def _with_earlier(dossier: Dossier, wanted: Wanted, assessment: Assessment) -> Dossier:
    """Return a dossier with what the models before the tests predicted, as far as is wanted."""
    some = dossier.compared
    if wanted.requirements is not None:
        some = tuple(one for name in wanted.requirements for one in dossier.compared_for(name))
    if not some:
        return dossier
    assessment.step("asking the models before the tests")
    found = with_earlier(dossier.compared, some, assessment.judged)
    return replace(dossier, compared=found)


def _with_sources(
    dossier: Dossier, snapshot: Snapshot, evaluator: Evaluator, checked: Checked
) -> Dossier:
    """Return the dossier with what was read that no commit and no distribution holds."""
    looked = {*evaluator.looked_at, *checked.rested_on}
    untracked = snapshot.untracked(looked)
    identity = dossier.snapshot
    if untracked:
        identity = replace(identity, dirty=True, untracked=untracked)
    return replace(dossier, snapshot=identity, outside=foreign_files(looked))


def _unmade(
    dossier: Dossier, studied: Iterable[Study], attached: Iterable[Attachment]
) -> Iterator[str]:
    """Yield the names of what was wanted beside the verdicts and failed."""
    for study in studied:
        if study.failure is not None:
            yield f"the study of {study.quantity} for {study.requirement}"
    for one in attached:
        if one.failure is not None:
            yield f"{one.kind} {one.name} of {dossier.evaluations[one.evaluation].analysis}"


def _unreadable(snapshot: Snapshot, problems: tuple[Problem, ...], files: int) -> Dossier:
    return Dossier(
        project="(unreadable project)",
        note=None,
        snapshot=replace(snapshot.identity, date=snapshot.dated.day()),
        review=None,
        reviews=(),
        requirements=(),
        problems=problems,
        analyses=(),
        evaluations=(),
        scale=Scale(files, 0, 0, 0, 0, 0, 0),
        exit_status=2,
        totals={code.value: 0 for code in Compliance} | {"closed": 0},
        readable=False,
    )
