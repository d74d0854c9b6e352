"""How a judged value follows from what an analysis gives: a sum that can be done by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from closeout.model.answer import Assurance
from closeout.model.difference_unit import difference_unit
from closeout.model.dossier import Dossier, Evidence
from closeout.model.inputs_used import InputUsed
from closeout.model.study import Line, Study, Worst
from closeout.render import rows, trail
from closeout.render.numbers import show, show_margin
from closeout.render.plain import flow, safe
from closeout.render.trace_by_hand import DIGITS

NO_UNIT = "a value without unit here has none declared, and none follows; it is as it is computed"
# What the difference of two numbers may lose, relative to them.
ROUNDING = 1e-9
# Bases by which the inputs vary together.
_TOGETHER = "so no single set of inputs decides, and nothing is derived at one"


def deciding_end(evidence: Evidence) -> float | None:
    """Return the end that decides before the uncertainty of the model is taken off."""
    judged = rows.judged_end(evidence)
    ends = ((evidence.judged_low, evidence.low), (evidence.judged_high, evidence.high))
    for with_it, own in ends:
        if judged is not None and judged == with_it and own is not None:
            return own
    return judged


def study_sum(dossier: Dossier, study: Study) -> Iterator[str]:
    """Yield the same of a study: by the evidence of its case, and the inputs of that."""
    result = next((one for one in dossier.requirements if one.id == study.requirement), None)
    for one in () if result is None else result.evidence:
        if (one.number, one.case) == (study.number, study.case):
            evaluation = trail.evaluation_of(dossier.evaluations, study.requirement, one)
            yield from hand_sum(one, study, () if evaluation is None else evaluation.inputs)


def hand_sum(
    evidence: Evidence, study: Study | None, inputs: Iterable[InputUsed] = ()
) -> Iterator[str]:
    """Yield the way from the value at the deciding inputs to the margin, a step a line.

    The value that was seen is in the unit of the analysis, the rest in that of the limit.
    ``inputs`` are those of the evaluation, of which some hold a contingency.
    """
    yield from _contingencies(inputs)
    end, judged = deciding_end(evidence), rows.judged_end(evidence)
    if evidence.chance is not None:
        yield f"by probability the inputs vary together, {_TOGETHER}"
        return
    if end is None or judged is None:
        return
    if evidence.assurance is Assurance.LINEARISED:
        yield f"by root sum square the inputs vary together, {_TOGETHER}"
    elif study is not None and study.worst is not None:
        yield from _seen_and_proved(evidence, study, study.worst, end)
    yield from _to_the_margin(evidence, end, judged)


def _contingencies(inputs: Iterable[InputUsed]) -> Iterator[str]:
    for used in inputs:
        if used.contingency and used.origin != "set":
            value = show(used.value, safe(used.unit), DIGITS)
            text = f"{safe(used.name)}: {flow(used.text)} as declared"
            yield f"{text}, with contingency ({flow(used.contingency)}): {value}"


def _seen_and_proved(evidence: Evidence, study: Study, worst: Worst, end: float) -> Iterator[str]:
    unit, own = safe(evidence.unit or ""), safe(study.unit)
    yield f"at the inputs that decide, the analysis gives {show(worst.value, own, DIGITS)}"
    if evidence.assurance is Assurance.BOUNDED and (own != unit or worst.value != end):
        beyond = _beyond(worst.value, end) if own == unit else ""
        yield f"proved end over all tolerances: {show(end, unit, DIGITS)}{beyond}"


def _to_the_margin(evidence: Evidence, end: float, judged: float) -> Iterator[str]:
    unit = safe(evidence.unit or "")
    if judged != end:
        off = show(abs(end - judged), evidence.margin_unit or "", DIGITS)
        sign = "-" if judged < end else "+"
        value = show(judged, unit, DIGITS)
        yield f"{show(end, unit, DIGITS)} {sign} {off} (model uncertainty) = {value}"
    if evidence.margin is not None and evidence.limit_text:
        margin = show_margin(evidence.margin, safe(evidence.margin_unit or ""))
        value = show(judged, unit, DIGITS)
        limit = f"{flow(evidence.limit_text)}{_held(evidence)}"
        yield f"judged {value} against {limit}: margin {margin}"


def _held(evidence: Evidence) -> str:
    """Return the limit that was held against, where a required margin moves it.

    Such a margin is enforced, so the margin that is shown is what is left of it.
    """
    judged, unit = rows.judged_end(evidence), evidence.unit
    if judged is None or evidence.margin is None or evidence.margin_unit != difference_unit(unit):
        return ""
    bounds = ((evidence.at_least, -1.0), (evidence.at_most, 1.0))
    held = [judged + sign * evidence.margin for bound, sign in bounds if bound is not None]
    own = [bound for bound, _ in bounds if bound is not None]
    scale = max(map(abs, (judged, *own)), default=1.0)
    if not own or any(abs(a - b) <= ROUNDING * scale for a, b in zip(held, own, strict=True)):
        return ""
    return (
        ""
        if len(held) > 1
        else f", with the required margin {show(held[0], safe(unit or ''), DIGITS)}"
    )


def _beyond(seen: float, proved: float) -> str:
    scale = max(abs(seen), abs(proved)) or 1.0
    if abs(seen - proved) <= 1e-6 * scale:
        return ", beyond what was seen by rounding"
    return ", beyond what was seen, since the proof could not be made tighter"


def paired(first: Sequence[Line], second: Sequence[Line]) -> list[tuple[Line, Line | None]]:
    """Return each step of a derivation with the same step at another point, where it has one."""
    there = {(line.quantity, line.case, line.latex): line for line in second}
    return [(line, there.get((line.quantity, line.case, line.latex))) for line in first]
