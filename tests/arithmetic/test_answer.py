"""What a worker imports to answer a question: SymPy only for what somebody reads."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import json, sys
from closeout.arithmetic.entry import answer
from closeout.math import exp
from closeout.model.question import Question

def at(point):
    return {("x", None): point["a"] * exp(point["b"])}

inputs, box = (("a", 2.0), ("b", 3.0)), (("a", 1.8, 2.2), ("b", 2.9, 3.1))
study = {
    "quantity": "x", "case": None, "at_least": 5.0, "at_most": None,
    "corner": [["a", 1.8], ["b", 2.9]], "decides": [["a", 1.8], ["b", 2.9]],
    "units": {"x": "W h"}, "groups": {}, "sides": [],
    "added": [], "reach": {}, "unset": [], "drawn": {}, "seed": "R-1", "boundary": [],
    "marches": True, "differentiated": False,
    "quantile": None, "possible": {}, "met_everywhere": False,
}
linear = {"groups": {}, "sides": [], "added": [], "reach": {}, "unset": [], "units": {"x": "W h"}}
solve = {**study, "parameter": "b"}
questions = (
    ("worst case", ["x"]), ("root sum square", linear), ("study", study),
    ("study", {**study, "differentiated": True}), ("solve", solve),
)
for kind, detail in questions:
    found = answer(at, Question("x", inputs, box, kind, json.dumps(detail)))
    exact = [one.exact for one in found.drivers] if kind == "study" else ""
    print(kind, type(found).__name__, exact, "sympy" in sys.modules)
"""


def test_sympy_is_imported_for_what_is_read_and_for_nothing_else() -> None:
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False
    )
    assert run.stderr == ""
    assert run.stdout.splitlines() == [
        "worst case Answer  False",
        "root sum square Answer  False",
        "study StudyFound [True, True] False",
        "study StudyFound [True, True] True",
        "solve SolveFound  True",
    ]
