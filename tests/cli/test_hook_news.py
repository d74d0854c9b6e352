"""Merges through the hook, and honest news that passes it: real commits in real repositories."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import CHARTER, Project, Run, repository

POWER, BENCH = "requirements/power.yaml", "requirements/bench.yaml"
REQUIREMENTS = """\
requirements:
  - id: PWR-012
    issue: A
    title: Usable energy
    statement: The battery shall hold at least 52 W h of usable energy.
    source: Invented
    rationale: Invented
    verification:
      - {method: test, level: equipment, stage: acceptance, review: CDR, records: [TR-001],
         quantity: usable_energy, at_least: 52 W h, risk: Invented}
"""
RECORDS = """\
articles:
  - {id: BAT, title: Battery, model: flight, build: FM-2, date: 2025-11-03}
records:
  - id: TR-001
    method: test
    title: Bench discharge
    document: LAN-TR-001
    date: 2026-01-12
    article: {BAT: FM-2}
    judged: {PWR-012: A}
    measured: {usable_energy: 57.0 W h +/- 0.4 W h (k = 2)}
"""
FAILED = """\
  - id: TR-002
    method: test
    title: Bench discharge after vibration
    document: LAN-TR-002
    date: 2026-02-16
    article: {BAT: FM-2}
    judged: {PWR-012: A}
    measured: {usable_energy: 49.5 W h +/- 0.4 W h (k = 2)}
"""
REPORT = """\
nonconformances:
  - {id: NCR-001, requirements: [PWR-012], article: {BAT: FM-2}, found_by: TR-002, class: major,
     cause: a cell that vented, disposition: rework, retest: [TR-003]}
"""
PLANNED = "  - {id: TR-003, method: test, title: Retest, judged: {PWR-012: A}}\n"


@pytest.fixture
def hooked(judged: Project, tmp_path: Path) -> Project:
    return judged.copy(tmp_path / "a project")


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A committed project whose one requirement is compliant by a test, with the hooks."""
    files = {"requirements/project.yaml": CHARTER, POWER: REQUIREMENTS, BENCH: RECORDS}
    project = repository(tmp_path_factory.mktemp("judged") / "a project", files)
    assert project.run("verify").status == 0
    run = project.run("hook", "install")
    assert "pre-merge-commit is installed" in run.stdout
    return project


def commit(project: Project) -> Run:
    project.git("add", "--all")
    return project.attempt("commit", "--quiet", "-m", "x")


def append(project: Project, name: str, text: str) -> None:
    project.write({name: (project.path / name).read_text("utf-8") + text})


def fail(project: Project, more: str = "") -> None:
    """Report a second test, which failed."""
    append(project, BENCH, FAILED + more)
    project.replace(POWER, "records: [TR-001]", "records: [TR-001, TR-002]")


def commits(project: Project) -> int:
    return int(project.git("rev-list", "--count", "HEAD"))


# -- merges


def apart(project: Project) -> None:
    """Make a branch that raises a limit, and a main branch on which a record is corrected.

    Each keeps the requirement compliant; together they do not: 54 W h less 0.4 W h against 55 W h.
    """
    project.git("checkout", "--quiet", "-b", "side")
    project.replace(POWER, "at_least: 52 W h", "at_least: 55 W h")
    assert commit(project).status == 0
    project.git("checkout", "--quiet", "main")
    project.replace(BENCH, "57.0 W h", "54.0 W h")
    assert commit(project).status == 0


def test_a_merge_that_brings_an_error_is_blocked(hooked: Project) -> None:
    hooked.git("checkout", "--quiet", "-b", "side")
    fail(hooked)
    hooked.commit()  # past the hook
    hooked.git("checkout", "--quiet", "main")
    before = commits(hooked)
    run = hooked.attempt("merge", "--no-ff", "--no-edit", "side")
    assert run.status != 0
    assert "commit blocked" in run.said
    assert "nonconformance-missing" in run.said
    assert commits(hooked) == before
    # It is git's own way out, and the next commit does not have to pay for it.
    hooked.git("merge", "--abort")
    hooked.git("merge", "--no-ff", "--no-edit", "--no-verify", "side")
    hooked.write({"README.md": "Invented."})
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "1 error also in HEAD" in run.said


def test_a_merge_of_two_good_branches_that_loses_is_blocked(hooked: Project) -> None:
    apart(hooked)
    before = commits(hooked)
    run = hooked.attempt("merge", "--no-edit", "side")
    assert run.status != 0
    assert "commit blocked" in run.said
    assert "PWR-012" in run.said
    assert commits(hooked) == before
    assert hooked.attempt("commit", "--no-edit").status != 0  # nor by finishing it by hand


@pytest.mark.slow
def test_a_merge_that_loses_nothing_passes(hooked: Project) -> None:
    hooked.git("checkout", "--quiet", "-b", "side")
    hooked.write({"README.md": "Invented."})
    assert commit(hooked).status == 0
    hooked.git("checkout", "--quiet", "main")
    hooked.write({"NOTES.md": "Invented."})
    assert commit(hooked).status == 0
    run = hooked.attempt("merge", "--no-edit", "side")
    assert run.status == 0, run.said
    assert hooked.git("log", "-1", "--format=%P").count(" ") == 1


