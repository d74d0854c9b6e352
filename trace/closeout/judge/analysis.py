"""Evidence by analysis: extents against limits, one entry for each case."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Any

from closeout.evaluate.chained import CUT, INPUT
from closeout.graph import Request, RequiredMargin
from closeout.graph.request import ComputedInput
from closeout.judge.bad_end import ranges_at
from closeout.judge.case import Case
from closeout.judge.ends import deciding_ends, settings_at
from closeout.judge.estimates import estimates_of
from closeout.judge.limits import Judgement, Shown, shown_in
from closeout.judge.margins import Beside, with_margins
from closeout.measure import Units
from closeout.model.answer import Answer, Assurance, Decided, Extent
from closeout.model.dossier import Evidence, State
from closeout.model.inputs_used import InputUsed
from closeout.model.probability import Chance, probability_text
from closeout.model.question import Failure, Question
from closeout.model.records import BasisKind

Said = dict[str, Any]
# How a worker's note begins that tells the point at which an analysis failed.
AT_POINT = "evaluated at "


def by_analysis(
    said: Said,
    request: Request,
    replies: Mapping[Question, Answer | Failure],
    units: Units,
    margins: Sequence[RequiredMargin] = (),
) -> list[Judgement]:
    """Return the evidence of a verification by analysis, at least one entry.

    ``said`` is what is known of the verification before it is judged, ``margins`` are those that
    are required beside its limits.
    """
    verification, spec, question = request.verification, request.spec, request.question
    said = {
        **said,
        "analysis": verification.analysis if spec is None else spec.name,
        "basis": str(verification.basis),
        "declared": tuple((one.name, _declared(one)) for one in request.inputs if one.as_declared),
        "measured_by": _measured_by(request),
    }
    if request.fault is not None or spec is None or question is None:
        return [_no_question(said, request)]
    reply = replies[question]
    wrong = [one.wrong for one in estimates_of(request, replies) if one.wrong is not None]
    if wrong:
        return [_open(said, "; ".join(wrong))]
    if isinstance(reply, Failure):
        # Of a failure below nothing is known of the analysis itself.
        failed = _open if reply.kind in (INPUT, CUT) else _error
        return [failed(said, _failure_text(reply, request))]
    quantity = verification.criterion.quantity or ""
    field, cases = spec.field(quantity), reply.of(quantity)
    if field is None or not cases:
        return [_error(said, f"{spec.name} returned no {quantity}")]
    model = request.acceptance.model
    shown = shown_in(units, field.unit, verification.criterion.limits)
    said |= {
        "assurance": reply.assurance,
        "unit": shown.unit,
        "model_uncertainty": None if model is None else model.text,
    }
    if verification.basis.kind is BasisKind.PROBABILITY:
        chances = (_chance(said, one, request) for one in reply.decisions)
        return [_with_margins(one, request, replies) for one in chances]
    return _against_limits(said, request, reply, margins, units)


def _against_limits(
    said: Said,
    request: Request,
    answer: Answer,
    margins: Sequence[RequiredMargin],
    units: Units,
) -> list[Judgement]:
    """Return the extents of each case against the limits, and against the margins required."""
    verification, spec = request.verification, request.spec
    quantity = verification.criterion.quantity or ""
    field = None if spec is None else spec.field(quantity)
    assert field is not None
    cases, shown = answer.of(quantity), shown_in(units, field.unit, verification.criterion.limits)
    of_limits = [Case(extent, request, field.unit, shown) for _, extent in cases]
    judged = [
        _case({**said, "case": name}, case)
        for (name, _), case in zip(cases, of_limits, strict=True)
    ]
    if verification.basis.kind is BasisKind.ROOT_SUM_SQUARE:
        judged = [_linear(one, e, request) for one, (_, e) in zip(judged, cases, strict=True)]
    if margins:
        judged = [
            case.beside(one, margins, units) for one, case in zip(judged, of_limits, strict=True)
        ]
    return _count_cases(judged, verification.criterion.cases_at_least, said)


def _no_question(said: Said, request: Request) -> Judgement:
    """Return what stands in place of a verdict where no question can be asked, or none yet."""
    if request.fault is not None:
        return _error(said, request.fault)
    said = {**said, "awaiting": tuple(one.name for one in request.awaited)}
    rebuilt = [name for one in request.awaited for name in one.rebuilt]
    if all(one.rebuilt for one in request.awaited):
        said = {**said, "rebuilt": tuple(dict.fromkeys(rebuilt))}
    return Judgement(Evidence(**said, state=State.OPEN, message=request.pending))


def _measured_by(request: Request) -> tuple[str, ...]:
    """Return the records in which inputs are found, or would be."""
    records = [one.record for one in request.inputs if one.record is not None]
    return tuple(dict.fromkeys((*records, *(one.record for one in request.awaited))))


def _declared(used: InputUsed) -> str:
    """Return a condition as it holds: a nominal basis leaves out its spread."""
    return used.text if used.low is None else used.written


def _open(said: Said, message: str) -> Judgement:
    return Judgement(Evidence(**said, state=State.OPEN, message=message))


def _error(said: Said, message: str) -> Judgement:
    return Judgement(Evidence(**said, state=State.ERROR, message=message))


def _case(said: Said, case: Case) -> Judgement:
    extent, request = case.extent, case.request
    if extent.absent is not None or extent.value is None:
        return Judgement(_absent(said, extent, request, case.shown))
    ends = deciding_ends(extent, request.acceptance.bounds)
    numbers = (extent.value, *request.acceptance.judged(ends.low, ends.high))
    if not all(math.isfinite(number) for number in numbers):
        return _error(said, "it returned a number that is not finite")
    found = case.against(request.acceptance, ends)
    evidence = Evidence(**{**said, **found.fields, "value": case.shown.value(extent.value)})
    return Judgement(evidence, found.extremes)


def _linear(one: Judgement, extent: Extent, request: Request) -> Judgement:
    """Say how far the straight lines of root sum square are off; by more than the margin: open.

    No point of the box is its end, so there is no counterexample.
    """
    if extent.absent is not None or one.extremes is None:
        return one
    message = f"{extent.unproved}{_looked_at(request)}"
    if one.evidence.state is State.OPEN and not request.acceptance.undecided:
        model = request.acceptance.model
        what = "the margin" if model is None else "its model's uncertainty leaves to the limit"
        message = f"undecided: {message}, which is more than {what}"
    return one._replace(evidence=replace(one.evidence, message=message, counterexample=()))


def _looked_at(request: Request) -> str:
    """Say that conditions given as a range were looked at in points only, where there are some."""
    sides = [one for one in request.inputs if one.side and one.low is not None]
    added = request.verification.basis.kind is BasisKind.ROOT_SUM_SQUARE
    names = [one.name for one in sides if not (added and one.is_off)]
    return f"; {', '.join(names)} checked at points of the range only" if names else ""


_STATES = {"met": State.MET, "not met": State.NOT_MET, "undecided": State.OPEN}


def _chance(said: Said, decided: Decided, request: Request) -> Judgement:
    """Return the evidence of a probability; its margin is what is proved less what is required."""
    chance = _found_of(decided, request)
    required = probability_text(chance.required)
    at_least, at_most = (
        probability_text(end, chance.required) for end in (chance.at_least, chance.at_most)
    )
    text = (
        f"probability {probability_text(chance.estimate)}, at least {at_least} and at most"
        f" {at_most} with the required confidence, {required} required; {decided.samples} samples"
    )
    if decided.at:
        text += ", at " + ", ".join(f"{name} = {value:g}" for name, value in decided.at)
    text += _looked_at(request)
    if decided.taken_uniform:
        text += f"; taken as uniform: {', '.join(decided.taken_uniform)}"
    if decided.fallback:
        text += f"; samples evaluated one by one: {decided.fallback}"
    return Judgement(
        Evidence(
            **{**said, "case": decided.case, "assurance": Assurance.SAMPLED},
            state=_STATES[decided.outcome],
            margin=chance.margin,
            chance=chance,
            message=text,
            at=settings_at(decided.at, request),
            bad_end=ranges_at(decided.at, request),
        )
    )


def _found_of(decided: Decided, request: Request) -> Chance:
    confidence = request.verification.basis.confidence
    assert confidence is not None
    return Chance(
        decided.lower,
        decided.upper,
        decided.estimate,
        decided.required,
        float(confidence),
        decided.samples,
    )


def _with_margins(
    one: Judgement, request: Request, replies: Mapping[Question, Answer | Failure]
) -> Judgement:
    """Return evidence of a probability judged with the required margins.

    With an enforced one the smaller margin of the two is shown, also where both are met.
    """
    questions = dict(request.margins)

    def against(before: Judgement, margin: RequiredMargin) -> Beside:
        entry, reply = before.evidence, replies[questions[margin]]
        if isinstance(reply, Failure):
            text = _failure_text(reply, request)
            return Beside(
                before._replace(evidence=replace(entry, state=State.ERROR, message=text)), text
            )
        decided = next(found for found in reply.decisions if found.case == entry.case)
        state, chance = _STATES[decided.outcome], _found_of(decided, request)
        text = (
            f"{margin} is {_MARGIN_IS[state]}: with it the probability is at least"
            f" {probability_text(chance.at_least, chance.required)},"
            f" {probability_text(chance.required)} required"
        )
        assert entry.chance is not None
        least = min(chance, entry.chance, key=attrgetter("margin"))
        message = f"{text}; without it {entry.message}"
        evidence = replace(entry, state=state, margin=least.margin, chance=least, message=message)
        return Beside(before._replace(evidence=evidence), f"{entry.quantity}: {text}")

    return with_margins(one, list(questions), against)


_MARGIN_IS = {State.MET: "met", State.NOT_MET: "not met", State.OPEN: "undecided"}


def _absent(said: Said, extent: Extent, request: Request, shown: Shown) -> Evidence:
    at = settings_at(extent.low_at, request)
    return Evidence(
        **said,
        state=State.NOT_MET,
        value=None if extent.value is None else shown.value(extent.value),
        message=f"no value: {extent.absent}",
        at=at,
        counterexample=at,
    )


def _count_cases(judged: list[Judgement], wanted: int | None, said: Said) -> list[Judgement]:
    """Apply ``cases: at least N``.

    Where enough cases are met, those not met do no harm and have no margin. Where all are met and
    that is not enough, an entry without a case says so.
    """
    if wanted is None:
        return judged
    states = [one.evidence.state for one in judged]
    met = states.count(State.MET)
    text = f"{wanted} of {len(judged)} cases required, {met} met"
    counted = [_counted(one, met >= wanted, text) for one in judged]
    if met == len(judged) < wanted:
        counted.append(Judgement(Evidence(**said, state=State.NOT_MET, message=text)))
    return counted


def _counted(one: Judgement, enough: bool, text: str) -> Judgement:
    entry = one.evidence
    message = f"{entry.message}; {text}" if entry.message else text
    if enough and entry.state is State.NOT_MET:
        message = f"limit not met in this case; {message}"
        entry = replace(entry, state=State.MET, margin=None, counterexample=())
    return one._replace(evidence=replace(entry, message=message))


def _failure_text(failure: Failure, request: Request) -> str:
    lines = failure.message.strip().split("\n")
    text = lines[0] or failure.kind
    if failure.kind == INPUT:
        text = f"no value of a computed input: {text}"
    elif failure.kind not in ("raised", "timed out", CUT):
        text = f"{failure.kind}: {text}"
    if failure.path is not None:
        text += f" ({failure.path}:{failure.line})"
    elif failure.kind == INPUT and (link := _link_of(lines[0], request)) is not None:
        text += f" ({link.name} in {link.path})"
    return text + (f", {lines[-1]}" if lines[-1].startswith(AT_POINT) else "")


def _link_of(message: str, request: Request) -> ComputedInput | None:
    """Return the lowest of the computed inputs with which the message of a failure begins."""
    computed = {one.name: one for one in request.computed}
    found = None
    for name in message.split(": "):
        if name not in computed:
            break
        found = computed[name]
    return found
