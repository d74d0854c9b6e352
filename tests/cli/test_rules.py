"""Rules on the command line: their pages, a project's policy, and what ``verify`` shows of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.render.page_of_rule import page_text
from closeout.rules.catalogue import RULES
from tests.cli.project import ANALYSIS, CHARTER, Project, base, make, repository

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow


def _rules(project: Project, *arguments: str) -> list[str]:
    return [problem["rule"] for problem in project.verify(*arguments).json["problems"]]


def _policy(rules: str) -> str:
    return f"{CHARTER}  policy:\n    rules: {{{rules}}}\n"


def test_the_page_of_a_rule_needs_no_project(tmp_path: Path) -> None:
    for rule in (RULES["analysis-import"], RULES["yaml-tag"]):
        run = Project(tmp_path).run("lint", "--rule", rule.name)
        assert (run.status, run.stdout) == (0, page_text(rule, 100))


def test_a_page_says_everything_of_its_rule() -> None:
    for rule in RULES.values():
        page = page_text(rule, 100)
        text = " ".join(page.split())
        for part in (rule.name, rule.title, rule.source, rule.why, f"rule of {rule.kind}"):
            assert " ".join(part.split()) in text
        for example in (rule.breaks, rule.keeps):
            for block in (block for state in example.states for block in state.blocks):
                assert block.path in page
                assert all(line.strip() in page for line in block.text.splitlines())
        assert ("Switch it off, or make it an error" in text) is rule.adjustable
        assert ("cannot be switched off" in text) is not rule.adjustable


def test_all_rules_are_listed_with_their_titles(tmp_path: Path) -> None:
    run = Project(tmp_path).run("lint", "--rule", "all")
    assert run.status == 0
    text = " ".join(run.stdout.split())
    for rule in RULES.values():
        assert f"{rule.name} {rule.title}" in text


def test_an_unknown_rule_is_2_with_the_nearest_name(tmp_path: Path) -> None:
    run = Project(tmp_path).run("lint", "--rule", "no-risk")
    assert (run.status, run.stdout) == (2, "")
    assert "there is no rule no-risk" in run.stderr
    assert "did you mean no-risk-assessment?" in run.stderr
    run = Project(tmp_path).run("lint", "--rule", "zzz")
    assert run.status == 2
    assert "closeout lint --rule all" in run.stderr


def test_a_policy_is_kept_and_what_is_off_is_said_in_one_line(project: Project) -> None:
    project.replace("analyses/energy.py", '(validated_by="tests/test_all.py")', "")
    run = project.run("lint")
    assert (run.status, "[analysis-not-validated]" in run.stdout) == (1, True)
    off = "analysis-not-validated: {severity: off, reason: by hand}"
    project.write({"requirements/project.yaml": _policy(off)})
    run = project.run("lint")
    assert run.status == 0
    assert "off by the project's policy: analysis-not-validated (by hand)\n" in run.stdout
    run = project.verify()
    assert run.json["off"] == [{"rule": "analysis-not-validated", "for": [], "reason": "by hand"}]
    told = project.run("verify").stdout
    assert "off by the project's policy: analysis-not-validated (by hand)\n" in told
    some = off.replace("by hand", "by hand, for: [energy.energy]")
    project.write({"requirements/project.yaml": _policy(some)})
    run = project.run("package", "--review", "CDR", "-o", "package")
    assert run.status == 0, run.said
    points = (project.path / "package/open-points.md").read_text()
    assert "analysis-not-validated for energy.energy (by hand)" in points
    project.write({"requirements/project.yaml": _policy(off.replace("off", "error"))})
    assert project.run("lint").status == 2
    assert project.run("verify").status == 2
    project.write({"requirements/project.yaml": _policy("unit: {severity: off, reason: none}")})
    run = project.run("lint")
    assert run.status == 2
    assert "[fixed-rule]" in run.stdout
    assert "requirements/project.yaml:7:" in run.stdout


def test_a_rule_of_a_run_is_raised_too(tmp_path: Path) -> None:
    power = base()["requirements/power.yaml"]
    assert isinstance(power, str)
    failed = (
        power + "      - {method: test, review: CDR, records: [TR-1], quantity: energy,"
        " at_least: 190 kJ}\n"
    )
    record = (
        "records:\n  - {id: TR-1, method: test, date: 2026-01-05, judged: {PWR-010: A},"
        " measured: {energy: 50 W h +/- 1 W h (k = 2)}}\n"
        "nonconformances: [{id: NCR-1, found_by: TR-1, requirements: [PWR-010]}]\n"
    )
    project = make(tmp_path / "p", base(power=failed, **{"requirements/records.yaml": record}))
    run = project.verify()
    assert run.status == 1
    assert "test-against-analysis" in [p["rule"] for p in run.json["problems"]]
    raised = "test-against-analysis: {severity: error, reason: models come first}"
    project.write({"requirements/project.yaml": _policy(raised)})
    run = project.verify()
    assert (run.status, run.json["exit_status"]) == (2, 2)
    off = raised.replace("error", "off")
    project.write({"requirements/project.yaml": _policy(off)})
    run = project.verify()
    assert run.status == 1
    assert "test-against-analysis" not in [p["rule"] for p in run.json["problems"]]


def test_a_test_that_is_deleted_or_comes_back_is_seen_at_once(tmp_path: Path) -> None:
    for number, made in enumerate((make, repository)):
        project = made(tmp_path / str(number))
        assert "analysis-not-validated" not in _rules(project)
        (project.path / "tests/test_all.py").unlink()
        assert "analysis-not-validated" in _rules(project)
        assert "analysis-not-validated" in _rules(project)
        project.write({"tests/test_all.py": ""})
        assert "analysis-not-validated" not in _rules(project)


def test_changes_are_seen_in_each_state_that_is_judged(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.replace("requirements/power.yaml", "190 kJ", "180 kJ")
    assert "issue-not-raised" in _rules(project)
    assert "issue-not-raised" not in _rules(project, "--at", "HEAD")
    project.git("add", "--all")
    staged = project.run("hook", "run")
    assert staged.status == 0, staged.said
    project.commit()
    assert "issue-not-raised" in _rules(project)
    assert "issue-not-raised" in _rules(project, "--at", "HEAD")
    assert project.run("lint").status == 1
    (project.path / "notes.txt").write_text("no part of it")
    assert "issue-not-raised" in _rules(project)
    project.replace("requirements/power.yaml", "issue: A", "issue: B")
    assert "issue-not-raised" not in _rules(project)


def test_a_rule_of_git_that_is_raised_stops_the_commit(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    raised = "issue-not-raised: {severity: error, reason: agreed with the customer}"
    project.write({"requirements/project.yaml": _policy(raised)})
    project.commit()
    project.replace("requirements/power.yaml", "190 kJ", "180 kJ")
    project.git("add", "--all")
    run = project.run("hook", "run")
    assert run.status == 2
    assert "issue-not-raised" in run.said
    project.replace("requirements/power.yaml", "issue: A", "issue: B")
    project.git("add", "--all")
    assert project.run("hook", "run").status == 0


def test_a_shallow_clone_is_judged_and_learns_when_more_is_fetched(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.replace("requirements/power.yaml", "190 kJ", "180 kJ")
    project.commit()
    address = f"file://{project.path}"
    project.git("clone", "--quiet", "--depth", "1", address, str(tmp_path / "clone"))
    clone = Project(tmp_path / "clone")
    assert _rules(clone) == ["history-cut-off"]
    assert _rules(clone) == ["history-cut-off"]
    clone.git("fetch", "--quiet", "--unshallow")
    assert _rules(clone) == ["issue-not-raised"]


def test_a_clone_without_old_contents_says_so_until_they_are_there(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.replace("requirements/power.yaml", "190 kJ", "180 kJ")
    project.commit()
    blob = project.git("rev-parse", "HEAD~1:requirements/power.yaml").strip()
    kept, away = project.path / ".git/objects" / blob[:2] / blob[2:], tmp_path / "away"
    kept.rename(away)
    assert _rules(project) == ["history-cut-off"]
    assert _rules(project) == ["history-cut-off"]
    away.rename(kept)
    assert _rules(project) == ["issue-not-raised"]


def test_a_report_that_is_deleted_may_be_off_by_its_name(tmp_path: Path) -> None:
    report = "nonconformances:\n  - {id: NCR-1, cause: a slip, disposition: rework}\n"
    project = repository(tmp_path / "p", {**base(), "requirements/reports.yaml": report})
    project.write({"requirements/reports.yaml": "records: []\n"})
    assert _rules(project) == ["nonconformance-deleted"]
    off = "nonconformance-deleted: {severity: off, reason: entered twice, for: [NCR-1]}"
    project.write({"requirements/project.yaml": _policy(off)})
    assert _rules(project) == []
    project.write({"requirements/project.yaml": _policy(off.replace("NCR-1", "NCR-2"))})
    assert "dangling-reference" in _rules(project)


def test_nothing_changed_is_told_from_the_store_alone(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", base(analysis=ANALYSIS))
    first = project.run("verify")
    again = project.run("verify")
    assert "0 evaluations run" in again.stdout
    assert first.stdout.splitlines()[:-1] == again.stdout.splitlines()[:-1]


def test_a_function_that_validates_an_analysis_is_looked_for_in_its_file(project: Project) -> None:
    named = '(validated_by="tests/test_all.py::TestEnergy::test_by_hand[12 V]")'
    project.replace("analyses/energy.py", '(validated_by="tests/test_all.py")', named)
    test = "class TestEnergy:\n    def test_by_hand(self): ...\n"
    for text, rules in ((test, []), (test.replace("hand", "head"), ["analysis-not-validated"])):
        project.write({"tests/test_all.py": text})
        for _ in range(2):  # the second comes from the store
            assert _rules(project) == rules
