"""What moved a margin between two states, against shares computed by hand (Shapley, 1953).

Each project is a real repository, judged by the entry for programs.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from closeout.model.changes import Changes, MarginChange
from closeout.render.changes import changes_text
from closeout.render.changes_json import changes_json
from closeout.render.changes_markdown import changes_markdown
from closeout.run import Project
from tests.cli.project import GIT, environment
from tests.run.chains import Function, written

SCHEMA = json.loads((files("closeout.render") / "compare.schema.json").read_bytes())
PARAMETERS = """\
u: {value: 2, tolerance: 0.1, source: x}
v: {value: 3, source: x}
w: {value: 4, source: x}
k: {value: 1, source: x}
idle: {value: 9, source: x}
power: {from: prod.power}
"""
PROD = Function(
    "prod", {"u": "1", "v": "1", "w": "1", "idle": "1"}, {"power": "1"},
    "return R(u * v + w + 0.0 * idle)",
)  # fmt: skip
LOWER = Function("lower", {"power": "1", "k": "1"}, {"left": "1"}, "return R(100.0 - k * power)")
VERIFICATIONS = (
    "analysis: prod, quantity: power, at_least: 5",
    "analysis: lower, quantity: left, at_least: 60",
)


class Repository:
    """A project under git in which states are committed one after another."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.git("init", "-q", "-b", "main")

    def git(self, *arguments: str) -> None:
        subprocess.run(
            ["git", *arguments], cwd=self.folder, check=True, capture_output=True,
            env={**environment(), **GIT},
        )  # fmt: skip

    def commit(self, *edits: tuple[str, str, str]) -> None:
        """Replace texts in files and commit; each must be there."""
        for path, old, new in edits:
            file = self.folder / path
            text = file.read_text()
            assert old in text
            file.write_text(text.replace(old, new))
        self.git("add", "-A")
        self.git("commit", "-q", "-m", "state")

    def compare(self, before: str = "HEAD~1", after: str = "HEAD", **options: Any) -> Changes:
        found = Project(self.folder, jobs=1).compare(before, after, **options)
        jsonschema.validate(json.loads(changes_json(found)), SCHEMA)
        return found


@pytest.fixture
def repository(tmp_path: Path) -> Repository:
    written(tmp_path, PARAMETERS, [PROD, LOWER], VERIFICATIONS)
    made = Repository(tmp_path)
    made.commit()
    return made


def value(name: str, old: str, new: str) -> tuple[str, str, str]:
    return ("analyses/all.yaml", f"{name}: {{value: {old}", f"{name}: {{value: {new}")


def of(changes: Changes, name: str, case: str | None = None) -> MarginChange:
    (found,) = (o for o in changes.margins if o.requirement == name and o.now.case == case)
    return found


def parts(one: MarginChange) -> Mapping[str, float]:
    """Return the part of each cause, by kind and name; of code only its kind."""
    found = {
        c.factor.kind if c.factor.kind in ("code", "together", "all") else c.factor.name: c.part
        for c in one.causes
    }
    assert sum(found.values()) == pytest.approx(one.change, abs=1e-12)
    return found


def test_a_product_and_a_sum_through_a_chain(repository: Repository) -> None:
    # By hand of u v + w, at the low end of u, which is 0.1 below it: u from 1.9 to 0.9 has
    # -1 (3 + 7) / 2; v from 3 to 7 has 4 (1.9 + 0.9) / 2; w has -1. Above, the same with the
    # other sign and u at its high end: 2.1 to 1.1, so v has -4 (2.1 + 1.1) / 2.
    repository.commit(value("u", "2", "1"), value("v", "3", "7"), value("w", "4", "3"))
    changes = repository.compare()
    assert parts(of(changes, "A-1")) == pytest.approx({"u": -5.0, "v": 5.6, "w": -1.0})
    assert parts(of(changes, "A-2")) == pytest.approx({"u": 5.0, "v": -6.4, "w": 1.0})
    assert of(changes, "A-1").interaction == pytest.approx(-4.0)
    text = changes_text(changes, colour=False, width=100)
    assert "v 3 -> 7" in text
    assert "u 2 +/- 0.1 -> 1 +/- 0.1" in text
    assert "u 2 +/- 0.1" in changes_markdown(changes)


