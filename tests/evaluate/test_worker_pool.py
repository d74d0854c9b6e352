"""How questions are shared out among processes: nothing is lost, nothing is asked twice."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.evaluate import workers
from closeout.evaluate.codec import decoded
from closeout.evaluate.engine import Evaluator
from closeout.evaluate.workers import Task
from closeout.model.answer import Answer, Assurance
from closeout.model.question import Question, Request
from closeout.snapshot import open_tree
from closeout.store.database import open_store
from tests.evaluate.project import Project, module

MODULES, QUESTIONS = 7, 9


@pytest.mark.parametrize("jobs", [1, 3, 20])
@pytest.mark.parametrize("most", [2, 64])
def test_every_question_is_answered_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, jobs: int, most: int
) -> None:
    """Also where more modules are asked than are kept in memory."""
    monkeypatch.setattr(workers, "MOST_MODULES", most)
    files = {f"analyses/m{i}.py": module(f"return R({i} * x)") for i in range(MODULES)}
    project = Project(tmp_path / "p", files)
    done: list[tuple[int, int]] = []
    with open_tree(project.root) as snapshot:
        store = open_store(project.root / ".closeout")
        evaluator = Evaluator(snapshot, store, jobs, lambda *counts: done.append(counts))
        specs = {spec.name: spec for found in evaluator.modules() for spec in found.specs}
        assert done == [(i, MODULES) for i in range(MODULES + 1)]
        done.clear()
        # In an order that goes from module to module.
        asked = [
            Question(f"m{i}.f", (("x", float(k)),))
            for k in range(QUESTIONS)
            for i in range(MODULES)
        ]
        replies = evaluator.answer(asked, specs)
        evaluator.close()
        store.close()
    assert list(replies) == asked
    total = MODULES * QUESTIONS
    assert done == [(i, total) for i in range(total + 1)]
    for question, reply in replies.items():
        number = float(question.analysis.removeprefix("m").removesuffix(".f"))
        value = reply.result.extents["y", None].value  # type: ignore[union-attr]
        assert value == number * question.inputs[0][1]


def test_a_module_is_imported_once_for_all_its_questions(tmp_path: Path) -> None:
    marks = tmp_path / "marks"
    marks.mkdir()
    top = f"import os\nopen({str(marks)!r} + '/' + str(os.getpid()), 'x').close()"
    project = Project(tmp_path / "p", {"analyses/a.py": module("return R(x)", top=top)})
    with project.evaluator(jobs=2) as evaluator:
        [found] = evaluator.modules()
        specs = {spec.name: spec for spec in found.specs}
        evaluator.answer([Question("a.f", (("x", float(k)),)) for k in range(20)], specs)
        evaluator.answer([Question("a.f", (("x", float(k)),)) for k in range(40)], specs)
    assert len(list(marks.iterdir())) == 1


def test_nothing_that_one_evaluation_leaves_reaches_the_next(tmp_path: Path) -> None:
    body = "seen.append(x)\nreturn R(len(seen))"
    project = Project(tmp_path / "p", {"analyses/a.py": module(body, top="seen = []")})
    for box in ((), (("x", 0.5, 1.5),)):
        for _ in range(2):
            assert project.ask(box=box, inputs={"x": 1.0}).values == {"a.f": 1.0}


def test_a_package_comes_before_a_module_of_its_name(tmp_path: Path) -> None:
    project = Project(
        tmp_path / "p",
        {
            "analyses/a.py": module("return R(1.0)"),
            "analyses/a/__init__.py": module("return R(2.0)"),
        },
    )
    asked = project.ask()
    assert asked.values == {"a.f": 2.0}
    assert [found.path for found in asked.modules] == ["analyses/a/__init__.py"]


def test_a_proof_loads_no_library_in_its_own_process(tmp_path: Path) -> None:
    """Under all that watches there, loading one takes fifty times as long."""
    top = "from closeout.math import exp, tanh"
    project = Project(tmp_path / "p", {"analyses/a.py": module("return R(tanh(exp(x)))", top=top)})
    question = Question("a.f", (("x", 1.0),), (("x", 0.5, 1.5),), detail='["y"]')
    module_alone = Task(("analyses.a",))
    asked = Task(("analyses.a",), Request("analyses.a.f", question, None, True, 10.0))
    pool = workers.WorkerPool(project.root, 1)
    [(_, known)] = pool.run([module_alone])
    [(_, payload)] = pool.run([asked])
    pool.close()
    answer = decoded(Answer, payload["answer"])
    assert answer.assurance is Assurance.BOUNDED
    assert payload["read"] == known["read"]
