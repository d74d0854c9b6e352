"""What git tells of earlier states, on real repositories."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from closeout.snapshot import Past, open_commit, open_index, open_tree, past_of
from tests.snapshot.conftest import Repo

POWER = "requirements/power.yaml"


def _blob(repo: Repo, path: str, revision: str = "HEAD") -> str:
    return repo.git("rev-parse", f"{revision}:{path}").strip()


def _followed(repo: Repo, root: Path | None = None) -> Past:
    """Return the commits up to HEAD, as a state sees them that differs from it."""
    root = root or repo.path
    (root / "requirements/new.yaml").write_text("requirements: []\n")
    past = past_of(open_tree(root))
    assert past is not None
    return past


def test_outside_git_and_before_a_commit_there_is_no_past(tmp_path: Path, empty: Repo) -> None:
    plain = tmp_path / "plain"
    (plain / "requirements").mkdir(parents=True)
    assert past_of(open_tree(plain)) is None
    empty.fill()
    assert past_of(open_tree(empty.path)) is None


def test_a_changed_tree_is_compared_with_head_and_a_clean_one_against_its_parent(
    repo: Repo,
) -> None:
    first = repo.git("rev-parse", "HEAD").strip()
    past = past_of(open_tree(repo.path))
    assert past is not None
    assert (past.commits, past.base, past.shallow) == ((), None, False)
    repo.write(POWER, "requirements: [] # a\n")
    past = past_of(open_tree(repo.path))
    assert past is not None
    assert past.base == first
    repo.commit()
    past = past_of(open_tree(repo.path))
    assert past is not None
    assert (past.commits, past.base) == ((first,), first)


def test_the_staged_state_and_a_commit(repo: Repo) -> None:
    first = repo.git("rev-parse", "HEAD").strip()
    repo.write(POWER, "requirements: [] # a\n")
    second = repo.commit()
    repo.write(POWER, "requirements: [] # b\n")
    repo.git("add", "--all")
    with open_index(repo.path) as staged:
        past = past_of(staged)
    assert past is not None
    assert (past.commits, len(past.line())) == ((second,), 2)
    # What is held against a commit is what its staged state was held against.
    with open_commit(repo.path, "HEAD") as commit:
        past = past_of(commit)
    assert past is not None
    assert (past.commits, len(past.line())) == ((first,), 1)
    with open_commit(repo.path, first) as commit:
        past = past_of(commit)
    assert past is not None
    assert (past.commits, past.base, past.line(), past.every()) == ((), None, (), ())


def test_the_line_is_oldest_first_with_days_and_yaml_files_alone(
    repo: Repo, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GIT_AUTHOR_DATE", "2026-03-01T23:30:00+0200")
    repo.write(POWER, "requirements: [] # a\n")
    repo.write("requirements/notes.md", "no YAML\n")
    repo.write("requirements/.hidden.yaml", "passed over: 1\n")
    repo.commit()
    monkeypatch.setenv("GIT_AUTHOR_DATE", "2026-03-02T00:30:00+0200")
    repo.git("mv", POWER, "requirements/energy.yaml")
    repo.commit()
    past = _followed(repo)
    _, changed, moved = past.line()
    assert (changed.day, moved.day) == ("2026-03-01", "2026-03-02")
    blob = _blob(repo, "requirements/energy.yaml")
    assert changed.changes == ((POWER, blob),)
    assert set(moved.changes) == {(POWER, None), ("requirements/energy.yaml", blob)}
    assert past.tree(past.commits[0])["requirements/energy.yaml"] == blob
    assert POWER not in past.tree(past.commits[0])
    assert past.name_of(b"requirements: [] # a\n", blob) == blob
    assert dict(past.contents([blob])) == {blob: b"requirements: [] # a\n"}


def test_what_came_and_went_on_a_merged_branch_is_in_every_and_not_in_the_line(repo: Repo) -> None:
    repo.git("checkout", "--quiet", "-b", "side")
    repo.write("requirements/records.yaml", "records: []\n")
    repo.commit()
    blob = _blob(repo, "requirements/records.yaml")
    repo.git("rm", "--quiet", "requirements/records.yaml")
    repo.write(POWER, "requirements: [] # side\n")
    repo.commit()
    repo.git("checkout", "--quiet", "main")
    repo.git("merge", "--quiet", "--no-ff", "--message", "merge", "side")
    past = _followed(repo)
    in_line = {name for commit in past.line() for _, name in commit.changes}
    in_every = {name for commit in past.every() for _, name in commit.changes}
    assert blob in in_every
    assert blob not in in_line
    assert _blob(repo, POWER) in in_line


def test_a_project_below_the_top(empty: Repo) -> None:
    empty.fill("payload/gannet/")
    empty.write("requirements/other.yaml", "requirements: []\n")
    empty.commit()
    root = empty.path / "payload/gannet"
    past = _followed(empty, root)
    assert past.prefix == "payload/gannet/"
    assert set(past.tree(past.commits[0])) == {"requirements/project.yaml", POWER}
    (commit,) = past.line()
    assert {path for path, _ in commit.changes} == {"requirements/project.yaml", POWER}


def test_a_shallow_clone_says_so_and_has_no_base(repo: Repo, tmp_path: Path) -> None:
    repo.write(POWER, "requirements: [] # a\n")
    repo.commit()
    clone = tmp_path / "clone"
    address = f"file://{repo.path}"
    repo.git("clone", "--quiet", "--depth", "1", address, str(clone))
    past = past_of(open_tree(clone))
    assert past is not None
    assert (past.base, past.shallow) == (None, True)
    assert past.line() == ()
    repo.git("fetch", "--quiet", "--unshallow", folder=clone)
    past = past_of(open_tree(clone))
    assert past is not None
    assert past.base is not None
    assert not past.shallow


def test_a_repository_of_sha_256(tmp_path: Path) -> None:
    path = tmp_path / "long names"
    path.mkdir()
    repo = Repo(path)
    if repo.attempt("init", "--quiet", "--object-format=sha256").returncode != 0:
        pytest.skip("this git has no SHA-256")
    repo.fill()
    repo.commit()
    past = past_of(open_tree(path))
    assert past is not None
    blob = _blob(repo, POWER)
    assert len(blob) == 64
    assert past.name_of(b"requirements: []\n", blob) == blob


def test_a_blob_that_is_not_there_is_passed_over(repo: Repo) -> None:
    past = past_of(open_tree(repo.path))
    assert past is not None
    blob = _blob(repo, POWER)
    assert [name for name, _ in past.contents(["0" * 40, blob])] == [blob]


def test_links_and_what_is_data_of_analyses_are_no_history(repo: Repo) -> None:
    (repo.path / "requirements/link.yaml").symlink_to("power.yaml")
    repo.commit()
    past = _followed(repo)
    assert "requirements/link.yaml" not in past.tree(past.commits[0])
    assert past.line()[-1].changes == (("requirements/link.yaml", None),)


def test_nothing_is_written_to_the_repository(repo: Repo) -> None:
    def state() -> dict[str, int]:
        return {
            str(path): path.stat().st_mtime_ns
            for path in sorted((repo.path / ".git").rglob("*"))
            if path.is_file()
        }

    past = _followed(repo)
    before = state()
    past.line(), past.every(), past.tree(past.commits[0])
    assert state() == before
    assert subprocess.run(["git", "status", "--porcelain"], cwd=repo.path, check=True)
