"""The git hook, in real repositories with real commits."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.cli.project import FROST, Project, Run, base, make, power, repository
from tests.cli.project import requirement as item

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

# Two requirements that nothing stands above, so that each is judged by itself.
SOLO = item().replace("    derived_from: [SYS-010]\n", "")
FROST_SOLO = FROST.replace("    derived_from: [SYS-010]\n", "")
ONE_SCREEN = 40
WAIVER = """\
waivers:
  - {id: RFW-001, kind: waiver, requirement: PWR-010, accepts: {quantity: energy, at_least: 196 kJ},
     approved_by: control board, date: 2026-08-30, document: RFW-001, expires: AR}
"""


def alone() -> dict[str, str | bytes]:
    return base(system=None, power=power(SOLO), frost=power(FROST_SOLO))


@pytest.fixture
def hooked(tmp_path: Path) -> Project:
    """A committed project of two requirements with the hook in place."""
    project = repository(tmp_path / "a project", alone())
    run = project.run("hook", "install")
    assert run.status == 0
    assert "installed" in run.stdout
    return project


@pytest.fixture
def derived(tmp_path: Path) -> Project:
    """A committed project in which two requirements are derived from a third."""
    project = repository(tmp_path / "a project")
    assert project.run("hook", "install").status == 0
    return project


def commit(project: Project, *arguments: str, stage: bool = True, below: str = ".") -> Run:
    """Commit through the hook; whatever it says fits on a screen and is no traceback of ours."""
    if stage:
        project.git("add", "--all")
    run = project.attempt("commit", "--quiet", *(arguments or ("-m", "x")), below=below)
    assert len(run.said.split("\n")) <= ONE_SCREEN, run.said
    assert "internal error of closeout" not in run.said
    return run


def blocked(run: Run) -> str:
    assert run.status != 0, run.said
    assert "commit blocked" in run.said
    return run.said


def worse(project: Project) -> None:
    project.replace("requirements/power.yaml", "190 kJ", "197 kJ")


# -- install and remove


def test_install_is_repeatable_and_remove_takes_it_out(hooked: Project) -> None:
    assert "already" in hooked.run("hook", "install").stdout
    assert "removed" in hooked.run("hook", "remove").stdout
    assert not (hooked.path / ".git/hooks/pre-commit").exists()
    assert hooked.run("hook", "remove").status == 0
    worse(hooked)
    assert commit(hooked).status == 0


def test_a_hook_that_was_there_is_kept_called_and_put_back(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", alone())
    hook = project.path / ".git/hooks/pre-commit"
    hook.parent.mkdir(exist_ok=True)
    text = "#!/bin/sh\necho earlier hook\n[ ! -e forbidden ]\n"
    hook.write_text(text)
    hook.chmod(0o755)
    assert project.run("hook", "install").status == 0
    project.write({"forbidden": "x"})
    run = commit(project)
    assert run.status != 0
    assert "earlier hook" in run.said
    (project.path / "forbidden").unlink()
    worse(project)
    assert "earlier hook" in blocked(commit(project))
    assert project.run("hook", "remove").status == 0
    assert hook.read_text() == text


def test_without_a_repository_it_is_2(passing: Project) -> None:
    for verb in ("install", "run", "remove"):
        run = passing.run("hook", verb)
        assert run.status == 2
        assert "git" in run.stderr


# -- what passes and what blocks


def test_nothing_lost_is_allowed_and_silent(hooked: Project) -> None:
    hooked.write({"README.md": "Invented."})
    run = commit(hooked)
    assert run.status == 0
    assert run.said == ""


def test_a_better_project_is_allowed(hooked: Project) -> None:
    hooked.replace("analyses/parameters.yaml", "12 V", "13 V")
    assert commit(hooked).status == 0


def test_an_error_of_form_blocks(hooked: Project) -> None:
    hooked.replace("requirements/power.yaml", "    title:", "    titel:")
    said = blocked(commit(hooked))
    assert "requirements/power.yaml:4:" in said
    assert "[unknown-key]" in said
    assert "action" in said


def test_a_dangling_reference_blocks(derived: Project) -> None:
    derived.replace("requirements/power.yaml", "[SYS-010]", "[SYS-011]")
    said = blocked(commit(derived))
    assert "SYS-011" in said
    assert "did you mean SYS-010?" in said


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [
        ("requirements/power.yaml", "190 kJ", "197 kJ"),
        ("analyses/parameters.yaml", "12 V", "11 V"),
        ("analyses/energy.py", "voltage * charge", "voltage * charge * 0.9"),
    ],
)
def test_an_analysis_that_no_longer_meets_blocks(
    hooked: Project, path: str, old: str, new: str
) -> None:
    hooked.replace(path, old, new)
    said = blocked(commit(hooked))
    assert "PWR-010  C -> NC  Energy of the battery" in said
    assert "at least 19" in said  # which limit
    assert "THM-010" not in said
    hooked.git("reset", "--quiet", "--hard")
    assert commit(hooked, "--allow-empty", "-m", "x").status == 0


def test_an_analysis_that_crashes_blocks(hooked: Project) -> None:
    hooked.replace("analyses/energy.py", "return Energy", "raise OSError('no cell')\n    return E")
    said = blocked(commit(hooked))
    assert "PWR-010" in said
    assert "no cell" in said


def test_many_losses_fit_on_one_screen(tmp_path: Path) -> None:
    many = [SOLO.replace("PWR-010", f"PWR-{number:03}") for number in range(100, 160)]
    project = repository(tmp_path / "p", base(system=None, power=power(*many), frost=None))
    project.run("hook", "install")
    worse(project)
    said = blocked(commit(project))
    assert "and 52 more" in said


# -- what is excused


def test_a_raised_issue_is_reported_and_allowed(hooked: Project) -> None:
    worse(hooked)
    hooked.replace("requirements/power.yaml", "issue: A", "issue: B")
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "to be verified again" in run.said
    assert "PWR-010" in run.said


def test_an_issue_that_is_not_raised_excuses_nothing(tmp_path: Path) -> None:
    for was, now in (("B", "A"), ("A", "A")):
        project = repository(tmp_path / was, base(system=None, frost=None, power=power(
            SOLO.replace("issue: A", f"issue: {was}"))))  # fmt: skip
        project.run("hook", "install")
        worse(project)
        project.replace("requirements/power.yaml", f"issue: {was}", f"issue: {now}")
        assert "PWR-010" in blocked(commit(project))


def test_an_issue_that_is_raised_elsewhere_excuses_nothing(hooked: Project) -> None:
    worse(hooked)
    hooked.replace("requirements/frost.yaml", "id: THM-010", "id: THM-010\n    issue: B")
    assert "PWR-010" in blocked(commit(hooked))


def test_a_waiver_in_the_same_commit_covers(hooked: Project) -> None:
    worse(hooked)
    hooked.write({"requirements/waivers.yaml": WAIVER})
    run = commit(hooked)
    assert run.status == 0, run.said
    assert "covered" in run.said


def test_a_waiver_for_a_derived_requirement_can_be_committed(derived: Project) -> None:
    worse(derived)
    derived.write({"requirements/waivers.yaml": WAIVER})
    run = commit(derived)
    assert run.status == 0, run.said
    assert "PWR-010" in run.said


def test_a_raised_issue_of_a_derived_requirement_can_be_committed(derived: Project) -> None:
    worse(derived)
    derived.replace("requirements/power.yaml", "issue: A", "issue: B")
    run = commit(derived)
    assert run.status == 0, run.said
    assert "to be verified again" in run.said


def test_a_waiver_that_does_not_reach_blocks(hooked: Project) -> None:
    worse(hooked)
    hooked.write({"requirements/waivers.yaml": WAIVER.replace("196 kJ", "196.7 kJ")})
    assert "PWR-010" in blocked(commit(hooked))


# -- what is judged is what is staged


def test_a_bad_working_tree_beside_a_good_index_is_allowed(hooked: Project) -> None:
    hooked.write({"README.md": "Invented."})
    hooked.git("add", "--all")
    worse(hooked)
    hooked.write({"requirements/more.yaml": "requirements: [\n"})
    assert commit(hooked, stage=False).status == 0


def test_a_good_working_tree_beside_a_bad_index_blocks(hooked: Project) -> None:
    worse(hooked)
    hooked.git("add", "--all")
    hooked.replace("requirements/power.yaml", "197 kJ", "190 kJ")
    assert hooked.run("verify").status == 0
    assert "PWR-010" in blocked(commit(hooked, stage=False))


def with_helper(project: Project) -> None:
    project.write({"analyses/helper.py": "FACTOR = 1.0\n"})
    old = "from closeout import analysis"
    project.replace("analyses/energy.py", old, f"from analyses.helper import FACTOR\n{old}")
    project.replace("analyses/energy.py", "voltage * charge", "voltage * charge * FACTOR")


def test_a_helper_module_that_is_not_staged_blocks(hooked: Project) -> None:
    with_helper(hooked)
    assert hooked.run("verify").status == 0
    hooked.git("add", "analyses/energy.py")
    said = blocked(commit(hooked, stage=False))
    assert "analyses.helper" in said
    assert "analyses/energy.py:" in said
    assert commit(hooked).status == 0  # with the helper


def test_a_data_file_that_is_not_staged_blocks(hooked: Project) -> None:
    hooked.write({"analyses/data/factor.txt": "1.0"})
    hooked.replace(
        "analyses/energy.py",
        "return Energy(voltage * charge)",
        "return Energy(voltage * charge * float(open('analyses/data/factor.txt').read()))",
    )
    assert hooked.run("verify").status == 0
    hooked.git("add", "analyses/energy.py")
    said = blocked(commit(hooked, stage=False))
    assert "PWR-010" in said
    assert commit(hooked).status == 0


def test_commit_all_is_judged(hooked: Project) -> None:
    worse(hooked)
    assert "PWR-010" in blocked(commit(hooked, "-a", "-m", "x", stage=False))


def test_commit_of_a_path_is_judged_without_the_rest(hooked: Project) -> None:
    worse(hooked)
    hooked.write({"README.md": "Invented."})
    hooked.git("add", "README.md")
    run = commit(hooked, "-m", "x", "requirements/power.yaml", stage=False)
    assert "PWR-010" in blocked(run)
    hooked.git("add", "--all")
    assert commit(hooked, "-m", "x", "README.md", stage=False).status == 0
    assert "197 kJ" in hooked.git("diff", "--cached")  # still staged, not committed


def test_amend_is_judged(hooked: Project) -> None:
    worse(hooked)
    assert "PWR-010" in blocked(commit(hooked, "--amend", "--no-edit"))


# -- deletions


def test_deleting_a_parent_blocks(derived: Project) -> None:
    derived.git("rm", "--quiet", "requirements/system.yaml")
    said = blocked(commit(derived, stage=False))
    assert "SYS-010" in said
    assert "[dangling-reference]" in said


def test_deleting_an_unreferenced_requirement_is_reported(hooked: Project) -> None:
    hooked.git("rm", "--quiet", "requirements/frost.yaml")
    run = commit(hooked, stage=False)
    assert run.status == 0, run.said
    assert "deleted: THM-010" in run.said


def test_deleting_a_parameter_in_use_blocks(hooked: Project) -> None:
    hooked.git("rm", "--quiet", "analyses/parameters.yaml")
    said = blocked(commit(hooked, stage=False))
    assert "voltage" in said
    assert "PWR-010" in said


def test_deleting_an_analysis_in_use_blocks(hooked: Project) -> None:
    hooked.git("rm", "--quiet", "analyses/energy.py")
    said = blocked(commit(hooked, stage=False))
    assert "[unknown-analysis]" in said


def test_deleting_the_charter_alone_blocks(hooked: Project) -> None:
    hooked.git("rm", "--quiet", "requirements/project.yaml")
    run = commit(hooked, stage=False)
    assert run.status != 0


def test_deleting_the_whole_project_is_allowed(hooked: Project) -> None:
    hooked.write({"README.md": "Invented."})
    assert commit(hooked).status == 0
    hooked.git("rm", "-r", "--quiet", "requirements", "analyses")
    assert commit(hooked, stage=False).status == 0


def test_a_charter_that_is_missing_in_the_working_tree_alone_is_no_matter(hooked: Project) -> None:
    hooked.write({"README.md": "Invented."})
    hooked.git("add", "--all")
    (hooked.path / "requirements/project.yaml").unlink()
    run = commit(hooked, stage=False)
    assert run.status == 0, run.said


# -- where it runs


def test_the_first_commit_is_blocked_by_errors_alone(tmp_path: Path) -> None:
    files = base(power=power(item(limit="at_least: 197 kJ")))
    project = repository(tmp_path / "p", files, committed=False)
    assert project.run("hook", "install").status == 0
    project.replace("requirements/power.yaml", "197 kJ", "197 kg")
    assert "[unit]" in blocked(commit(project))
    project.replace("requirements/power.yaml", "197 kg", "197 kJ")  # a shortfall, but no loss
    assert commit(project).status == 0


def test_a_merge_conflict_is_told_clearly(hooked: Project) -> None:
    hooked.git("checkout", "--quiet", "-b", "side")
    hooked.replace("requirements/power.yaml", "190 kJ", "191 kJ")
    assert commit(hooked).status == 0
    hooked.git("checkout", "--quiet", "main")
    hooked.replace("requirements/power.yaml", "190 kJ", "192 kJ")
    assert commit(hooked).status == 0
    assert hooked.attempt("merge", "side").status != 0
    run = hooked.run("hook", "run")
    assert run.status == 2
    assert "requirements/power.yaml" in run.stderr
    assert "resolve the conflicts" in run.stderr
    assert commit(hooked, "--no-edit", stage=False).status != 0
    # Staged with its markers it is an error of form.
    assert "requirements/power.yaml" in blocked(commit(hooked, "--no-edit"))
    hooked.git("checkout", "--quiet", "side", "--", "requirements/power.yaml")
    assert commit(hooked, "--no-edit").status == 0


def test_a_merge_that_loses_is_judged_when_committed(hooked: Project) -> None:
    # Each side passes by itself; together they do not: 11.5 V x 4.75 A h and a limit of 196 kJ.
    hooked.git("checkout", "--quiet", "-b", "side")
    hooked.replace("requirements/power.yaml", "190 kJ", "196 kJ")
    assert commit(hooked).status == 0
    hooked.git("checkout", "--quiet", "main")
    hooked.replace("analyses/parameters.yaml", "12 V", "11.8 V")
    assert commit(hooked).status == 0
    hooked.git("merge", "--quiet", "--no-commit", "--no-ff", "side")
    assert "PWR-010" in blocked(commit(hooked, "--no-edit", stage=False))


def test_in_a_worktree(hooked: Project, tmp_path: Path) -> None:
    hooked.git("worktree", "add", "--quiet", "-b", "other", str(tmp_path / "another tree"))
    other = Project(tmp_path / "another tree")
    worse(other)
    assert "PWR-010" in blocked(commit(other))
    other.replace("requirements/power.yaml", "197 kJ", "191 kJ")
    assert commit(other).status == 0
    assert (other.path / ".closeout").is_dir()
    assert hooked.git("status", "--porcelain") == ""


def test_a_project_in_a_subfolder_with_spaces(tmp_path: Path) -> None:
    top = Project(tmp_path / "the whole")
    inner = make(top.path / "the 'inner' project", alone())
    top.write({"README.md": "Invented."})
    top.git("init", "--quiet", "--initial-branch=main")
    top.commit("first")
    assert inner.run("hook", "install", below="analyses").status == 0
    worse(inner)
    said = blocked(commit(top))
    assert "PWR-010" in said
    top.git("reset", "--quiet", "--hard")
    top.write({"README.md": "Still invented."})
    run = commit(top, "-a", "-m", "x", stage=False, below="the 'inner' project/requirements")
    assert run.status == 0
    assert (inner.path / ".closeout").is_dir()
    assert not (top.path / ".closeout").exists()


def stamp(project: Project) -> dict[str, tuple[bytes, int]]:
    return {
        str(path.relative_to(project.path)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in project.path.rglob("*")
        if path.is_file() and not {".git", ".closeout"} & set(path.relative_to(project.path).parts)
    }


def test_working_tree_and_index_are_untouched(hooked: Project) -> None:
    worse(hooked)
    hooked.git("add", "--all")
    hooked.replace("requirements/power.yaml", "197 kJ", "198 kJ")
    hooked.write({"analyses/new.py": "X = 1\n", "notes.txt": "x"})
    hooked.git("status")  # so that git itself has no reason to renew the index
    before, index = stamp(hooked), (hooked.path / ".git/index").read_bytes()
    assert hooked.run("hook", "run").status == 1
    assert stamp(hooked) == before
    assert (hooked.path / ".git/index").read_bytes() == index
    blocked(commit(hooked, stage=False))
    assert stamp(hooked) == before
    assert "197 kJ" in hooked.git("diff", "--cached")
    assert list(hooked.path.rglob("__pycache__")) == []


def test_the_store_of_the_working_tree_is_used(hooked: Project) -> None:
    assert hooked.run("verify").status == 0
    (store,) = (hooked.path / ".closeout").glob("*.sqlite3")

    def kept() -> int:
        with closing(sqlite3.connect(store)) as connection:
            (count,) = connection.execute("SELECT count(*) FROM traces").fetchone()
        return int(count)

    before = kept()
    hooked.write({"README.md": "Invented."})
    assert commit(hooked).status == 0
    # The commit holds the same analyses and parameters: no answer was computed anew.
    assert kept() == before
    assert hooked.git("status", "--porcelain") == ""


def test_nothing_is_left_in_the_temporary_folder(
    hooked: Project, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setenv("TMPDIR", str(temporary))
    worse(hooked)
    blocked(commit(hooked))
    assert list(temporary.iterdir()) == []
