"""How long the proof of each closed form of the mission takes, and how near its ends are.

``python tests/benchmarks/proofs.py`` asks what ``closeout explain`` asks of each analysis (the ends
themselves) and what ``closeout verify`` asks (whether the limits are met), in this process, and
prints a table. It measures; it asserts nothing.
"""

from __future__ import annotations

import importlib
import json
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from closeout.arithmetic.proof.bound import prove
from closeout.arithmetic.proof.proved import Proofs
from closeout.evaluate import describe
from closeout.evaluate.engine import Evaluator
from closeout.graph import Index, Plan, plan
from closeout.load import load
from closeout.measure import Units
from closeout.model.answer import Sought
from closeout.model.question import WORST_CASE, AnalysisSpec, Question
from closeout.snapshot import open_tree
from closeout.store.database import Store

ROOT = Path(__file__).parents[2]


def planned() -> tuple[Plan, dict[str, AnalysisSpec]]:
    """Return what the mission asks of its analyses, and these by name."""
    with open_tree(ROOT) as snapshot, Store(None) as store:
        evaluator = Evaluator(snapshot, store)
        modules = evaluator.modules()
        evaluator.close()
        loaded = load(snapshot)
    assert loaded.project is not None
    index = Index.of(loaded.project, [spec for module in modules for spec in module.specs])
    review = loaded.project.charter.next_review
    return plan(index, Units(), review=review), {spec.name: spec for spec in index.specs}


def proved(
    question: Question, spec: AnalysisSpec, limits: Iterable[Sought] | None
) -> tuple[float, Proofs]:
    """Return seconds, and what was proved."""
    analysis = getattr(importlib.import_module(spec.module), spec.function)

    def at(point: Any) -> Any:
        numbers = all(type(value) is float for value in point.values())
        return describe.values_of(analysis, analysis.function(**point), numbers)

    wanted = json.loads(question.detail)
    keys = [key for key in at(dict(question.inputs)) if key[0] in wanted]
    began = time.perf_counter()
    proofs = prove(at, dict(question.inputs), question.box, keys, limits=limits)
    return time.perf_counter() - began, proofs


def main() -> None:
    """Prove each, the slowest first."""
    sys.path.insert(0, str(ROOT))
    rows = []
    asked, specs = planned()
    for question in asked.questions:
        if question.kind == WORST_CASE and question.box:
            spec = specs[question.analysis]
            ends, whole = proved(question, spec, None)
            met, part = proved(question, spec, asked.limits({question})[question])
            tight = sum(proof.tight for proof in whole.proved.values())
            counts = (whole.evaluations, len(whole.proved), tight)
            if whole.proved:
                rows.append((ends, met, spec.name, *counts, part.evaluations))
    print("| analysis | ends s | met s | evaluations | values proved | within 1e-6 | for limits |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for ends, met, name, evaluations, values, tight, fewer in sorted(rows, reverse=True):
        print(f"| {name} | {ends:.3f} | {met:.3f} | {evaluations} | {values} | {tight} | {fewer} |")


if __name__ == "__main__":
    main()
