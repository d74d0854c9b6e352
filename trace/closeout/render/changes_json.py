"""What changed between two states, for other programs: JSON, format version 1.

``compare.schema.json`` beside this module is its schema. Keys are added, never changed, within a
version.
"""

from __future__ import annotations

import json
from typing import Any

from closeout.model.changes import Changes, ItemChange, MarginChange, VerdictChange
from closeout.model.dossier import Dossier
from closeout.render import words
from closeout.render.jsonform import head_json, json_lines


def changes_json(changes: Changes) -> str:
    """Return the changes as JSON, a requirement a line, with a final newline; ASCII only."""
    encode = json.JSONEncoder(allow_nan=False).encode
    head = {
        **head_json(changes.now),
        "before": _state(changes.was),
        "incomplete": sorted({*words.missing(changes.was), *words.missing(changes.now)}),
    }
    parts = [f" {encode(key)}: {encode(value)}" for key, value in head.items()]
    parts.append(json_lines("requirements", [encode(row) for row in _requirements(changes)]))
    parts.append(json_lines("items", [encode(_item(item)) for item in changes.items]))
    parts.append(f' "caution": {encode(words.CAUTION)}')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _state(dossier: Dossier) -> dict[str, Any]:
    head = head_json(dossier)
    return {"snapshot": head["snapshot"], "review": head["review"]}


def _requirements(changes: Changes) -> list[dict[str, Any]]:
    """Return the requirements of which a verdict or margin changed, what got worse first."""
    verdicts = {one.now.id: one for one in changes.verdicts}
    margins: dict[str, list[MarginChange]] = {}
    for one in changes.margins:
        margins.setdefault(one.requirement, []).append(one)
    now = {result.id: result for result in changes.now.requirements}
    return [
        {
            "id": name,
            "title": now[name].title,
            **_verdict(verdicts.get(name)),
            "verification": [_margin(one) for one in margins.get(name, ())],
        }
        for name in dict.fromkeys((*verdicts, *margins))
    ]


def _verdict(one: VerdictChange | None) -> dict[str, Any]:
    if one is None:
        return {}
    return {
        "formerly": one.formerly,
        **{
            f"{key}_{when}": value
            for when, result in (("before", one.was), ("after", one.now))
            for key, value in (
                ("compliance", result.compliance.value),
                ("closed", result.closed),
                ("covered", result.covered),
            )
        },
    }


def _margin(one: MarginChange) -> dict[str, Any]:
    entry = one.now
    return {
        "method": entry.method,
        "level": entry.level,
        "stage": entry.stage,
        "quantity": entry.quantity,
        "case": entry.case,
        "margin_unit": entry.margin_unit,
        "margin_before": one.before,
        "margin_after": one.after,
        "state_before": one.was.state.value,
        "state_after": entry.state.value,
        "causes": [
            {
                "kind": cause.factor.kind,
                "name": cause.factor.name,
                "before": cause.factor.before,
                "after": cause.factor.after,
                "part": cause.part,
                "standard_error": cause.error,
            }
            for cause in one.causes
        ],
        "interaction": one.interaction,
        "not_split": one.reason,
    }


def _item(item: ItemChange) -> dict[str, Any]:
    return {
        "section": item.section,
        "id": item.id,
        "change": item.kind,
        "formerly": item.formerly,
        "fields": [
            {"name": field.name, "before": field.before, "after": field.after}
            for field in item.fields
        ],
    }
