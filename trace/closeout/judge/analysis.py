"""Evidence by analysis: extents against limits, one entry for each case."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Any

from closeout.evaluate.chained import CUT, INPUT
from closeout.graph import Asked, RequiredMargin
from closeout.judge.bad_end import ranges_at
from closeout.judge.ends import deciding_ends, held_at
from closeout.judge.estimates import estimates_of
from closeout.judge.held import Case
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
    asked: Asked,
    replies: Mapping[Question, Answer | Failure],
    units: Units,
    margins: Sequence[RequiredMargin] = (),
) -> list[Judgement]:
    """Return the evidence of a verification by analysis, at least one entry.

    ``said`` is what is known of the verification before it is judged, ``margins`` are those that
    are required beside its limits.
    """
    verification, spec, question = asked.verification, asked.spec, asked.question
    said = {
        **said,
        "analysis": verification.analysis if spec is None else spec.name,
        "basis": str(verification.basis),
        "declared": tuple((one.name, _declared(one)) for one in asked.inputs if one.as_declared),
    }
    if asked.fault is not None or spec is None or question is None:
        return [_not_asked(said, asked)]
    reply = replies[question]
    wrong = [one.wrong for one in estimates_of(asked, replies) if one.wrong is not None]
    if wrong:
        return [Judgement(Evidence(**said, state=State.OPEN, message="; ".join(wrong)))]
    if isinstance(reply, Failure):
        if reply.kind in (INPUT, CUT):  # nothing is known of the analysis itself
            return [Judgement(Evidence(**said, state=State.OPEN, message=_told(reply)))]
        return [_error(said, _told(reply))]
    quantity = verification.criterion.quantity or ""
    field, cases = spec.field(quantity), reply.of(quantity)
    if field is None or not cases:
        return [_error(said, f"{spec.name} returned no {quantity}")]
    model = asked.acceptance.model
    shown = shown_in(units, field.unit, verification.criterion.limits)
    said |= {
        "assurance": reply.assurance,
        "unit": shown.unit,
        "model_uncertainty": None if model is None else model.text,
    }
    if verification.basis.kind is BasisKind.PROBABILITY:
        return [_with_margins(_chance(said, one, asked), asked, replies) for one in reply.decisions]
    of_limits = [Case(extent, asked, field.unit, shown) for _, extent in cases]
    judged = [
        _case({**said, "case": name}, case)
        for (name, _), case in zip(cases, of_limits, strict=True)
    ]
    if verification.basis.kind is BasisKind.ROOT_SUM_SQUARE:
        judged = [_linear(one, e, asked) for one, (_, e) in zip(judged, cases, strict=True)]
    if margins:
        judged = [
            case.beside(one, margins, units) for one, case in zip(judged, of_limits, strict=True)
        ]
    return _count_cases(judged, verification.criterion.cases_at_least, said)


def _not_asked(said: Said, asked: Asked) -> Judgement:
    """Return what stands in place of a verdict where no question can be asked, or none yet."""
    if asked.fault is not None:
        return _error(said, asked.fault)
    return Judgement(Evidence(**said, state=State.OPEN, message=asked.pending))


def _declared(used: InputUsed) -> str:
    """Return a condition as it holds: a nominal basis leaves out its spread."""
    return used.text if used.low is None else used.written


def _error(said: Said, message: str) -> Judgement:
    return Judgement(Evidence(**said, state=State.ERROR, message=message))


def _case(said: Said, case: Case) -> Judgement:
    extent, asked = case.extent, case.asked
    if extent.absent is not None or extent.value is None:
        return Judgement(_absent(said, extent, asked, case.shown))
    ends = deciding_ends(extent, asked.acceptance.bounds)
    numbers = (extent.value, *asked.acceptance.judged(ends.low, ends.high))
    if not all(math.isfinite(number) for number in numbers):
        return _error(said, "it returned a number that is not finite")
    found = case.against(asked.acceptance, ends)
    evidence = Evidence(**{**said, **found.fields, "value": case.shown.value(extent.value)})
    return Judgement(evidence, found.extremes)


def _linear(one: Judgement, extent: Extent, asked: Asked) -> Judgement:
    """Say how far the straight lines of root sum square are off; by more than the margin: open.

    No point of the box is its end, so there is no counterexample.
    """
    if extent.absent is not None or one.extremes is None:
        return one
    message = f"{extent.unproved}{_looked_at(asked)}"
    if one.evidence.state is State.OPEN and not asked.acceptance.undecided:
        model = asked.acceptance.model
        what = "the margin" if model is None else "its model's uncertainty leaves to the limit"
        message = f"undecided: {message}, which is more than {what}"
    return one._replace(evidence=replace(one.evidence, message=message, counterexample=()))


def _looked_at(asked: Asked) -> str:
    """Say that conditions given as a range were looked at in points only, where there are some."""
    names = [one.name for one in asked.inputs if one.side and one.low is not None]
    return f"; {', '.join(names)} checked at points of the range only" if names else ""


_STATES = {"met": State.MET, "not met": State.NOT_MET, "undecided": State.OPEN}


def _chance(said: Said, decided: Decided, asked: Asked) -> Judgement:
    """Return the evidence of a probability; its margin is what is proved less what is required."""
    chance = _found_of(decided, asked)
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
    text += _looked_at(asked)
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
            at=held_at(decided.at, asked),
            bad_end=ranges_at(decided.at, asked),
        )
    )


def _found_of(decided: Decided, asked: Asked) -> Chance:
    confidence = asked.verification.basis.confidence
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
    one: Judgement, asked: Asked, replies: Mapping[Question, Answer | Failure]
) -> Judgement:
    """Return evidence of a probability held to the margins that are required.

    With an enforced one the lesser margin of the two is told, also where it is there.
    """
    questions = dict(asked.margins)

    def against(before: Judgement, margin: RequiredMargin) -> Beside:
        entry, reply = before.evidence, replies[questions[margin]]
        if isinstance(reply, Failure):
            text = _told(reply)
            return Beside(
                before._replace(evidence=replace(entry, state=State.ERROR, message=text)), text
            )
        decided = next(found for found in reply.decisions if found.case == entry.case)
        state, chance = _STATES[decided.outcome], _found_of(decided, asked)
        text = (
            f"{margin} is {_HELD[state]}: with it the probability is at least"
            f" {probability_text(chance.at_least, chance.required)},"
            f" {probability_text(chance.required)} required"
        )
        assert entry.chance is not None
        least = min(chance, entry.chance, key=attrgetter("margin"))
        message = f"{text}; without it {entry.message}"
        held = replace(entry, state=state, margin=least.margin, chance=least, message=message)
        return Beside(before._replace(evidence=held), f"{entry.quantity}: {text}")

    return with_margins(one, list(questions), against)


_HELD = {State.MET: "there", State.NOT_MET: "not there", State.OPEN: "undecided"}


def _absent(said: Said, extent: Extent, asked: Asked, shown: Shown) -> Evidence:
    at = held_at(extent.low_at, asked)
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

    Where enough cases are met the others do no harm, and have no margin. Where all are met and
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


def _told(failure: Failure) -> str:
    lines = failure.message.strip().split("\n")
    told = lines[0] or failure.kind
    if failure.kind == INPUT:
        told = f"no value of a computed input: {told}"
    elif failure.kind not in ("raised", "timed out", CUT):
        told = f"{failure.kind}: {told}"
    if failure.path is not None:
        told += f" ({failure.path}:{failure.line})"
    return told + (f", {lines[-1]}" if lines[-1].startswith(AT_POINT) else "")
