"""What the hook tells of a change beside its verdict, and ``hook check``, in real repositories."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.cli.project import FROST, GIT, Project, base, environment, power, repository
from tests.cli.project import requirement as item
from tests.cli.test_hook import blocked, commit
from tests.cli.test_hook_news import BENCH, RECORDS, REQUIREMENTS

# Each starts processes of a second.
pytestmark = pytest.mark.slow

PARAMETERS, POWER = "analyses/parameters.yaml", "requirements/power.yaml"


@pytest.fixture
def hooked(tmp_path: Path) -> Project:
    """A committed project of two requirements with the hook in place."""
    solo = item().replace("    derived_from: [SYS-010]\n", "")
    frost = FROST.replace("    derived_from: [SYS-010]\n", "")
    files = base(system=None, power=power(solo), frost=power(frost))
    project = repository(tmp_path / "a project", files)
    assert project.run("hook", "install").status == 0
    return project


def on_branch(project: Project, name: str) -> None:
    project.git("checkout", "--quiet", "-b", name)


def lower(project: Project) -> None:
    """Take the energy below its limit: 11.0 V times 4.75 A h is 188.1 kJ of 190 kJ."""
    project.replace(PARAMETERS, "12 V, tolerance: 0.5 V", "11.5 V, tolerance: 0.5 V")


# -- causes


def test_a_loss_tells_its_cause_and_the_margin_before_and_after(hooked: Project) -> None:
    lower(hooked)
    said = blocked(commit(hooked))
    assert "voltage 12 V +/- 0.5 V -> 11.5 V +/- 0.5 V" in said
    # By hand: 54.625 W h is 196.65 kJ, and 52.25 W h is 188.1 kJ, of 190 kJ.
    assert "margin of energy +6.65 kJ -> -1.9 kJ" in said


def test_changed_code_and_a_changed_limit_are_causes(hooked: Project) -> None:
    hooked.replace("analyses/energy.py", "voltage * charge", "0.9 * voltage * charge")
    assert "code of analyses/energy.py" in blocked(commit(hooked))
    hooked.git("checkout", "--quiet", "HEAD", "--", ".")
    hooked.replace(POWER, "at_least: 190 kJ", "at_least: 200 kJ")
    said = blocked(commit(hooked))
    assert "limit at least 190 kJ -> at least 200 kJ" in said
    assert "code of" not in said


def test_a_new_warning_is_told_and_blocks_nothing(hooked: Project) -> None:
    hooked.replace(POWER, "at_least: 190 kJ", "at_least: 189 kJ")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "closeout: 1 new warning" in run.said
    assert "issue-not-raised" in run.said
    # It is in HEAD now, and no news.
    hooked.write({"README.md": "Invented."})
    assert "new warning" not in commit(hooked).said


def test_a_deletion_tells_what_it_took_along(tmp_path: Path) -> None:
    files = {"requirements/bench.yaml": RECORDS, "requirements/bench_power.yaml": REQUIREMENTS}
    project = repository(tmp_path / "p", {**base(), **files})
    assert project.run("hook", "install").status == 0
    (project.path / "requirements/bench_power.yaml").unlink()
    run = commit(project)
    assert "deleted: PWR-012" in run.said
    assert "PWR-012: with 1 verification; TR-001 now verify nothing" in run.said


# -- what is so already


def test_what_came_past_the_hook_is_told_once_and_blocks_nothing(hooked: Project) -> None:
    on_branch(hooked, "other")
    lower(hooked)
    hooked.commit()  # in a clone without hook
    hooked.git("checkout", "--quiet", "main")
    hooked.git("cherry-pick", "other")
    hooked.write({"README.md": "Invented."})
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "not compliant in HEAD already, not by this change: PWR-010 NC" in run.said
    hooked.write({"README.md": "Invented, again."})
    assert commit(hooked).said == ""
    # Once it is mended, a second loss is told again.
    hooked.replace(PARAMETERS, "11.5 V", "12 V")
    assert commit(hooked).status == 0
    lower(hooked)
    hooked.commit()
    hooked.write({"README.md": "Invented, once more."})
    assert "not compliant in HEAD already" in commit(hooked).said


def test_a_loss_of_a_merged_commit_is_told_and_is_not_of_the_merge(hooked: Project) -> None:
    on_branch(hooked, "other")
    lower(hooked)
    hooked.commit()  # past the hook
    hooked.git("checkout", "--quiet", "main")
    hooked.write({"README.md": "Invented."})
    assert commit(hooked).status == 0
    run = hooked.attempt("merge", "--no-edit", "other")
    assert run.status == 0, run.said
    assert "not compliant, as in the merged commit" in run.said
    assert "PWR-010  C -> NC" in run.said


def test_one_identifier_from_both_sides_of_a_merge_is_told_as_that(tmp_path: Path) -> None:
    files = {BENCH: RECORDS, "requirements/bench_power.yaml": REQUIREMENTS}
    project = repository(tmp_path / "p", {**base(), **files})
    assert project.run("hook", "install").status == 0
    new = """\
