"""From answers and records to the dossier: every result of a run, totals and the exit status."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from closeout.evaluate.chained import Ends, Results, ends_of, members_of
from closeout.graph import Index, Plan, Request, from_below
from closeout.graph.inputs import spread_text
from closeout.judge.compared import marked
from closeout.judge.estimates import estimates_of
from closeout.judge.requirement import Judge
from closeout.measure import Units
from closeout.model.answer import Answer, Extent
from closeout.model.choice import Choice
from closeout.model.compared import Compared
from closeout.model.dossier import (
    Compliance,
    ComputedFound,
    Dossier,
    Evaluation,
    Evidence,
    ParameterSaid,
    QuantityFound,
    RequirementResult,
    Scale,
    State,
)
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Problem, Severity
from closeout.model.question import Failure, Question, analyses_of
from closeout.model.records import LinkedParameter, Parameter
from closeout.model.reply import Reply
from closeout.model.setting import Setting
from closeout.model.validation import Validation

OK, SHORTFALL, NOT_JUDGED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Run:
    """What is judged: a project, the answers to its questions, and what was asked of the run.

    ``review`` None judges the whole life; ``chosen`` limits the dossier to some requirements, of
    which the answers are there;
    ``altered`` are records whose data file is not the one that they speak of; ``validations`` say
    what is known of the tests that analyses name; ``compared`` what they predict of what was
    measured, which decides nothing. ``contents`` are digests of files, by path.
    """

    index: Index
    plan: Plan
    replies: Mapping[Question, Reply]
    units: Units
    snapshot: SnapshotIdentity
    problems: tuple[Problem, ...]
    files: int
    review: str | None = None
    settings: tuple[tuple[str, Setting], ...] = ()
    chosen: Choice | None = None
    altered: frozenset[str] = frozenset()
    validations: tuple[Validation, ...] = ()
    compared: tuple[Compared, ...] = ()
    contents: Mapping[str, str] = field(default_factory=dict)


def judge(run: Run) -> Dossier:
    """Return the dossier of a run."""
    judged = _results(run)
    chosen = [
        judged[name]
        for name in run.index.requirements
        if run.chosen is None or run.chosen.shows(judged[name])
    ]
    totals = {code.value: 0 for code in Compliance} | {"closed": 0}
    for result in chosen:
        totals[result.compliance.value] += 1
        totals["closed"] += result.closed
    project = run.index.project
    stated, linked = run.index.parameters.values(), run.index.linked.values()
    parameters = (*map(_parameter, stated), *(_linked(one, run.index) for one in linked))
    charter = project.charter
    return Dossier(
        project=charter.name,
        note=charter.note,
        snapshot=run.snapshot,
        review=run.review,
        reviews=charter.reviews,
        requirements=tuple(marked(chosen, run.compared, run.index)),
        problems=run.problems,
        analyses=run.index.specs,
        evaluations=tuple(_evaluations(run)),
        scale=_scale(run, chosen),
        exit_status=_exit_status(run.problems, chosen),
        settings=tuple((name, setting.text) for name, setting in run.settings),
        parameters=parameters,
        totals=totals,
        only=() if run.chosen is None else run.chosen.texts,
        of=len(judged),
        validations=run.validations,
        articles=project.articles,
        records=project.records,
        nonconformances=project.nonconformances,
        waivers=project.waivers,
        renamed=run.index.renamed,
        compared=run.compared,
        contents=run.contents,
    )


def _linked(one: LinkedParameter, index: Index) -> ParameterSaid:
    awaited = index.waiting.get(one.id)
    return ParameterSaid(
        one.id, "", "", one.source, None, None, str(one.link),
        awaited=None if awaited is None else awaited.reason,
    )  # fmt: skip


def _parameter(parameter: Parameter) -> ParameterSaid:
    return ParameterSaid(
        name=parameter.id,
        text=parameter.value.text,
        spread=spread_text(parameter.spread),
        source=parameter.source,
        maturity=parameter.maturity,
        condition=parameter.condition,
        estimate=None if parameter.estimate is None else str(parameter.estimate),
    )


def _results(run: Run) -> dict[str, RequirementResult]:
    """Return the result of each requirement, those below judged before those above.

    In a cycle, which is reported as a problem, some are judged before what is derived from them.
    """
    index, judge_one = run.index, _judge_of(run).result
    order = from_below(index)
    done: dict[str, RequirementResult] = {}
    for name in order.names:
        below = [done[child] for child in index.derived.get(name, ()) if child in done]
        done[name] = judge_one(index.requirements[name], below, name in order.cyclic)
    return done


def _judge_of(run: Run) -> Judge:
    answers = {question: reply.result for question, reply in run.replies.items()}
    return Judge(
        run.index, run.plan, answers, run.units, run.review, dict(run.settings), run.altered,
        {question: reply.read for question, reply in run.replies.items() if reply.read is not None},
        run.snapshot.under_git,
        {one.analysis: one for one in run.validations},
    )  # fmt: skip


def evidence_of(run: Run) -> dict[tuple[str, int], tuple[Evidence, ...]]:
    """Return the evidence by analysis of what the plan of a run asks, and of nothing else.

    The same entries as a dossier has of these verifications, by requirement and number.
    """
    one = _judge_of(run)
    return {
        (name, number): one.by_analysis(run.index.requirements[name], number)
        for name, number in run.plan.requests
    }


def _evaluations(run: Run) -> list[Evaluation]:
    """Return each question with its inputs and what it gave, in the order of the project."""
    results = {question: reply.result for question, reply in run.replies.items()}
    return [
        replace(
            _evaluation(request, run.replies[question], names, results),
            read=_read(request, run.replies),
        )
        for question, (request, names) in run.plan.serving().items()
        if question in run.replies
    ]


def _evaluation(
    request: Request, reply: Reply, serves: tuple[str, ...], results: Results
) -> Evaluation:
    assert request.spec is not None
    answer = reply.result if isinstance(reply.result, Answer) else None
    units = {field.name: field.unit for field in request.spec.fields}
    found = tuple(
        _found(name, case, units[name], e)
        for (name, case), e in (answer.extents.items() if answer else ())
    )
    return Evaluation(
        analysis=request.spec.name,
        basis=str(request.verification.basis),
        given=tuple((used.name, used.text) for used in request.inputs if used.origin == "given"),
        inputs=request.inputs,
        found=found,
        failure=None if isinstance(reply.result, Answer) else reply.result,
        assurance=answer.assurance if answer else None,
        evaluations=answer.evaluations if answer else 0,
        serves=serves,
        from_store=reply.from_store,
        not_stored=reply.not_stored,
        members=() if request.question is None else analyses_of(request.question)[1:],
        computed=tuple(_computed(request, results)),
        estimates=tuple((one.found, one.wrong) for one in estimates_of(request, results)),
    )


def _read(request: Request, replies: Mapping[Question, Reply]) -> tuple[str, ...]:
    """Return the project's files that a question and what is asked below it rest on."""
    below = (*request.below, *(each for one in request.estimates for each in one.below))
    asked = [*request.questions, *(one.question for one in below)]
    known = (replies[question].read for question in asked if question in replies)
    return tuple(sorted(frozenset().union(*(one for one in known if one is not None))))


