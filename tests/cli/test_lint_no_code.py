"""``lint --no-code`` imports nothing, and says which rules it could not apply."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.model.problem import Problem
from closeout.rules.catalogue import OF_CODE, PARTLY_OF_CODE, RULES
from closeout.rules.rule import Block, Rule
from closeout.run.inspection import inspect
from closeout.run.options import Options
from closeout.snapshot import open_tree
from closeout.store.database import open_store
from tests.cli.project import ANALYSIS, CHARTER, Project
from tests.rules.examples import files_of


def test_nothing_is_imported(project: Project, tmp_path: Path) -> None:
    mark = tmp_path / "was imported"
    project.write({"analyses/energy.py": f"{ANALYSIS}\nopen({str(mark)!r}, 'w').close()\n"})
    run = project.run("lint", "--no-code")
    assert (run.status, run.stderr) == (0, "")
    assert not mark.exists()
    assert project.run("lint").status == 0
    assert mark.exists()


def test_what_could_not_be_applied_is_named(project: Project) -> None:
    run = project.run("lint", "--no-code")
    said = " ".join(run.stdout.split())
    for name in (*OF_CODE, *PARTLY_OF_CODE):
        assert name in said
    assert "(--no-code)" in said
    assert "analyses;" not in said  # nobody knows how many there are
    assert "--no-code" not in project.run("lint").stdout


def test_what_needs_no_code_is_told_all_the_same(project: Project) -> None:
    project.replace("requirements/power.yaml", "derived_from: [SYS-010]", "derived_from: [SYS-001]")
    project.replace("requirements/power.yaml", "at_least: 190 kJ", "at_least: 190 kJoule")
    run = project.run("lint", "--no-code")
    assert run.status == 2
    assert "[dangling-reference]" in run.stdout
    assert "[unit]" in run.stdout


def test_a_policy_for_an_analysis_is_no_lost_reference(project: Project) -> None:
    rules = "rules: {analysis-not-validated: {severity: off, reason: As agreed, for: [energy]}}"
    project.write({"requirements/project.yaml": f"{CHARTER}  policy:\n    {rules}\n"})
    assert project.run("lint", "--no-code").status == 0
    project.replace("requirements/project.yaml", "for: [energy]", "for: [PWR-999]")
    assert "[dangling-reference]" in project.run("lint", "--no-code").stdout


def test_a_page_is_asked_for_alone(project: Project) -> None:
    run = project.run("lint", "--units", "--no-code", "--rule", "unit")
    assert (run.status, run.stdout) == (2, "")
    assert "--rule, --no-code" in run.stderr


def _is_module(block: Block) -> bool:
    return block.path.startswith("analyses/") and block.path.endswith(".py")


WITH_CODE = [rule for rule in RULES.values() if any(map(_is_module, rule.breaks.states[-1].blocks))]


@pytest.mark.slow
@pytest.mark.parametrize("rule", WITH_CODE, ids=lambda rule: rule.name)
def test_without_code_just_the_rules_that_are_named_are_not_told(
    rule: Rule, tmp_path: Path
) -> None:
    for name, content in files_of(rule.breaks.states[-1]).items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, "utf-8")
    with_code, without = (_told(tmp_path, code=code) for code in (True, False))
    lost = {problem.rule for problem in with_code - without}
    assert lost <= {*OF_CODE, *PARTLY_OF_CODE}
    assert without <= with_code
    assert {problem.rule for problem in without} & set(OF_CODE) == set()


def test_each_rule_that_is_named_is_shown_by_such_an_example() -> None:
    assert set(OF_CODE) <= {rule.name for rule in WITH_CODE} | {"unused-parameter"}
    assert {*OF_CODE, *PARTLY_OF_CODE} <= set(RULES)


def _told(folder: Path, *, code: bool) -> set[Problem]:
    with open_tree(folder) as snapshot, open_store(None) as store:
        return set(inspect(snapshot, store, Options(code=code)).problems)
