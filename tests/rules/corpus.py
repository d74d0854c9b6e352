"""The corpus of statements: read, and looked at by the rules of wording as a project is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from closeout.graph import Index
from closeout.load import load
from closeout.measure import Units
from closeout.model.problem import Finding
from closeout.rules.wording.statements import wording
from tests.load.memory import Memory

PATH = Path(__file__).parent / "wording_corpus.yaml"
PROJECT = "project: {name: Buoy (invented)}\n"


@dataclass(frozen=True)
class Case:
    """A statement, and the rules that it breaks."""

    statement: str
    breaks: frozenset[str]
    criterion: dict[str, Any]
    batch: int


def found_in(index: Index, units: Units) -> list[Finding]:
    """Return what the rules of wording find in a whole project."""
    named = {name for d in index.project.documents if d.issue for name in (d.id, d.title)}
    return wording(index.requirements.values(), named, units)


def cases() -> list[Case]:
    """Return the corpus in its order."""

    items = yaml.safe_load(PATH.read_text())
    return [
        Case(
            item["statement"],
            frozenset(item["breaks"]),
            item.get("criterion", {}),
            int(item["batch"]),
        )
        for item in items
    ]


def findings_of(some: Iterable[Case], units: Units | None = None) -> list[list[Finding]]:
    """Return what the rules of wording find in each statement."""
    listed = list(some)
    requirements = [
        {
            "id": f"R-{number}",
            "title": "Invented",
            "statement": case.statement,
            "source": "invented",
            "verification": [{"method": "test", "stage": "acceptance", **case.criterion}],
        }
        for number, case in enumerate(listed)
    ]
    text = yaml.safe_dump({"requirements": requirements}, allow_unicode=True)
    loaded = load(Memory({"requirements/a.yaml": text, "requirements/project.yaml": PROJECT}))
    assert loaded.project is not None
    assert not loaded.left_out, loaded.problems
    found: list[list[Finding]] = [[] for _ in listed]
    for finding in found_in(Index.of(loaded.project, []), units or Units()):
        found[int(finding.where.steps[1])].append(finding)
    return found
