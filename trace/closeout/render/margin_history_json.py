"""The history of a requirement for other programs; in ``explain --json`` under "history"."""

from __future__ import annotations

from typing import Any

from closeout.model.margin_history import MarginHistory, Moment


def history_json(history: MarginHistory) -> dict[str, Any]:
    """Return the states, the oldest first, each with the smallest margin of a verification."""
    return {
        "format": 1,
        "identifier": history.identifier,
        "whole": history.whole,
        "history": [_moment(one) for one in history.moments],
    }


def _moment(one: Moment) -> dict[str, Any]:
    result = one.result
    return {
        "commit": one.commit,
        "date": one.day,
        "subject": one.subject,
        "tags": list(one.tags),
        "problem": one.problem or None,
        "compliance": None if result is None else result.compliance.value,
        "closed": None if result is None else result.closed,
        "verification": [
            {
                "method": entry.method,
                "level": entry.level,
                "stage": entry.stage,
                "quantity": entry.quantity,
                "case": entry.case,
                "limit": entry.limit_text,
                "state": entry.state.value,
                "margin": entry.margin,
                "margin_unit": entry.margin_unit,
                "required_margin": one.required.get(key),
            }
            for key, entry in one.lines.items()
        ],
    }
