"""Nothing passes for proved, or for probable, that looks at what it is given."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from closeout.model.answer import Answer, Assurance
from closeout.model.question import Failure, Question
from tests.evaluate.deceit import (
    BODIES,
    HONEST,
    HONEST_ON_SAMPLES,
    HONEST_TOP,
    ON_SAMPLES,
    TOP,
    functions,
)
from tests.evaluate.project import HEAD, Project

BOX = (("x", 1.0, 5.0),)
Y = ("y", None)
CHANCE = {
    "quantity": "y", "at_least": None, "at_most": 50.0, "cases_at_least": None,
    "probability": 0.99, "confidence": 0.9, "seed": "REQ-1", "drawn": {"x": [None, None, None]},
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


def test_what_is_honest_is_still_proved(tmp_path: Path) -> None:
    found = asked(tmp_path / "p", HEAD + HONEST_TOP + "\n\n" + functions(HONEST))
    found = {
        name: answer.assurance.value if isinstance(answer, Answer) else answer
        for name, answer in found.items()
    }
    assert found == dict.fromkeys(HONEST, "bounded")


def chanced(root: Path, bodies: dict[str, str]) -> dict[str, str]:
    """Return what samples say, by name, with limits that the truth is far from.

    x is uniform, so y is at most 50 with the probability 0.925, where 0.99 is asked for.
    """
    text = HEAD + TOP + "\n\n" + functions(bodies)
    found = asked(root, text, "probability", json.dumps(CHANCE))
    return {
        name: answer.decisions[0].outcome if isinstance(answer, Answer) else answer.message
        for name, answer in found.items()
    }


# What it adds comes in later evaluations only: in a process of its own, each is the first.
TRUTH = {"late_counter": "met"}
KEEPING = [name for name in BODIES if "memo" in name or "counter" in name]


@pytest.mark.slow
def test_no_formula_that_looks_at_samples_makes_a_probability(tmp_path: Path) -> None:
    bodies = {**ON_SAMPLES, **{name: BODIES[name] for name in KEEPING}}
    assert chanced(tmp_path / "p", bodies) == {**dict.fromkeys(bodies, "not met"), **TRUTH}


@pytest.mark.slow
def test_no_formula_that_looks_makes_a_probability(tmp_path: Path) -> None:
    assert chanced(tmp_path / "p", BODIES) == {**dict.fromkeys(BODIES, "not met"), **TRUTH}


def test_honest_samples_are_taken_at_once(tmp_path: Path) -> None:
    text = HEAD + HONEST_TOP + "\n\n" + functions(HONEST_ON_SAMPLES)
    found = asked(tmp_path / "p", text, "probability", json.dumps(CHANCE))
    for name, answer in found.items():
        assert isinstance(answer, Answer), (name, answer)
        (decided,) = answer.decisions
        assert decided.outcome == "met"
        assert decided.fallback is None
