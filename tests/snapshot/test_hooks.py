"""The hook file: put in, run by real commits, and taken out without a trace."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from closeout.snapshot import SnapshotError, install_hook, remove_hook

from .conftest import FILES, Repo

ASIDE = "pre-commit.before-closeout"
OWN = {"pre-commit", "pre-merge-commit"}

# Stands in for the interpreter: it is not ours to test here what the command judges, only how and
# where it is called. What it is called with goes to a file; its exit status comes from one.
INTERPRETER = """#!/bin/sh
if [ "$2" = -c ]; then exit 0; fi
{{ pwd; echo "$@"; echo "$GIT_INDEX_FILE"; }} > '{folder}/called'
exit "$(cat '{folder}/status')"
"""


@pytest.fixture
def python(tmp_path: Path) -> Path:
    """An interpreter in a folder whose name needs quotes, that notes how it is called."""
    folder = tmp_path / "my 'tools"
    folder.mkdir()
    python = folder / "python"
    python.write_text(INTERPRETER.format(folder=tmp_path))
    python.chmod(0o755)
    (tmp_path / "status").write_text("0")
    return python


def hook_of(repo: Repo) -> Path:
    return repo.path / ".git/hooks/pre-commit"


def names(repo: Repo) -> set[str]:
    return {path.name for path in (repo.path / ".git/hooks").iterdir() if path.suffix != ".sample"}


def commits(repo: Repo, folder: Path | None = None, **variables: object) -> bool:
    done = repo.attempt("commit", "--quiet", "--allow-empty", "-m", "x", folder=folder, **variables)
    return done.returncode == 0


def test_the_hook_is_called_and_its_status_decides(
    repo: Repo, python: Path, tmp_path: Path
) -> None:
    assert install_hook(repo.path, str(python)).splitlines() == [
        ".git/hooks/pre-commit is installed",
        ".git/hooks/pre-merge-commit is installed",
    ]
    assert commits(repo, folder=repo.path / "requirements")
    folder, arguments, index = (tmp_path / "called").read_text().splitlines()
    assert Path(folder) == repo.path
    assert arguments == "-P -m closeout hook run"
    assert Path(index) == repo.path / ".git/index"
    (tmp_path / "status").write_text("1")
    assert not commits(repo)


def test_the_real_interpreter_finds_this_package_and_no_file_of_the_project(repo: Repo) -> None:
    repo.write("closeout.py", "raise SystemExit('not this one')\n")
    repo.write("random.py", "raise SystemExit('not this one')\n")
    install_hook(repo.path, sys.executable)
    text = hook_of(repo).read_text()
    assert sys.executable in text
    check = text.replace(
        "-m closeout hook run", "-c 'import random, closeout; print(closeout.__file__)'"
    )
    done = subprocess.run(
        ["sh", "-c", check, str(hook_of(repo))],
        cwd=repo.path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.strip().endswith("closeout/__init__.py")


def test_installing_twice_is_no_change(repo: Repo, python: Path) -> None:
    install_hook(repo.path, str(python))
    before = hook_of(repo).stat()
    assert install_hook(repo.path, str(python)).endswith("is already installed")
    assert hook_of(repo).stat().st_mtime_ns == before.st_mtime_ns
    assert names(repo) == OWN


def test_removing_leaves_nothing(repo: Repo, python: Path) -> None:
    before = names(repo)
    install_hook(repo.path, str(python))
    assert remove_hook(repo.path).splitlines() == [
        ".git/hooks/pre-commit is removed",
        ".git/hooks/pre-merge-commit is removed",
    ]
    assert names(repo) == before
    assert remove_hook(repo.path) == "no hook of closeout here"


def test_a_foreign_hook_is_called_first_and_put_back(
    repo: Repo, python: Path, tmp_path: Path
) -> None:
    foreign = (
        f"#!/bin/sh\necho ran >> '{tmp_path}/foreign'\nexit $(cat '{tmp_path}/foreign status')\n"
    )
    (tmp_path / "foreign status").write_text("0")
    repo.hook(foreign)
    assert "called first" in install_hook(repo.path, str(python))
    assert names(repo) == {*OWN, ASIDE}
    assert commits(repo)
    assert (tmp_path / "foreign").exists()
    (tmp_path / "called").unlink()
    (tmp_path / "foreign status").write_text("5")
    assert not commits(repo)
    assert not (tmp_path / "called").exists()
    assert install_hook(repo.path, str(python)).endswith("is already installed")
    assert "is again the earlier hook" in remove_hook(repo.path)
    assert hook_of(repo).read_text() == foreign
    assert os.access(hook_of(repo), os.X_OK)
    assert names(repo) == {"pre-commit"}


def test_a_foreign_hook_that_git_would_not_run_is_not_run(
    repo: Repo, python: Path, tmp_path: Path
) -> None:
    repo.hook("#!/bin/sh\nexit 1\n")
    hook_of(repo).chmod(0o644)
    install_hook(repo.path, str(python))
    assert commits(repo)
    remove_hook(repo.path)
    assert not os.access(hook_of(repo), os.X_OK)


def test_a_foreign_hook_that_is_a_link_stays_one(repo: Repo, python: Path) -> None:
    repo.write("tools/check", "#!/bin/sh\nexit 1\n").chmod(0o755)
    hook_of(repo).parent.mkdir(exist_ok=True)
    hook_of(repo).symlink_to("../../tools/check")
    install_hook(repo.path, str(python))
    assert not commits(repo)
    assert (repo.path / "tools/check").read_text() == "#!/bin/sh\nexit 1\n"
    remove_hook(repo.path)
    assert os.readlink(hook_of(repo)) == "../../tools/check"


def test_two_foreign_hooks_are_not_lost(repo: Repo, python: Path) -> None:
    repo.hook("#!/bin/sh\nexit 0\n")
    install_hook(repo.path, str(python))
    repo.hook("#!/bin/sh\n# put there by somebody since\n")
    with pytest.raises(SnapshotError) as caught:
        install_hook(repo.path, str(python))
    assert ASIDE in caught.value.message
    assert caught.value.cure
    assert remove_hook(repo.path) == ".git/hooks/pre-merge-commit is removed"
    assert "since" in hook_of(repo).read_text()
    assert names(repo) == {"pre-commit", ASIDE}


def test_another_interpreter_renews_the_hook(repo: Repo, python: Path) -> None:
    repo.hook("#!/bin/sh\nexit 0\n")
    install_hook(repo.path, "/gone/python")
    assert ".git/hooks/pre-commit is updated" in install_hook(repo.path, str(python))
    assert commits(repo)
    remove_hook(repo.path)
    assert hook_of(repo).read_text() == "#!/bin/sh\nexit 0\n"


@pytest.mark.parametrize("action", ["install", "remove"])
def test_an_edited_hook_of_ours_is_stored(repo: Repo, python: Path, action: str) -> None:
    install_hook(repo.path, str(python))
    edited = hook_of(repo).read_text() + "echo mine\n"
    hook_of(repo).write_text(edited)
    line = install_hook(repo.path, str(python)) if action == "install" else remove_hook(repo.path)
    assert "edited" in line
    assert (repo.path / ".git/hooks/pre-commit.edited-closeout").read_text() == edited


def test_without_its_interpreter_the_command_on_the_path_is_taken(
    repo: Repo, tmp_path: Path, python: Path
) -> None:
    install_hook(repo.path, "/gone/python")
    folder = tmp_path / "bin"
    folder.mkdir()
    command = folder / "closeout"
    command.write_text(f"#!/bin/sh\necho \"$@\" > '{tmp_path}/called'\n")
    command.chmod(0o755)
    assert commits(repo, PATH=f"{folder}:{os.environ['PATH']}")
    assert (tmp_path / "called").read_text() == "hook run\n"


def test_with_neither_it_blocks_and_says_in_one_line_what_to_do(repo: Repo, tmp_path: Path) -> None:
    install_hook(repo.path, "/gone/python")
    done = repo.attempt("commit", "--allow-empty", "-m", "x", PATH=_path_without_closeout(tmp_path))
    assert done.returncode != 0
    assert done.stderr.count("\n") == 1
    assert "closeout hook install" in done.stderr


def _path_without_closeout(tmp_path: Path) -> str:
    folders = os.environ["PATH"].split(":")
    return ":".join(f for f in folders if not os.access(Path(f) / "closeout", os.X_OK))


def test_a_project_in_a_subfolder(empty: Repo, python: Path, tmp_path: Path) -> None:
    sub = "flight 'one' [x]"
    empty.fill(f"{sub}/")
    empty.commit()
    install_hook(empty.path / sub, str(python))
    empty.write(f"{sub}/analyses/energy.py", "2")
    assert empty.attempt("commit", "--all", "-m", "x").returncode == 0
    folder, _, index = (tmp_path / "called").read_text().splitlines()
    assert Path(folder) == empty.path / sub
    assert Path(index) == empty.path / ".git/index.lock"
    done = empty.attempt("--git-dir=.git", "--work-tree=.", "commit", "--allow-empty", "-m", "x")
    assert done.returncode == 0, done.stderr


def test_a_branch_without_the_project_may_be_committed(
    empty: Repo, python: Path, tmp_path: Path
) -> None:
    empty.write("README", "x")
    empty.commit()
    empty.git("branch", "before")
    empty.fill("sub/")
    empty.commit()
    install_hook(empty.path / "sub", str(python))
    (tmp_path / "status").write_text("1")
    assert not commits(empty)
    empty.git("checkout", "--quiet", "before")
    done = empty.attempt("commit", "--allow-empty", "-m", "x")
    assert done.returncode == 0
    assert "nothing to judge" in done.stderr
    # It is staged, so it has to be judged, also where the folder is gone.
    empty.git("checkout", "--quiet", "main")
    for path in FILES:
        (empty.path / "sub" / path).unlink()
    assert not commits(empty)


def test_a_second_project_does_not_push_out_the_first(empty: Repo, python: Path) -> None:
    for sub in ("one", "two"):
        empty.fill(f"{sub}/")
    empty.commit()
    install_hook(empty.path / "one", str(python))
    with pytest.raises(SnapshotError, match="one") as caught:
        install_hook(empty.path / "two", str(python))
    assert caught.value.cure
    (empty.path / "one").rename(empty.path / "moved")
    assert "updated" in install_hook(empty.path / "moved", str(python))


def test_hooks_path_inside_the_repository(repo: Repo, python: Path, tmp_path: Path) -> None:
    repo.git("config", "core.hooksPath", "tools/hooks")
    assert "tools/hooks/pre-commit is installed" in install_hook(repo.path, str(python))
    assert commits(repo)
    assert (tmp_path / "called").exists()
    remove_hook(repo.path)
    assert list((repo.path / "tools/hooks").iterdir()) == []


@pytest.mark.parametrize("how", ["straight", "through a link", "off"])
def test_hooks_path_outside_is_not_touched(
    repo: Repo, python: Path, tmp_path: Path, how: str
) -> None:
    outside = tmp_path / "shared hooks"
    outside.mkdir()
    (repo.path / "link").symlink_to(outside)
    value = {"straight": str(outside), "through a link": "link", "off": os.devnull}[how]
    repo.git("config", "core.hooksPath", value)
    with pytest.raises(SnapshotError, match="outside") as caught:
        install_hook(repo.path, str(python))
    assert list(outside.iterdir()) == []
    assert not hook_of(repo).exists()
    line = caught.value.cure.partition("there: ")[2]
    done = subprocess.run(["sh", "-c", line], cwd=repo.path, check=False)
    assert done.returncode == 0
    assert (tmp_path / "called").read_text().splitlines()[1] == "-P -m closeout hook run"
    assert remove_hook(repo.path) == "no hook of closeout here"


def test_remove_finds_the_hook_after_hooks_path_was_set(
    repo: Repo, python: Path, tmp_path: Path
) -> None:
    install_hook(repo.path, str(python))
    repo.git("config", "core.hooksPath", str(tmp_path))
    assert "removed" in remove_hook(repo.path)
    assert not hook_of(repo).exists()


def test_a_linked_worktree_shares_the_hook(repo: Repo, python: Path, tmp_path: Path) -> None:
    tree = tmp_path / "linked"
    repo.git("worktree", "add", "--quiet", str(tree))
    install_hook(tree, str(python))
    assert hook_of(repo).exists()
    assert commits(repo, folder=tree)
    assert Path((tmp_path / "called").read_text().splitlines()[0]) == tree
    remove_hook(tree)
    assert not hook_of(repo).exists()


def test_a_relative_interpreter_is_found_from_anywhere(
    repo: Repo, python: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(python.parent)
    install_hook(repo.path, "./python")
    assert commits(repo)


def test_outside_git(tmp_path: Path, python: Path) -> None:
    for act in (lambda: install_hook(tmp_path, str(python)), lambda: remove_hook(tmp_path)):
        with pytest.raises(SnapshotError, match="no git repository"):
            act()


def test_a_hook_that_cannot_be_written_is_reported(repo: Repo, python: Path) -> None:
    hooks = repo.path / ".git/hooks"
    for path in hooks.iterdir():
        path.unlink()
    hooks.rmdir()
    hooks.write_text("")
    with pytest.raises(SnapshotError, match="cannot be written") as caught:
        install_hook(repo.path, str(python))
    assert caught.value.cure


def test_hook_that_was_installed_runs_without_any_variable_of_git(
    repo: Repo, python: Path, tmp_path: Path
) -> None:
    # By hand, as somebody does to see what it says.
    install_hook(repo.path, str(python))
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GIT_")}
    subprocess.run([".git/hooks/pre-commit"], cwd=repo.path, env=environment, check=True)
    assert (tmp_path / "called").read_text().splitlines()[2] == ""
