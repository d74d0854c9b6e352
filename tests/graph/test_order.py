"""The order of files and of the entries in them changes neither findings nor verdicts."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.graph.projects import answer, build, extent, failed, requirement, spec

SPECS = (
    spec("f", {"p": "W"}, {"x": "W", "g": "dB"}, by_case=["g"]),
    spec("broken", {"p": "W"}, {"x": "W"}),
    spec("loose"),
)
REPLIES = {
    "f": answer(x=extent(3, 5), g={"a": extent(1, 2), "b": extent(4, 5)}),
    "broken": failed(),
}
BY_F = "method: analysis, analysis: f, quantity: x, "
ITEMS = {
    "requirements": [
        requirement("S-1"),
        requirement("S-2", more="derived_from: [S-1, S-9]"),
        requirement("R-1", BY_F + "at_least: 3 W", more="derived_from: [S-1]"),
        requirement("R-2", BY_F + "at_least: 4 W", "method: test, records: [T-1, T-2]",
                    more="derived_from: [S-1, S-2]"),
        requirement("R-3", "method: analysis, analysis: f, quantity: g, at_least: 3 dB",
                    more="derived_from: [S-2]"),
        requirement("R-4", "method: analysis, analysis: broken, quantity: x, at_least: 3 W",
                    "method: analysis, analysis: fff, quantity: x, at_least: 3 W"),
        requirement("R-5", "method: test, review: AR, records: [T-2]",
                    more="derived_from: [S-2]"),
        requirement("R-6", more="not_applicable: {reason: Not on board.}\nderived_from: [S-1]"),
        requirement("Q-1", more="derived_from: [Q-2]"),
        requirement("Q-2", "method: test", more="derived_from: [Q-3, Q-1]"),
        requirement("Q-3", more="derived_from: [Q-2]"),
        requirement("Q-4", more="derived_from: [Q-3]"),
        requirement("P-1"),
        requirement("P-2", more="derived_from: [P-1]"),
    ],
    "records": [
        "  - {id: T-1, method: test, date: 2026-01-01, outcome: met}\n",
        "  - {id: T-2, method: test, date: 2026-01-01, replaces: T-3}\n",
        "  - {id: T-3, method: test, judged: {R-8: A}}\n",
    ],
    "waivers": [
        "  - {id: W-1, kind: waiver, requirement: R-3, accepts: {quantity: g, at_least: 1 dB},\n"
        "     approved_by: board, date: 2026-01-01}\n",
        "  - {id: W-2, kind: waiver, requirement: R-2, accepts: {quantity: x, at_least: 1 V}}\n",
    ],
    "parameters": [
        "  p: {value: 1 W, tolerance: 1 mW}\n",
        "  loose: {value: 1 W}\n",
        "  looser: {value: 1 Wx}\n",
    ],
}  # fmt: skip
PATHS = [f"requirements/{name}.yaml" for name in "abcd"]


def said(seed: int) -> tuple[object, object, object]:
    """Return verdicts, findings and exit status of the project, shuffled over four files."""
    shuffle = random.Random(seed)
    sections: dict[str, dict[str, list[str]]] = {path: {} for path in PATHS}
    for kind, items in ITEMS.items():
        for item in shuffle.sample(items, len(items)):
            sections[shuffle.choice(PATHS)].setdefault(kind, []).append(item)
    files = {
        path: "".join(
            f"{kind}:\n{''.join(items)}"
            for kind, items in shuffle.sample(list(of.items()), len(of))
        )
        for path, of in sections.items()
        if of
    }
    built = build("", *shuffle.sample(SPECS, len(SPECS)), more=files)
    dossier = built.judge(REPLIES, "CDR")
    verdicts = {
        r.id: (
            r.compliance, r.closed, r.covered, r.due, r.outstanding, r.evidence, set(r.derived)
        )
        for r in dossier.requirements
    }  # fmt: skip
    findings = {(f.rule, f.severity, f.message, f.cure) for f in built.findings}
    return verdicts, findings, dossier.exit_status


ONCE = said(0)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 2**32))
def test_the_order_of_files_and_entries_does_not_matter(seed: int):
    assert said(seed) == ONCE


def test_the_project_of_this_test_has_something_to_say():
    _, findings, status = ONCE
    assert isinstance(findings, set)
    assert {rule for rule, *_ in findings} == {
        "dangling-reference", "cycle", "unverified-requirement", "unused-parameter", "unit",
        "unused-analysis", "unknown-analysis", "record-without-issue",
    }  # fmt: skip
    assert status == 2