records:
  - {id: TR-007, method: test, title: Soak, document: LAN-TR-007, judged: {PWR-012: A}}
"""
    on_branch(project, "other")
    project.write({"requirements/one.yaml": new})
    project.commit()
    project.git("checkout", "--quiet", "main")
    project.write({"requirements/two.yaml": new.replace("Soak", "Drop")})
    project.commit()
    run = project.attempt("merge", "--no-edit", "other")
    assert run.status != 0
    assert "record TR-007 is already in" in run.said
    assert "both sides of the merge added TR-007: give one of each a new identifier" in run.said


# -- hook check


def check(project: Project, *arguments: str) -> tuple[int, str]:
    run = project.run("hook", "check", *arguments)
    return run.status, run.said


def test_a_branch_is_judged_against_where_it_left_its_base(hooked: Project) -> None:
    on_branch(hooked, "work")
    hooked.write({"README.md": "Invented."})
    hooked.commit()
    status, said = check(hooked, "main")
    assert status == 0
    assert said.startswith("closeout: the branch loses no requirement and brings no error, since")
    lower(hooked)
    hooked.commit()
    status, said = check(hooked, "main")
    assert status == 1
    assert "branch blocked: loss of compliance" in said
    assert "voltage 12 V +/- 0.5 V -> 11.5 V +/- 0.5 V" in said
    # What main loses meanwhile is nothing that the branch did; main is the base without a name.
    hooked.git("checkout", "--quiet", "main")
    hooked.replace(POWER, "at_least: 190 kJ", "at_least: 300 kJ")
    hooked.commit()
    hooked.git("checkout", "--quiet", "work")
    assert check(hooked)[0] == 1
    hooked.replace(PARAMETERS, "11.5 V", "12 V")
    hooked.commit()
    assert check(hooked)[0] == 0


def test_an_error_of_a_branch_is_2(hooked: Project) -> None:
    on_branch(hooked, "work")
    hooked.replace(POWER, "at_least: 190 kJ", "at_least: 190 K")
    hooked.commit()
    status, said = check(hooked, "main")
    assert status == 2
    assert said.startswith("closeout: the branch brings errors")
    assert "[unit]" in said


def test_a_base_that_was_not_fetched_is_2_with_the_cure(hooked: Project, tmp_path: Path) -> None:
    status, said = check(hooked, "origin/main")
    assert (status, "git fetch origin main" in said) == (2, True)
    on_branch(hooked, "work")
    for text in ("a", "b"):
        hooked.write({"README.md": text})
        hooked.commit()
    clone = tmp_path / "clone"
    shallow = ("--depth", "1", "--no-single-branch")
    subprocess.run(
        ["git", "clone", "-q", *shallow, f"file://{hooked.path}", clone],
        check=True, env={**environment(), **GIT}, capture_output=True,
    )  # fmt: skip
    status, said = check(Project(clone), "origin/main")
    assert status == 2
    assert "git fetch --unshallow" in said
    subprocess.run(["git", "fetch", "-q", "--unshallow"], cwd=clone, check=True, env=environment())
    assert check(Project(clone), "origin/main")[0] == 0


def test_the_working_tree_is_no_part_of_a_check(hooked: Project) -> None:
    on_branch(hooked, "work")
    hooked.write({"README.md": "Invented."})
    hooked.commit()
    lower(hooked)
    hooked.git("add", "-A")
    assert check(hooked, "main")[0] == 0
    assert "11.5 V" in (hooked.path / PARAMETERS).read_text()
