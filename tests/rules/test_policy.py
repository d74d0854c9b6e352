"""Rules that a project switches off, raises or lowers."""

from __future__ import annotations

import pytest

from closeout.load import locate
from closeout.model.problem import Severity
from closeout.rules import Applied, apply, check_rules, policy_findings
from closeout.rules.catalogue import RULES
from closeout.rules.context import Context
from tests.graph.projects import UNITS, Built, build

FIXED = [rule for rule in RULES.values() if not rule.adjustable]
ADJUSTABLE = [rule for rule in RULES.values() if rule.adjustable]
TEXT = """\
requirements:
  - id: R-1
    title: Light
    statement: The lantern shall give light.
    verification: [{method: analysis, stage: acceptance}]
"""


def charter(rules: str) -> str:
    return f"project:\n  name: Lantern\n  policy:\n    rules: {{{rules}}}\n"


def applied(rules: str) -> tuple[Built, Applied]:
    built = build(TEXT, charter=charter(rules) if rules else "project: {name: Lantern}\n")
    assert built.loaded.problems == ()
    return built, apply(check_rules(built.index, UNITS, Context()), built.index)


def severities(rules: str) -> dict[str, Severity]:
    return {finding.rule: finding.severity for finding in applied(rules)[1].findings}


def test_without_a_policy_they_are_warnings():
    assert severities("") == {
        "no-risk-assessment": Severity.WARNING,
        "stage-not-served": Severity.WARNING,
    }


def test_off_raised_and_left():
    assert severities("no-risk-assessment: {severity: off, reason: in the plan}") == {
        "stage-not-served": Severity.WARNING
    }
    assert severities("stage-not-served: {severity: error, reason: agreed}") == {
        "no-risk-assessment": Severity.WARNING,
        "stage-not-served": Severity.ERROR,
    }
    assert severities("stage-not-served: {severity: warning, reason: agreed}") == severities("")


def test_what_is_off_is_known_with_its_reason():
    _, found = applied(
        "no-risk-assessment: {severity: off, reason: in the plan},"
        " stage-not-served: {severity: error, reason: agreed}"
    )
    assert [(policy.rule, policy.reason) for policy in found.off] == [
        ("no-risk-assessment", "in the plan")
    ]


def test_an_unknown_rule_is_told_at_its_place_with_the_nearest_name():
    built, found = applied("no-risk-assesment: {severity: off, reason: in the plan}")
    assert found.off == ()
    assert len(found.findings) == 2
    findings = list(policy_findings(built.index))
    (problem,) = locate(built.files, findings)
    assert (problem.rule, problem.severity) == ("unknown-rule", Severity.ERROR)
    assert (problem.path, problem.line) == ("requirements/project.yaml", 4)
    assert problem.cure == "did you mean no-risk-assessment?"


@pytest.mark.parametrize("rule", FIXED, ids=lambda rule: rule.name)
@pytest.mark.parametrize("severity", ["off", "warning", "error"])
def test_a_fixed_rule_stays_what_it_is(rule, severity):
    built, found = applied(f"{rule.name}: {{severity: {severity}, reason: it is a draft}}")
    assert found.off == ()
    (finding,) = policy_findings(built.index)
    assert (finding.rule, finding.severity) == ("fixed-rule", Severity.ERROR)
    assert rule.name in finding.message


@pytest.mark.parametrize("rule", ADJUSTABLE, ids=lambda rule: rule.name)
def test_every_other_rule_can_be_switched_off(rule):
    built, found = applied(f"{rule.name}: {{severity: off, reason: not for us}}")
    assert [policy.rule for policy in found.off] == [rule.name]
    assert list(policy_findings(built.index)) == []
    assert rule.name not in {finding.rule for finding in found.findings}


def test_a_rule_may_be_off_for_some_items_alone():
    both = TEXT + TEXT.removeprefix("requirements:\n").replace("R-1", "R-2")
    told = []
    for items in ("[R-1]", "[R-2]", "[R-1, R-2]"):
        rules = f"no-risk-assessment: {{severity: off, reason: in the plan, for: {items}}}"
        built = build(both, charter=charter(rules))
        assert built.loaded.problems == ()
        assert list(policy_findings(built.index)) == []
        found = apply(check_rules(built.index, UNITS, Context()), built.index)
        assert [policy.items for policy in found.off] == [tuple(items[1:-1].split(", "))]
        told.append([
            built.index.project.requirements[finding.where.steps[1]].id
            for finding in found.findings
            if finding.rule == "no-risk-assessment"
        ])  # fmt: skip
    assert told == [["R-2"], ["R-1"], []]


def test_a_policy_for_what_is_not_there_is_told_with_the_nearest_name():
    built, found = applied(
        "no-risk-assessment: {severity: off, reason: in the plan, for: [R-1, R-11]}"
    )
    assert [finding.rule for finding in found.findings] == ["stage-not-served"]
    (problem,) = locate(built.files, policy_findings(built.index))
    assert (problem.rule, problem.severity) == ("dangling-reference", Severity.ERROR)
    assert "R-11" in problem.message
    assert problem.cure == "did you mean R-1?"


@pytest.mark.parametrize("items", ["[]", "R-1", "{R-1: A}"])
def test_items_that_are_no_list_are_told_as_such(items):
    rules = f"no-risk-assessment: {{severity: off, reason: in the plan, for: {items}}}"
    built = build(TEXT, charter=charter(rules))
    (problem,) = built.loaded.problems
    assert "a list of identifiers" in problem.message


def test_a_policy_for_an_issue_ends_with_it():
    rules = "no-risk-assessment: {severity: off, reason: in the plan, for: [R-1 issue B]}"
    for issue, off in (("B", True), ("C", False)):
        text = TEXT.replace("title:", f"issue: {issue}\n    title:", 1)
        built = build(text, charter=charter(rules))
        assert built.loaded.problems == ()
        found = apply(check_rules(built.index, UNITS, Context()), built.index).findings
        assert ("no-risk-assessment" not in {finding.rule for finding in found}) is off
        told = [finding.rule for finding in policy_findings(built.index)]
        assert told == ([] if off else ["policy-of-nothing"])
