"""Nothing passes for proved, or for probable, that looks at what it is given."""

from __future__ import annotations

import builtins
import json
from pathlib import Path
from typing import Any

import pytest

from closeout.arithmetic.allowed import BUILTINS
from closeout.model.answer import Answer, Assurance
from closeout.model.question import Failure, Question
from tests.evaluate.deceit import BODIES, HONEST, HONEST_TOP, TOP, functions
from tests.evaluate.project import HEAD, Project

BOX = (("x", 1.0, 5.0),)
Y = ("y", None)
CHANCE = {
    "quantity": "y", "at_least": None, "at_most": 50.0, "cases_at_least": None,
    "probability": 0.95, "confidence": 0.9, "seed": "REQ-1", "drawn": {"x": [None, None, None]},
}  # fmt: skip


def asked(
    root: Path, text: str, kind: str = "worst case", detail: str = ""
) -> dict[str, Answer | Failure]:
    """Return the answer of each analysis of a module, by its name."""
    project = Project(root, {"analyses/a.py": text})
    with project.evaluator() as evaluator:
        specs = {spec.name: spec for module in evaluator.modules() for spec in module.specs}
        questions = {
            name: Question(name, (("x", 2.0),), BOX, kind=kind, detail=detail) for name in specs
        }
        replies = evaluator.answer(questions.values(), specs)
        return {
            name.removeprefix("a.").removesuffix("_"): replies[question].result
            for name, question in questions.items()
        }


@pytest.fixture(scope="module")
def deceived(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Answer | Failure]:
    return asked(tmp_path_factory.mktemp("w") / "p", HEAD + TOP + "\n\n" + functions(BODIES))


@pytest.mark.parametrize("name", BODIES)
def test_no_formula_that_looks_is_proved(deceived: dict[str, Answer | Failure], name: str) -> None:
    found = deceived[name]
    assert isinstance(found, Answer), found
    assert found.assurance is Assurance.SEARCHED
    assert found.extents[Y].unproved
    assert found.extents[Y].proved_high is None