def test_the_other_way_round_each_sign_changes(repository: Repository) -> None:
    repository.commit(
        value("u", "2", "1"), value("v", "3", "7"), ("analyses/prod.py", "u * v", "1.5 * u * v"),
    )  # fmt: skip
    forth, back = repository.compare(), repository.compare("HEAD", "HEAD~1")
    for name in ("A-1", "A-2"):
        there, and_back = parts(of(forth, name)), parts(of(back, name))
        assert there == pytest.approx({key: -part for key, part in and_back.items()})
        assert there.keys() == {"u", "v", "code"}


def test_an_input_that_the_result_ignores_has_no_part(repository: Repository) -> None:
    repository.commit(value("idle", "9", "5000"), value("w", "4", "3"))
    assert parts(of(repository.compare(), "A-1")) == {"w": pytest.approx(-1.0)}


def test_limit_and_code_are_causes_of_their_own(repository: Repository) -> None:
    repository.commit(
        ("requirements/all.yaml", "at_least: 5}", "at_least: 5.5}"),
        ("analyses/prod.py", "u * v + w", "u * v + 2.0 * w"),
    )
    one = of(repository.compare(), "A-1")
    assert parts(one) == pytest.approx({"limit": -0.5, "code": 4.0})
    (code,) = (c.factor for c in one.causes if c.factor.kind == "code")
    assert code.name == "analyses/prod.py: prod"


def test_a_spread_and_a_contingency_are_part_of_a_parameter(repository: Repository) -> None:
    policy = "next_review: CDR, policy: {contingency: [{parameters: [w], by_maturity:"
    policy += " {estimated: 50 %}, direction: down}]}}"
    repository.commit(
        ("analyses/all.yaml", "tolerance: 0.1", "tolerance: 0.3"),
        ("analyses/all.yaml", "w: {value: 4,", "w: {value: 4, maturity: estimated,"),
        ("requirements/project.yaml", "next_review: CDR}", policy),
    )
    # By hand: u falls by 0.2 at v = 3; w by half of 4.
    one = of(repository.compare(), "A-1")
    assert parts(one) == pytest.approx({"u": -0.6, "w": -2.0})
    (text,) = (c.factor.after for c in one.causes if c.factor.name == "w")
    assert "down 50 % for estimated" in text


def test_what_only_one_code_takes_goes_with_the_code(repository: Repository) -> None:
    repository.commit(
        ("analyses/prod.py", "idle: Annotated", "more: Annotated"),
        ("analyses/prod.py", "0.0 * idle", "more"),
        ("analyses/all.yaml", "idle: {value: 9", "more: {value: 10"),
        value("w", "4", "3"),
    )
    assert parts(of(repository.compare(), "A-1")) == pytest.approx({"code": 10.0, "w": -1.0})


def test_a_mixture_that_cannot_be_evaluated_merges_with_the_code(repository: Repository) -> None:
    # The new code fails where w is what it was.
    repository.commit(
        ("analyses/prod.py", "    return R(u", "    if w > 3.5:\n        raise ValueError(w)\n"
         "    return R(2.0 * u"),
        value("w", "4", "3"), value("v", "3", "5"),
    )  # fmt: skip
    one = of(repository.compare(), "A-1")
    found = parts(one)
    assert found.keys() == {"v", "together"}
    (cause,) = (c for c in one.causes if c.factor.kind == "together")
    assert cause.factor.name == "code together with w"
    # By hand: 1.9 v + w, then 3.8 v + w. v alone: 3.8 before, 7.6 after; the mean of both.
    assert found["v"] == pytest.approx((1.9 + 3.8) * 2 / 2)


def test_an_input_that_was_copied_and_is_linked_now(repository: Repository) -> None:
    repository.commit(
        ("analyses/all.yaml", "power: {from: prod.power}", "power: {value: 9, source: x}")
    )
    repository.commit(
        ("analyses/all.yaml", "power: {value: 9, source: x}", "power: {from: prod.power}"),
        value("k", "1", "2"),
    )
    # By hand of 100 - k power: power 9, then 10.3 at the worst; k 1, then 2.
    found = parts(of(repository.compare(), "A-2"))
    assert found == pytest.approx({"power": -1.3 * 1.5, "k": -(9 + 10.3) / 2})