def _computed(request: Request, results: Results) -> Iterator[ComputedFound]:
    """Yield what was found of each computed input, where its ends were asked for."""
    chain = None if request.question is None else request.question.chain
    linked = {} if chain is None else {one.variable: one for one in chain.linked}
    for one in request.computed:
        assert chain is not None
        found: Ends | Failure | None = None
        if all(below.question in results for below in request.below):
            found = ends_of(linked[one.name], chain, request.below, results)
        if isinstance(found, Ends):
            to = linked[one.name].moved_to
            by = 0.0 if to is None else to - found.value
            source = one.source if to is None else f"{one.source}, moved by --set"
            yield ComputedFound(
                one.name, source, one.unit, found.value + by, found.low + by, found.high + by,
                found.reason or None, members_of(linked[one.name], chain),
            )  # fmt: skip
        else:
            reason = found.message if found is not None else None
            members = members_of(linked[one.name], chain)
            yield ComputedFound(one.name, one.source, one.unit, None, None, None, reason, members)


def _found(name: str, case: str | None, unit: str, extent: Extent) -> QuantityFound:
    """Return a quantity with its proved ends, else with those that were seen."""
    proved = extent.proved_low is not None and extent.proved_high is not None
    low, high = extent.low, extent.high
    if proved:
        low, high = extent.proved_low, extent.proved_high
    return QuantityFound(
        name, case, unit, extent.value, low, high, extent.absent, proved, extent.unproved
    )


def _scale(run: Run, results: list[RequirementResult]) -> Scale:
    stored = sum(reply.from_store for reply in run.replies.values())
    return Scale(
        files=run.files,
        requirements=len(results),
        verifications=sum(len({e.number for e in result.evidence}) for result in results),
        parameters=len(run.index.parameters) + len(run.index.linked),
        analyses=len(run.index.specs),
        evaluated=len(run.replies) - stored,
        from_store=stored,
    )


def _exit_status(problems: Iterable[Problem], results: Iterable[RequirementResult]) -> int:
    """Return the highest status that applies.

    An analysis that could not be evaluated counts where it is due; at a later review its turn
    comes, until then it is shown like an early shortfall.
    """
    results = list(results)
    broken = any(problem.severity is Severity.ERROR for problem in problems)
    if broken or any(
        entry.due and entry.state is State.ERROR for result in results for entry in result.evidence
    ):
        return NOT_JUDGED
    return SHORTFALL if any(result.outstanding for result in results) else OK
