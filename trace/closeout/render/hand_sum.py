"""How a judged value follows from what an analysis gives: a sum that can be done by hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from closeout.model.answer import Assurance
from closeout.model.dossier import Evidence
from closeout.model.study import Line, Study
from closeout.render import rows
from closeout.render.numbers import show, show_margin
from closeout.render.plain import flow, safe

# Enough to do the sum again beside any limit that is shown.
DIGITS = 6
NO_UNIT = "intermediate values have no declared unit; they are as the analysis computes them"


def deciding_end(evidence: Evidence) -> float | None:
    """Return the end that decides before the uncertainty of the model is taken off."""
    judged = rows.judged_end(evidence)
    ends = ((evidence.judged_low, evidence.low), (evidence.judged_high, evidence.high))
    for with_it, own in ends:
        if judged is not None and judged == with_it and own is not None:
            return own
    return judged


def hand_sum(evidence: Evidence, study: Study | None) -> Iterator[str]:
    """Yield the way from the value at the deciding inputs to the margin, a step a line.

    The value that was seen is in the unit of the analysis, the rest in that of the limit.
    """
    unit, end = safe(evidence.unit or ""), deciding_end(evidence)
    judged = rows.judged_end(evidence)
    if end is None or judged is None or evidence.chance is not None:
        return
    worst = None if study is None else study.worst
    if worst is not None and study is not None and evidence.assurance is not Assurance.LINEARISED:
        own = safe(study.unit)
        yield f"at the inputs that decide, the analysis gives {show(worst.value, own, DIGITS)}"
        if evidence.assurance is Assurance.BOUNDED and (own != unit or worst.value != end):
            yield (
                f"proved end over all tolerances: {show(end, unit, DIGITS)}"
                f"{_beyond(worst.value, end) if own == unit else ''}"
            )
    if judged != end:
        off = abs(end - judged)
        sign = "-" if judged < end else "+"
        yield (
            f"{show(end, unit, DIGITS)} {sign} {show(off, evidence.margin_unit or '', DIGITS)}"
            f" (model uncertainty) = {show(judged, unit, DIGITS)}"
        )
    if evidence.margin is not None and evidence.limit_text:
        margin = show_margin(evidence.margin, safe(evidence.margin_unit or ""))
        value = show(judged, unit, DIGITS)
        yield f"judged {value} against {flow(evidence.limit_text)}: margin {margin}"


def _beyond(seen: float, proved: float) -> str:
    scale = max(abs(seen), abs(proved)) or 1.0
    if abs(seen - proved) <= 1e-6 * scale:
        return ", beyond what was seen by rounding"
    return ", beyond what was seen, since the proof could not be made tighter"


def paired(first: Sequence[Line], second: Sequence[Line]) -> list[tuple[Line, Line | None]]:
    """Return each step of a derivation with the same step at another point, where it has one."""
    there = {(line.quantity, line.case, line.latex): line for line in second}
    return [(line, there.get((line.quantity, line.case, line.latex))) for line in first]