def test_a_parameter_that_was_renamed_is_the_same_one(repository: Repository) -> None:
    repository.commit(
        ("analyses/all.yaml", "w: {value: 4", "offset: {formerly: [w], value: 3"),
        ("analyses/prod.py", "w: Annotated", "offset: Annotated"),
        ("analyses/prod.py", "+ w", "+ offset"),
    )
    assert parts(of(repository.compare(), "A-1")) == pytest.approx({"offset": -1.0})


def test_data_that_an_analysis_reads_is_a_cause(tmp_path: Path) -> None:
    body = "return R(u * float(open('analyses/data/k.txt').read()))"
    scale = Function("scale", {"u": "1"}, {"found": "1"}, body)
    written(
        tmp_path, "u: {value: 2, source: x}", [scale],
        ["analysis: scale, quantity: found, at_least: 1"],
    )  # fmt: skip
    (tmp_path / "analyses/data").mkdir()
    (tmp_path / "analyses/data/k.txt").write_text("3")
    repository = Repository(tmp_path)
    repository.commit()
    repository.commit(("analyses/data/k.txt", "3", "4"), value("u", "2", "5"))
    # By hand of u k: u has 3 (3 + 4) / 2, k has 1 (2 + 5) / 2.
    found = parts(of(repository.compare(), "A-1"))
    assert found == pytest.approx({"u": 10.5, "analyses/data/k.txt": 3.5})


def test_a_limit_in_another_unit_is_compared(tmp_path: Path) -> None:
    twice = Function("twice", {"u": "m"}, {"found": "m"}, "return R(2.0 * u)")
    written(
        tmp_path, "u: {value: 2 m, source: x}", [twice],
        ["analysis: twice, quantity: found, at_least: 1 m"],
    )  # fmt: skip
    repository = Repository(tmp_path)
    repository.commit()
    repository.commit(
        ("requirements/all.yaml", "at_least: 1 m", "at_least: 150 cm"), value("u", "2 m", "3 m")
    )
    one = of(repository.compare(), "A-1")
    assert one.before == pytest.approx(300.0)
    assert parts(one) == pytest.approx({"u": 200.0, "limit": -50.0})


def test_another_basis_is_not_split(repository: Repository) -> None:
    repository.commit(("requirements/all.yaml", "at_least: 5}", "at_least: 5, basis: nominal}"))
    one = of(repository.compare(), "A-1")
    assert (one.causes, one.reason) == ((), "on the basis worst case before, nominal now")


def _product(folder: Path, factors: int) -> Repository:
    """Return a repository in which so many inputs of a product all went from 1 to 1.5."""
    names = [f"p{i:02d}" for i in range(factors)]
    every = Function(
        "every", dict.fromkeys(names, "1"), {"found": "1"}, f"return R({' * '.join(names)})"
    )
    text = "\n".join(f"{name}: {{value: 1, source: x}}" for name in names)
    written(folder, text, [every], ["analysis: every, quantity: found, at_least: 0"])
    repository = Repository(folder)
    repository.commit()
    repository.commit(("analyses/all.yaml", "value: 1,", "value: 1.5,"))
    return repository


@pytest.mark.slow
def test_more_than_ten_factors_are_sampled(tmp_path: Path) -> None:
    one = of(_product(tmp_path, 11).compare(), "A-1")
    assert sum(c.part for c in one.causes) == pytest.approx(one.change)
    assert one.interaction is None
    for cause in one.causes:
        assert cause.error is not None
        assert abs(cause.part - one.change / 11) < 5 * cause.error


@pytest.mark.slow
def test_exact_insists_however_many_there_are(tmp_path: Path) -> None:
    exact = of(_product(tmp_path, 11).compare(exact=True), "A-1")
    # All of them do the same, so each has an eleventh.
    assert [c.part for c in exact.causes] == pytest.approx([exact.change / 11] * 11, rel=1e-12)
    assert all(c.error is None for c in exact.causes)


def test_the_working_tree_and_the_index_are_states(repository: Repository) -> None:
    path = repository.folder / "analyses/all.yaml"
    path.write_text(path.read_text().replace("w: {value: 4", "w: {value: 3"))
    repository.git("add", "-A")
    path.write_text(path.read_text().replace("w: {value: 3", "w: {value: 6"))
    assert parts(of(repository.compare("HEAD", "index"), "A-1")) == pytest.approx({"w": -1.0})
    assert parts(of(repository.compare("HEAD", "tree"), "A-1")) == pytest.approx({"w": 2.0})
    assert repository.compare("HEAD", "HEAD").margins == ()
