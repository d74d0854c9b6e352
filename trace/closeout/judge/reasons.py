"""Reasons: why a requirement has its close-out status, in one line."""

from __future__ import annotations

from collections.abc import Sequence

from closeout.model.dossier import Compliance, Evidence, RequirementResult, State
from closeout.model.records import NotApplicable

_OPEN_TEXTS = (
    (State.NOT_MET, "not met"),
    (State.ERROR, "could not be evaluated"),
    (State.OPEN, "open"),
)


def not_applicable(reason: NotApplicable, agreed: bool) -> str:
    """Return why a requirement does not apply, and whether that is agreed."""
    if reason.planned is not None:
        who = f" by {reason.agreed_by}" if reason.agreed_by else ""
        by = f", to be agreed{who} on {reason.planned}"
    elif reason.agreed_by is None:
        by = ", not agreed yet"
    elif agreed:
        by = f", agreed by {reason.agreed_by}"
    else:
        by = f", not agreed yet by its authority ({reason.agreed_by} agreed)"
    return f"{reason.reason}{by}{f' ({reason.document})' if reason.document else ''}"


def close_out(
    code: Compliance,
    closed: bool,
    evidence: Sequence[Evidence],
    below: Sequence[RequirementResult],
    obstacle: str | None = None,
) -> str:
    """Return the reason of the close-out status (ECSS-E-ST-10-02C Rev.1, Annex B).

    ``obstacle`` is what keeps a requirement open whatever its evidence says.
    """
    if closed:
        covers = sorted(
            {
                f"{one.covered_kind or 'waiver'} {one.covered_by}"
                for one in evidence
                if one.covered_by
            }
        )
        if covers:
            return f"not met, under {', '.join(covers)}"
        if evidence:
            return "all verifications are met"
        return f"all lower-level requirements are closed{_covered_below(below)}"
    for state, text in _OPEN_TEXTS:
        entries = [entry for entry in evidence if entry.state is state and not entry.closed]
        if entries:
            # What is due comes first: a later shortfall is early, and no reason yet.
            entry = next((entry for entry in entries if entry.due), entries[0])
            return _open(entry, text, len(entries))
    left = [result.id for result in below if not result.closed]
    if left:
        more = f" and {len(left) - 3} more" if len(left) > 3 else ""
        return f"not closed: {', '.join(left[:3])}{more}"
    if obstacle is not None:
        return obstacle
    return "no verification" if code is Compliance.OPEN else "not closed"


def _covered_below(below: Sequence[RequirementResult]) -> str:
    """Say which of what is derived is closed under a waiver, by itself or further down."""
    short = [one for one in below if one.compliance in (Compliance.NC, Compliance.PC)]
    return "".join(f"; {one.id}: {one.why}" for one in short)


def _open(entry: Evidence, text: str, count: int) -> str:
    case = f" [{entry.case}]" if entry.case else ""
    subject = f"{entry.quantity}{case} by {entry.method}" if entry.quantity else entry.method
    more = f" (and {count - 1} more)" if count > 1 else ""
    message = f": {entry.message}" if entry.message else f" against {entry.limit_text}"
    early = "" if entry.due or entry.state is State.OPEN else f", not yet due ({entry.review})"
    return f"{subject} {text}{early}{message if entry.message or entry.limit_text else ''}{more}"
