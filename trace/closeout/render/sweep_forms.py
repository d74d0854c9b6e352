"""A sweep for other programs: a table as CSV, and JSON, format version 1.

``sweep.schema.json`` beside this module is the schema of the JSON. Every number is unrounded.
"""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from closeout.model.dossier import Evidence
from closeout.model.sweep import BETWEEN, Followed, Sweep, SweepAxis
from closeout.render import words
from closeout.render.jsonform import evidence_json, head_json, json_lines
from closeout.render.plain import cell
from closeout.render.sweep import notes

_OF_AXIS = ("", " unit", " as set")
CSV_COLUMNS = (
    "requirement", "title", "verification", "analysis", "quantity", "case", "state", "holds",
    "margin", "margin unit", "value", "low", "high", "unit", "at least", "at most", "limit",
    "basis", "assurance", "due at", "cover", "message", "draft",
)  # fmt: skip


def sweep_csv(sweep: Sweep) -> str:
    """Return RFC 4180 text: a line for each point, verification and case.

    As in the matrix a text like a formula gets an apostrophe, and each line says what is no clean
    commit.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    heads = [f"{axis.parameter}{part}" for axis in sweep.axes for part in _OF_AXIS]
    writer.writerow([*map(cell, heads), *CSV_COLUMNS])
    draft = "; ".join(words.banners(sweep.dossier))
    for place, point in enumerate(sweep.points):
        left = [x for axis, at in zip(sweep.axes, point, strict=True) for x in _at(axis, at)]
        for followed, row in zip(sweep.followed, sweep.found, strict=True):
            writer.writerows(
                [*left, *_cells(followed, one), cell(draft)] for one in row[place].evidence
            )
    return stream.getvalue()


def _at(axis: SweepAxis, at: int) -> list[str | float]:
    tried = axis.tried[at]
    return [float(tried.number), cell(axis.unit), cell(tried.text)]


def _cells(followed: Followed, one: Evidence) -> list[str | float | None]:
    shown = evidence_json(one)
    figures = [shown[key] for key in ("value", "low", "high")]
    return [
        cell(followed.requirement), cell(followed.title), followed.number + 1,
        cell(followed.analysis), cell(followed.quantity), cell(one.case or ""), one.state.value,
        "yes" if one.closed else "no", shown["margin"], cell(shown["margin_unit"] or ""),
        *figures, cell(one.unit or ""), shown["at_least"], shown["at_most"], cell(followed.limit),
        cell(followed.basis), shown["assurance"] or "", cell(followed.review or ""),
        cell(words.cover(one)), cell(one.message or ""),
    ]  # fmt: skip


def sweep_json(sweep: Sweep) -> str:
    """Return a sweep as JSON, a verification a line, with a final newline; ASCII only."""
    encode = json.JSONEncoder(allow_nan=False).encode
    head = {
        **head_json(sweep.dossier),
        "settings": dict(sweep.dossier.settings),
        "only": list(sweep.dossier.only),
        "draft": sweep.dossier.draft,
        "incomplete": words.missing(sweep.dossier),
        "parameters": [_axis(axis, sweep) for axis in sweep.axes],
        "points": [dict(sweep.settings(point)) for point in sweep.points],
        "all_hold": list(sweep.holding()),
        "windows": _windows(sweep),
        "between": BETWEEN,
    }
    tail = {"notes": list(notes(sweep)), "caution": words.CAUTION}
    rows = [encode(_followed(sweep, place)) for place in range(len(sweep.followed))]
    parts = [f" {encode(key)}: {encode(value)}" for key, value in head.items()]
    parts.append(json_lines("verification", rows))
    parts += [f" {encode(key)}: {encode(value)}" for key, value in tail.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _axis(axis: SweepAxis, sweep: Sweep) -> dict[str, Any]:
    return {
        "name": axis.parameter,
        "unit": axis.unit,
        "values": [float(tried.number) for tried in axis.tried],
        "declared": axis.declared,
        "declared_value": None if axis.now is None else float(axis.now),
        "whole_numbers": axis.whole,
        "condition_replaced_in": list(
            dict.fromkeys(o.requirement for o in sweep.followed if axis.parameter in o.replaced)
        ),
    }


def _windows(sweep: Sweep) -> list[dict[str, Any]] | None:
    """Return where all hold along one parameter; None over two."""
    if len(sweep.axes) > 1:
        return None
    tried = sweep.axes[0].tried

    def named(places: tuple[int, ...]) -> list[dict[str, Any]]:
        keys = (sweep.followed[place].key for place in places)
        return [{"requirement": name, "number": number} for name, number in keys]

    return [
        {
            "from": float(tried[one.first].number),
            "to": float(tried[one.last].number),
            "ended_below_by": named(one.below),
            "ended_above_by": named(one.above),
            "without": named(sweep.nowhere),
        }
        for one in sweep.windows()
    ]


def _followed(sweep: Sweep, place: int) -> dict[str, Any]:
    one = sweep.followed[place]
    return {
        "requirement": one.requirement,
        "title": one.title,
        "number": one.number,
        "analysis": one.analysis,
        "quantity": one.quantity,
        "limit_text": one.limit,
        "basis": one.basis,
        "review": one.review,
        "nominal_only": one.nominal,
        "points": [
            {
                "state": found.state.value,
                "holds": found.holds,
                "cases": [evidence_json(entry) for entry in found.evidence],
            }
            for found in sweep.found[place]
        ],
    }
