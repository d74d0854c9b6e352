"""What rests on what, for other programs: JSON, format version 1.

``impact.schema.json`` beside this module is its schema. Keys are added, never changed, within a
version.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from closeout.model.dossier import Evidence, RequirementResult
from closeout.model.impact import Edge, Impact, Kind, Node, OpenAgain, Unused
from closeout.render import words
from closeout.render.impact import tightest
from closeout.render.impact_nodes import margin_of
from closeout.render.jsonform import head_json, json_lines

_ENCODE = json.JSONEncoder(allow_nan=False).encode
_Node = dict[str, str]


def impact_json(impact: Impact) -> str:
    """Return an impact as JSON, a requirement, edge or thing to be done again a line.

    ASCII only, with a final newline.
    """
    names = {*impact.requirements, *(n.name for n in impact.roots if n.kind is Kind.REQUIREMENT)}
    results = [one for one in impact.dossier.requirements if one.id in names]
    least = tightest(results, impact)
    head = {
        **head_json(impact.dossier),
        "incomplete": words.missing(impact.dossier),
        "since": impact.since,
        "asked": [
            {"name": one.text, "note": one.note, "nodes": _nodes(one.nodes)} for one in impact.asked
        ],
        "smallest_margin": None if least is None else {"id": least[0].id, **_margin(least[1])},
    }
    rows = {
        "requirements": [_requirement(one, impact) for one in results],
        "rests_on_it": [{**_node(one), "certain": one not in impact.may} for one in impact.above],
        "it_rests_on": _nodes(impact.below),
        "edges": [_edge(one) for one in impact.edges],
        "open_again": [_again(one) for one in impact.open_again],
    }
    tail = {
        "not_known": _unread(impact.unread),
        "removed": list(impact.gone),
        "other_files": list(impact.others),
        "project_changed": impact.recharted,
        "caution": words.CAUTION,
    }
    return _document(head, rows, tail)


def unused_json(unused: Unused) -> str:
    """Return what no requirement rests on as JSON, an item a line; ASCII only."""
    head = {**head_json(unused.dossier), "incomplete": words.missing(unused.dossier)}
    items = [{**_node(one.node), "only": _nodes(one.only)} for one in unused.idle]
    tail = {"not_known": _unread(unused.unread), "caution": words.CAUTION}
    return _document(head, {"unused": items}, tail)


def _document(
    head: dict[str, Any], rows: dict[str, list[dict[str, Any]]], tail: dict[str, Any]
) -> str:
    parts = [f" {_ENCODE(key)}: {_ENCODE(value)}" for key, value in head.items()]
    parts += [json_lines(key, [_ENCODE(row) for row in some]) for key, some in rows.items()]
    parts += [f" {_ENCODE(key)}: {_ENCODE(value)}" for key, value in tail.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _node(node: Node) -> _Node:
    return {"kind": node.kind.value, "name": node.name}


def _nodes(nodes: Iterable[Node]) -> list[_Node]:
    return [_node(node) for node in nodes]


def _edge(one: Edge) -> dict[str, Any]:
    return {"from": _node(one.user), "to": _node(one.used), "certain": one.certain}


def _requirement(result: RequirementResult, impact: Impact) -> dict[str, Any]:
    node = Node(Kind.REQUIREMENT, result.id)
    entry = margin_of(result, impact)
    return {
        "id": result.id,
        "title": result.title,
        "owner": result.owner,
        "source": result.source,
        "compliance": result.compliance.value,
        "closed": result.closed,
        "covered": result.covered,
        "to_be_assessed": impact.assess.get(result.id),
        "asked": node in impact.roots,
        "certain": node not in impact.may,
        "verification": list(impact.concerned.get(result.id, ())),
        "smallest_margin": None if entry is None else _margin(entry),
    }


def _margin(entry: Evidence) -> dict[str, Any]:
    return {
        "verification": entry.number,
        "quantity": entry.quantity,
        "case": entry.case,
        "margin": entry.margin,
        "margin_unit": entry.margin_unit,
        "state": entry.state.value,
        "at_least": entry.tight is False,
    }


def _again(one: OpenAgain) -> dict[str, Any]:
    return {
        "what": one.what.value,
        "changed": _node(one.changed),
        "about": one.about,
        "requirement": one.requirement,
        "verification": one.number,
        "detail": one.detail,
    }


def _unread(found: Iterable[tuple[str, str]]) -> list[dict[str, str]]:
    return [{"analysis": name, "why": why} for name, why in found]
