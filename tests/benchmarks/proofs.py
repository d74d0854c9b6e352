"""How long the proof of each closed form of the mission takes, and how near its ends are.

``python tests/benchmarks/proofs.py`` asks what ``closeout verify`` asks of each analysis, in this
process, and prints a table. It measures; it asserts nothing.
"""

from __future__ import annotations

import importlib
import json
import sys
import time
from pathlib import Path
from typing import Any

from closeout.arithmetic.bound import prove
from closeout.cli.options import Options
from closeout.cli.pipeline import assess
from closeout.evaluate import describe
from closeout.model.question import AnalysisSpec, Question
from closeout.snapshot import open_tree
from closeout.store.database import Store

ROOT = Path(__file__).parents[2]


def asked() -> list[tuple[Question, AnalysisSpec]]:
    """Return the worst cases that the mission asks for, each once, as the tool puts them."""
    found: dict[Question, None] = {}
    with open_tree(ROOT) as snapshot:
        dossier = assess(snapshot, Store(None), Options()).dossier
    specs = {spec.name: spec for spec in dossier.analyses}
    for one in dossier.evaluations:
        box = tuple(
            (used.name, used.low, used.high)
            for used in one.inputs
            if used.low is not None and used.high is not None
        )
        if one.basis == "worst case" and box:
            wanted = sorted(
                {
                    entry.quantity
                    for result in dossier.requirements
                    for entry in result.evidence
                    if entry.analysis == one.analysis and entry.quantity is not None
                }
            )
            point = tuple((used.name, used.value) for used in one.inputs)
            found[Question(one.analysis, point, box, detail=json.dumps(wanted))] = None
    return [(question, specs[question.analysis]) for question in found]


def proved(question: Question, spec: AnalysisSpec) -> tuple[float, int, int, int]:
    """Return seconds, evaluations, and how many values are proved and tight."""
    analysis = getattr(importlib.import_module(spec.module), spec.function)

    def at(point: Any) -> Any:
        numbers = all(type(value) is float for value in point.values())
        return describe.values_of(analysis, analysis.function(**point), numbers)

    wanted = json.loads(question.detail)
    keys = [key for key in at(dict(question.inputs)) if key[0] in wanted]
    began = time.perf_counter()
    proofs = prove(at, dict(question.inputs), question.box, keys)
    seconds = time.perf_counter() - began
    tight = sum(proof.tight for proof in proofs.proved.values())
    return seconds, proofs.evaluations, len(proofs.proved), tight


def main() -> None:
    """Prove each, the slowest first."""
    sys.path.insert(0, str(ROOT))
    rows = []
    for question, spec in asked():
        seconds, evaluations, values, tight = proved(question, spec)
        if values:
            rows.append((seconds, spec.name, evaluations, values, tight))
    print("| analysis | s | evaluations | values proved | within 1e-6 |")
    print("| --- | --- | --- | --- | --- |")
    for seconds, name, evaluations, values, tight in sorted(rows, reverse=True):
        print(f"| {name} | {seconds:.3f} | {evaluations} | {values} | {tight} |")


if __name__ == "__main__":
    main()
