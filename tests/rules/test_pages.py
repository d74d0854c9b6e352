"""Pages never lie: the example that breaks a rule breaks it, the one that keeps it keeps it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from closeout.model.problem import Severity
from closeout.rules.catalogue import RULES
from closeout.rules.rule import Rule
from tests.rules.examples import commands_of, problems_of

# What is told of the machine, not of a project, cannot be shown by a project.
OF_THE_MACHINE = {"no-libyaml", "unknown-interpreter"}
# The user root reads what nobody may read.
NOT_AS_ROOT = {"unreadable"} if os.geteuid() == 0 else set()
# What only a run tells that was asked to run the tests of analyses.
BY_TESTS = {"validation-failed"}
SHOWN = [rule for rule in RULES.values() if rule.name not in OF_THE_MACHINE | NOT_AS_ROOT]


@pytest.mark.parametrize("rule", SHOWN, ids=lambda rule: rule.name)
def test_an_example_that_breaks_the_rule_breaks_it_with_the_severity_of_its_page(
    rule: Rule, tmp_path: Path
) -> None:
    problems = problems_of(rule.breaks, tmp_path / "breaks", validate=rule.name in BY_TESTS)
    found = [problem for problem in problems if problem.rule == rule.name]
    assert found, [(p.rule, p.message) for p in problems]
    assert {problem.severity for problem in found} == {rule.severity}
    for problem in found:
        assert problem.message
        assert problem.cure


@pytest.mark.parametrize("rule", SHOWN, ids=lambda rule: rule.name)
def test_an_example_that_keeps_the_rule_keeps_it(rule: Rule, tmp_path: Path) -> None:
    problems = problems_of(rule.keeps, tmp_path / "keeps", validate=rule.name in BY_TESTS)
    assert [p for p in problems if p.rule == rule.name] == []
    # Else it may keep the rule because nothing of it was read at all.
    if not commands_of(rule.keeps):
        assert [p for p in problems if p.severity is Severity.ERROR] == []
