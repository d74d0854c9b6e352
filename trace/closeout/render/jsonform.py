"""The dossier for other programs: JSON, format version 1.

``verify.schema.json`` beside this module is its schema. Keys are added, never changed, within a
version.
"""

from __future__ import annotations

import json
import math
from typing import Any

from closeout.model.dossier import AsRun, Dossier, Evidence, RequirementResult
from closeout.model.problem import Problem
from closeout.model.validation import Validation
from closeout.render import words
from closeout.render.compared_json import compared_json

# 1: the first.
FORMAT = 1


def dossier_json(dossier: Dossier) -> str:
    """Return the dossier as JSON, one requirement and one problem a line, with a final newline.

    ASCII only, so that no character of a project's text can act on a terminal. A number that is
    not finite is null.
    """
    # The encoder in C serves only without indentation: seven times as fast for a large project.
    encode = json.JSONEncoder(allow_nan=False).encode
    parts = [f" {encode(key)}: {encode(value)}" for key, value in head_json(dossier).items()]
    requirements = [encode(_requirement(result)) for result in dossier.requirements]
    parts.append(json_lines("requirements", requirements))
    parts.append(json_lines("problems", [encode(_problem(p)) for p in dossier.problems]))
    parts += [f" {encode(key)}: {encode(value)}" for key, value in _tail(dossier).items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def head_json(dossier: Dossier) -> dict[str, Any]:
    """Return what begins each document in JSON: what was judged."""
    return {
        "format": FORMAT,
        "project": dossier.project,
        "snapshot": {
            "kind": dossier.snapshot.kind,
            "commit": dossier.snapshot.commit,
            "dirty": dossier.snapshot.dirty,
            "date": dossier.snapshot.date,
        },
        "review": dossier.review,
    }


def json_lines(key: str, items: list[str]) -> str:
    """Return a list under a key, each of its items, which are JSON already, on a line."""
    return f' "{key}": [\n  ' + ",\n  ".join(items) + "\n ]" if items else f' "{key}": []'


def _tail(dossier: Dossier) -> dict[str, Any]:
    s = dossier.scale
    return {
        "totals": words.totals(dossier),
        "exit_status": dossier.exit_status,
        "draft": dossier.draft,
        "incomplete": words.missing(dossier),
        "unheld": list(dossier.snapshot.untracked),
        "outside": words.outside(dossier),
        "settings": dict(dossier.settings),
        "only": list(dossier.only),
        "requirements_in_all": dossier.of,
        "reviews": list(dossier.reviews),
        "note": dossier.note,
        "scale": {
            "files": s.files,
            "requirements": s.requirements,
            "verifications": s.verifications,
            "parameters": s.parameters,
            "analyses": s.analyses,
            "evaluated": s.evaluated,
            "from_store": s.from_store,
        },
        "not_kept": dict(words.not_kept(dossier)),
        "off": [{"rule": p.rule, "for": list(p.items), "reason": p.reason} for p in dossier.off],
        "caution": words.CAUTION,
        "validation": [_validation(one) for one in dossier.validations],
        "predicted_and_measured": compared_json(dossier.compared),
    }


def _validation(validation: Validation) -> dict[str, Any]:
    return {
        "analysis": validation.analysis,
        "state": validation.state,
        "tests": [
            {
                "test": test.named,
                "state": test.state,
                "message": test.message,
                "path": test.path,
                "line": test.line,
            }
            for test in validation.tests
        ],
    }


def _requirement(result: RequirementResult) -> dict[str, Any]:
    return {
        "id": result.id,
        "title": result.title,
        "compliance": result.compliance.value,
        "closed": result.closed,
        "covered": result.covered,
        "verification": [evidence_json(evidence) for evidence in result.evidence],
        "issue": result.issue,
        "due": result.due,
        "early": result.early,
        "why": result.why,
        "owner": result.owner,
        "safety": result.safety,
        "source": result.source,
        "derived_from": result.derived_from,
        "derived": result.derived,
        "statement": result.statement,
        "rationale": result.rationale,
        "agreed": result.agreed,
        "to_be_agreed": result.to_be_agreed,
        "budget": result.budget,
        "nonconformances": dict(result.reported),
    }


def evidence_json(evidence: Evidence) -> dict[str, Any]:
    """Return one verification and case of it; a number that is not finite is null."""
    return {
        "method": evidence.method,
        "analysis": evidence.analysis,
        "quantity": evidence.quantity,
        "case": evidence.case,
        "unit": evidence.unit,
        "value": _finite(evidence.value),
        "low": _finite(evidence.low),
        "high": _finite(evidence.high),
        "at_least": _finite(evidence.at_least),
        "at_most": _finite(evidence.at_most),
        "margin": _finite(evidence.margin),
        "margin_unit": None if evidence.margin is None else evidence.margin_unit,
        "probability": None if evidence.chance is None else evidence.chance._asdict(),
        "basis": evidence.basis,
        "assurance": evidence.assurance,
        "state": evidence.state.value,
        "message": evidence.message,
        "number": evidence.number,
        "level": evidence.level,
        "stage": evidence.stage,
        "review": evidence.review,
        "due": evidence.due,
        "closed": evidence.closed,
        "record": evidence.record,
        "covered_by": evidence.covered_by,
        "counterexample": dict(evidence.counterexample),
        "at": dict(evidence.at),
        "given": dict(evidence.given),
        "declared": dict(evidence.declared),
        "limit_text": evidence.limit_text,
        "plan": evidence.plan,
        "cases_at_least": evidence.cases_wanted,
        "model_uncertainty": evidence.model_uncertainty,
        "tight": evidence.tight,
        "unproved": evidence.unproved,
        "document": evidence.document,
        "uncertainty": evidence.uncertainty,
        "as_run": [_as_run(row) for row in evidence.as_run],
        "validation": evidence.validation,
        "not_correlated": list(evidence.not_correlated),
    }


def _as_run(row: AsRun) -> dict[str, Any]:
    return {
        "record": row.record,
        "condition": row.name,
        "as_run": row.as_run,
        "required": row.required,
        "within": row.within,
        "verdict": row.verdict,
    }


def _problem(problem: Problem) -> dict[str, Any]:
    return {
        "rule": problem.rule,
        "severity": problem.severity.value,
        "path": problem.path,
        "line": problem.line,
        "column": problem.column,
        "message": problem.message,
        "cure": problem.cure,
    }


def _finite(value: float | None) -> float | None:
    return value if value is None or math.isfinite(value) else None
