"""The working tree: its commit, and whether it is that commit."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from closeout.model.identity import SnapshotIdentity
from closeout.snapshot import open_tree

from .conftest import Repo


def identity(repo: Repo, below: str = "") -> SnapshotIdentity:
    return open_tree(repo.path / below).identity


def test_clean(repo: Repo) -> None:
    head = repo.git("rev-parse", "HEAD").strip()
    assert identity(repo) == SnapshotIdentity("tree", head, False)
    assert open_tree(repo.path).notes == ()


def test_outside_git(tmp_path: Path) -> None:
    snapshot = open_tree(tmp_path)
    assert snapshot.identity == SnapshotIdentity("tree", None, None)
    assert snapshot.notes == ()


def test_before_the_first_commit(empty: Repo) -> None:
    empty.fill()
    assert identity(empty) == SnapshotIdentity("tree", None, True)


def changed(repo: Repo) -> None:
    repo.write("analyses/energy.py", "FACTOR = 2\n")


def staged(repo: Repo) -> None:
    changed(repo)
    repo.git("add", "--all")


def staged_and_taken_back(repo: Repo) -> None:
    staged(repo)
    repo.write("analyses/energy.py", "FACTOR = 1\n")


def untracked(repo: Repo) -> None:
    repo.write("notes.txt", "")


def untracked_in_spite_of_configuration(repo: Repo) -> None:
    repo.git("config", "status.showUntrackedFiles", "no")
    untracked(repo)


def deleted(repo: Repo) -> None:
    (repo.path / "analyses/energy.py").unlink()


def intended(repo: Repo) -> None:
    untracked(repo)
    repo.git("add", "--intent-to-add", "notes.txt")


def looked_away_from(repo: Repo) -> None:
    repo.git("update-index", "--assume-unchanged", "analyses/energy.py")
    changed(repo)


def skipped(repo: Repo) -> None:
    repo.git("update-index", "--skip-worktree", "analyses/energy.py")
    changed(repo)


def ignored_but_judged(repo: Repo) -> None:
    (repo.path / ".git/info/exclude").write_text("local.yaml\n")
    repo.write("requirements/local.yaml", "")


@pytest.mark.parametrize(
    "change",
    [
        changed,
        staged,
        staged_and_taken_back,
        untracked,
        untracked_in_spite_of_configuration,
        deleted,
        intended,
        looked_away_from,
        skipped,
        ignored_but_judged,
    ],
)
def test_dirty(repo: Repo, change: object) -> None:
    assert callable(change)
    change(repo)
    assert identity(repo).dirty is True


def test_what_git_does_not_look_at_is_named(repo: Repo) -> None:
    looked_away_from(repo)
    ignored_but_judged(repo)
    assert open_tree(repo.path).notes == (
        "analyses/energy.py is marked so that git ignores its changes",
        "requirements/local.yaml is not tracked by git",
    )


def test_ignored_files_beside_the_judged_do_not_count(repo: Repo) -> None:
    repo.write(".gitignore", ".closeout/\n*.npz\n")
    repo.commit()
    repo.write(".closeout/results", "")
    repo.write("analyses/data/big.npz", "")
    snapshot = open_tree(repo.path)
    assert snapshot.identity.dirty is False
    assert snapshot.notes == ("analyses/data/big.npz is not tracked by git",)


def test_a_touched_file_is_not_dirty_and_the_index_not_refreshed(repo: Repo) -> None:
    index = (repo.path / ".git/index").read_bytes()
    os.utime(repo.path / "analyses/energy.py", ns=(1, 1))
    assert identity(repo).dirty is False
    assert (repo.path / ".git/index").read_bytes() == index


def test_only_what_is_below_the_root_counts(empty: Repo) -> None:
    empty.fill("flight [1]/")
    empty.fill("flight 1/")
    head = empty.commit()
    empty.write("flight 1/analyses/energy.py", "FACTOR = 3\n")
    empty.write("beside.txt", "")
    # "[1]" is also a pattern that the other folder's name fits.
    assert identity(empty, "flight [1]") == SnapshotIdentity("tree", head, False)
    assert identity(empty, "flight 1").dirty is True


def test_git_missing_or_failing_is_no_end(repo: Repo, monkeypatch: pytest.MonkeyPatch) -> None:
    (repo.path / ".git/HEAD").write_text("ref: refs/heads/main\n")
    (repo.path / ".git/index").write_bytes(b"no index at all, but long enough to be read as one")
    snapshot = open_tree(repo.path)
    assert (snapshot.identity.commit, snapshot.identity.dirty) == (None, None)
    assert "index" in snapshot.notes[0]
    monkeypatch.setenv("PATH", "/nowhere")
    snapshot = open_tree(repo.path)
    assert (snapshot.identity.commit, snapshot.identity.dirty) == (None, None)
    assert "git is not installed" in snapshot.notes[0]


def test_a_submodule_that_changed_is_dirty_and_its_files_are_tracked(
    repo: Repo, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    library = Repo(other)
    library.git("init", "--quiet")
    library.write("table.yaml", "a: 1\n")
    library.commit()
    repo.git(
        "-c", "protocol.file.allow=always", "submodule", "--quiet", "add", str(other),
        "analyses/library",
    )  # fmt: skip
    repo.commit()
    snapshot = open_tree(repo.path)
    assert snapshot.identity.dirty is False
    assert snapshot.notes == ()
    repo.write("analyses/library/table.yaml", "a: 2\n")
    assert identity(repo).dirty is True


def test_sparse_checkout(repo: Repo) -> None:
    repo.write("photos/pad.txt", "x")
    repo.commit()
    repo.git("sparse-checkout", "set", "requirements", "analyses")
    assert not (repo.path / "photos").exists()
    assert identity(repo).dirty is False
    repo.git("sparse-checkout", "set", "requirements")
    # The commit holds analyses, the tree does not: it is not that commit that is judged.
    assert identity(repo).dirty is True


def test_another_repositorys_variables_do_not_mislead(
    repo: Repo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    Repo(other).git("init", "--quiet")
    monkeypatch.setenv("GIT_DIR", str(other / ".git"))
    monkeypatch.setenv("GIT_INDEX_FILE", str(other / ".git/index"))
    monkeypatch.chdir(other)
    expected = (repo.path / ".git/refs/heads/main").read_text().strip()
    assert identity(repo) == SnapshotIdentity("tree", expected, False)


def test_git_dir_alone_does_not_make_a_subfolder_the_top(
    empty: Repo, monkeypatch: pytest.MonkeyPatch
) -> None:
    empty.fill("sub/")
    head = empty.commit()
    monkeypatch.chdir(empty.path)
    monkeypatch.setenv("GIT_DIR", ".git")
    assert identity(empty, "sub") == SnapshotIdentity("tree", head, False)


def test_a_git_dir_elsewhere(repo: Repo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    head = repo.git("rev-parse", "HEAD").strip()
    (repo.path / ".git").rename(tmp_path / "away.git")
    monkeypatch.setenv("GIT_DIR", str(tmp_path / "away.git"))
    monkeypatch.setenv("GIT_WORK_TREE", str(repo.path))
    assert identity(repo) == SnapshotIdentity("tree", head, False)
    monkeypatch.delenv("GIT_WORK_TREE")
    monkeypatch.chdir(repo.path)
    assert identity(repo) == SnapshotIdentity("tree", head, False)


def test_the_same_size_and_time_are_not_believed(repo: Repo) -> None:
    """Whatever the user's configuration lets git believe."""
    path = repo.path / "analyses/energy.py"
    repo.git("config", "core.trustctime", "false")
    repo.git("config", "core.checkStat", "minimal")
    text = path.read_text()
    os.utime(path, (1_000_000_000, 1_000_000_000))
    repo.git("update-index", "--refresh")
    assert identity(repo).dirty is False
    time.sleep(1.1)  # git compares whole seconds of an inode's time, which nobody can set
    path.write_text(text.replace("1", "2"))
    os.utime(path, (1_000_000_000, 1_000_000_000))
    assert path.read_text() != text
    assert repo.git("status", "--porcelain") == ""
    assert identity(repo).dirty is True
