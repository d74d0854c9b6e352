"""What the settings of a what-if change: code and margin of each requirement, before and after."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.model.dossier import Dossier, Evidence, RequirementResult
from closeout.render import order, rows
from closeout.render.plain import safe
from closeout.render.terminal import Paint

HEAD = "What the settings change"


def whatif_text(unchanged: Dossier, changed: Dossier, *, colour: bool) -> str:
    """Return the differences of two dossiers of one project, a line a requirement that differs.

    Margins are the tightest of each; numbers are compared unrounded.
    """
    paint = Paint(colour)
    before = {result.id: result for result in unchanged.requirements}
    lines = [
        line
        for now in order.by_identifier(changed.requirements)
        if now.id in before
        for line in _lines(before[now.id], now)
    ]
    body = lines or ["  no change of verdict or margin"]
    return "\n".join([paint.strong(HEAD), *body]) + "\n"


def _lines(was: RequirementResult, now: RequirementResult) -> Iterator[str]:
    old, new = rows.tightest(was), rows.tightest(now)
    code = was.compliance.value
    if was.compliance is not now.compliance:
        code = f"{code} -> {now.compliance.value}"
    elif _number(old) == _number(new):
        return
    parts = [f"  {safe(now.id)}", code]
    if old is not None or new is not None:
        parts.append(f"margin {_shown(old)} -> {_shown(new)}")
    subject = new or old
    if subject is not None:
        parts.append(rows.subject(subject))
    yield "  ".join(parts)


def _number(evidence: Evidence | None) -> float | None:
    return None if evidence is None else evidence.margin


def _shown(evidence: Evidence | None) -> str:
    return "none" if evidence is None else rows.margin(evidence)
