"""What a worker imports to answer a question: SymPy only for what somebody reads."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import sys
from closeout.arithmetic.code.allowed import NOTHING_SHOWN
from closeout.evaluate.asked import asked
from closeout.math import exp

def at(point):
    return {("x", None): point["a"] * exp(point["b"])}

inputs, box = {"a": 2.0, "b": 3.0}, (("a", 1.8, 2.2), ("b", 2.9, 3.1))
study = {
    "quantity": "x", "case": None, "at_least": 5.0, "at_most": None,
    "corner": [["a", 1.8], ["b", 2.9]], "units": {"x": "W h"}, "groups": {}, "sides": [],
    "drawn": {}, "seed": "R-1", "boundary": [], "marches": True, "differentiated": False,
    "quantile": None, "possible": {}, "held": False,
}
linear = {"groups": {}, "sides": [], "units": {"x": "W h"}}
rest = {"limits": None, "whole": True, "evaluations": None, "ends": []}
solve = {**study, "parameter": "b"}
questions = (
    ("worst case", ["x"]), ("root sum square", linear), ("study", study),
    ("study", {**study, "differentiated": True}), ("solve", solve),
)
for kind, detail in questions:
    found = asked(at, inputs, box, {"kind": kind, "detail": detail, **rest}, NOTHING_SHOWN)
    exact = [row[-1] for row in found["answer"]["sensitivities"]] if kind == "study" else ""
    print(kind, exact, "sympy" in sys.modules)
"""


def test_sympy_is_imported_for_what_is_read_and_for_nothing_else() -> None:
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False
    )
    assert run.stderr == ""
    assert run.stdout.splitlines() == [
        "worst case  False",
        "root sum square  False",
        "study [True, True] False",
        "study [True, True] True",
        "solve  True",
    ]