def test_honest_news_of_a_branch_passes_a_merge(hooked: Project) -> None:
    hooked.git("checkout", "--quiet", "-b", "side")
    fail(hooked, PLANNED + REPORT)
    assert commit(hooked).status == 0
    hooked.git("checkout", "--quiet", "main")
    run = hooked.attempt("merge", "--no-ff", "--no-edit", "side")
    assert run.status == 0, run.said
    assert "found by a record" in run.said


def test_a_foreign_merge_hook_is_kept_called_and_put_back(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", {"requirements/project.yaml": CHARTER, "a": "1"})
    hook = project.path / ".git/hooks/pre-merge-commit"
    hook.parent.mkdir(exist_ok=True)
    text = "#!/bin/sh\necho earlier hook\n[ ! -e forbidden ]\n"
    hook.write_text(text)
    hook.chmod(0o755)
    assert "called first" in project.run("hook", "install").stdout
    project.git("checkout", "--quiet", "-b", "side")
    project.write({"b": "1"})
    project.commit()
    project.git("checkout", "--quiet", "main")
    project.write({"forbidden": "x"})
    run = project.attempt("merge", "--no-ff", "--no-edit", "side")
    assert run.status != 0
    assert "earlier hook" in run.said
    assert project.run("hook", "remove").status == 0
    assert hook.read_text() == text
    assert not (project.path / ".git/hooks/pre-commit").exists()


# -- honest news


def test_a_failed_record_with_its_nonconformance_passes_and_is_told(hooked: Project) -> None:
    fail(hooked, PLANNED + REPORT)
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "not compliant, found by a record" in run.said
    assert "PWR-012  C -> NC" in run.said
    assert "TR-002" in run.said
    assert "NCR-001" in run.said


def test_a_failed_record_alone_is_blocked_and_the_cure_is_its_report(hooked: Project) -> None:
    fail(hooked)
    run = commit(hooked)
    assert run.status != 0
    assert "commit blocked" in run.said
    assert "nonconformances:" in run.said
    assert "found_by: TR-002" in run.said
    assert "aise the requirement's issue" not in run.said


def test_a_new_build_passes_and_is_to_be_verified_again(hooked: Project) -> None:
    hooked.replace(BENCH, "model: flight, build: FM-2", "model: flight, build: FM-3")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "to be verified again, new build of the article" in run.said
    assert "PWR-012  C -> open" in run.said
    assert "BAT is at build FM-3" in run.said


@pytest.mark.slow
@pytest.mark.parametrize("named", ["TR-003", "TR-001, TR-003"])
def test_a_new_build_with_its_planned_test_passes_and_so_does_its_merge(
    hooked: Project, named: str
) -> None:
    hooked.git("checkout", "--quiet", "-b", "side")
    hooked.replace(BENCH, "model: flight, build: FM-2", "model: flight, build: FM-3")
    append(hooked, BENCH, PLANNED.replace("judged", "article: {BAT: FM-3}, judged"))
    hooked.replace(POWER, "records: [TR-001]", f"records: [{named}]")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "to be verified again, new build of the article" in run.said
    hooked.git("checkout", "--quiet", "main")
    run = hooked.attempt("merge", "--no-ff", "--no-edit", "side")
    assert run.status == 0, run.said


@pytest.mark.slow
def test_a_planned_test_in_place_of_a_record_blocks_without_a_new_build(hooked: Project) -> None:
    append(hooked, BENCH, PLANNED.replace("judged", "article: {BAT: FM-2}, judged"))
    hooked.replace(POWER, "records: [TR-001]", "records: [TR-003]")
    run = commit(hooked)
    assert run.status != 0
    assert "loss of compliance" in run.said


@pytest.mark.slow
def test_a_result_between_its_uncertainties_passes_and_is_told(hooked: Project) -> None:
    fail(hooked)
    hooked.replace(BENCH, "49.5 W h", "52.1 W h")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "PWR-012  C -> open" in run.said
    assert "found by a record" in run.said


@pytest.mark.slow
def test_what_is_derived_passes_up_its_news(hooked: Project) -> None:
    light = "title: Light, statement: The lantern shall give light., source: Invented"
    above = f"  - {{id: SYS-010, {light}}}\n"
    append(hooked, POWER, above)
    hooked.replace(POWER, "    rationale: Invented\n", "    derived_from: [SYS-010]\n")
    hooked.commit()
    hooked.replace(BENCH, "model: flight, build: FM-2", "model: flight, build: FM-3")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "SYS-010  C -> open" in run.said


# -- what is no news


def test_a_changed_limit_beside_a_new_build_blocks(hooked: Project) -> None:
    hooked.replace(BENCH, "model: flight, build: FM-2", "model: flight, build: FM-3")
    hooked.replace(POWER, "at_least: 52 W h", "at_least: 58 W h")
    run = commit(hooked)
    assert run.status != 0
    assert "loss of compliance" in run.said


@pytest.mark.slow
def test_a_limit_that_an_old_record_does_not_reach_blocks(hooked: Project) -> None:
    hooked.replace(POWER, "at_least: 52 W h", "at_least: 58 W h")
    run = commit(hooked)
    assert run.status != 0
    assert "PWR-012" in run.said


@pytest.mark.slow
def test_a_record_that_names_another_build_than_it_did_blocks(hooked: Project) -> None:
    hooked.replace(BENCH, "article: {BAT: FM-2}", "article: {BAT: FM-1}")
    run = commit(hooked)
    assert run.status != 0
    assert "loss of compliance" in run.said
