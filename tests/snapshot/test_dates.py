"""The day of a state: HEAD's own where HEAD holds what is judged and read, else today.

Which day belongs to which state: of a commit the committer's day as it is written there (``%cs`` of
git-log, "Commit Formatting"), so that nothing but the one commit is asked.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from closeout.snapshot import Snapshot, open_commit, open_index, open_tree

from .conftest import Repo

NOW, DAY, EARLIER = "2026-08-20", "2026-05-04", "2026-04-01"


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("dates", "folder", "export"):
        monkeypatch.setattr(f"closeout.snapshot.{module}.today", lambda: NOW)


def commit(repo: Repo, when: str = f"{DAY}T23:30:00-0900", author: str | None = None) -> str:
    repo.git("add", "--all")
    more = {"GIT_COMMITTER_DATE": when, "GIT_AUTHOR_DATE": author or when}
    repo.git("commit", "--quiet", "--allow-empty", "--message", "change", **more)
    return repo.git("rev-parse", "HEAD").strip()


@pytest.fixture
def dated(empty: Repo) -> Repo:
    """A project in a folder of a repository, one commit of it."""
    empty.fill("gannet/")
    empty.write("gannet/data.csv", "1\n")
    empty.write("gannet/README.md", "Invented.\n")
    empty.write(".gitignore", "*.log\n")
    commit(empty)
    return empty


def tree(repo: Repo) -> Snapshot:
    return open_tree(repo.path / "gannet")


def day(repo: Repo, *looks: tuple[str, str]) -> str:
    snapshot = tree(repo)
    seen = {path: "seen" if (snapshot.root / path).exists() else None for _, path in looks}
    return snapshot.dated.day([(kind, path, seen[path]) for kind, path in looks])


def test_a_commit_has_its_committers_day_as_it_is_written(dated: Repo) -> None:
    """23:30 at nine hours west of Greenwich is the next day there; it is written as the fourth."""
    assert day(dated) == DAY
    with open_commit(dated.path / "gannet", "HEAD") as snapshot:
        assert snapshot.dated.day([("file", "anything.csv", "seen")]) == DAY
    commit(dated, f"{DAY}T12:00:00+0000", author=f"{EARLIER}T12:00:00+0000")
    assert day(dated) == DAY


def test_outside_git_and_before_the_first_commit_it_is_today(tmp_path: Path, empty: Repo) -> None:
    assert open_tree(tmp_path).dated.day() == NOW
    empty.fill()
    assert open_tree(empty.path).dated.day() == NOW


CHANGED = {
    "judged": ("gannet/analyses/energy.py", "FACTOR = 2\n"),
    "new": ("gannet/requirements/new.yaml", "records: []\n"),
    "in a new folder": ("gannet/analyses/more/new.py", ""),
    "ignored": ("gannet/analyses/more.log/new.py", ""),
}


@pytest.mark.parametrize("name", CHANGED)
def test_what_is_judged_and_differs_is_of_today(dated: Repo, name: str) -> None:
    dated.write(*CHANGED[name])
    assert day(dated) == NOW
    dated.git("add", "--all")
    if name != "ignored":
        commit(dated)
        assert day(dated) == DAY


def test_a_judged_file_that_is_gone(dated: Repo) -> None:
    (dated.path / "gannet/requirements/power.yaml").unlink()
    assert day(dated) == NOW


def test_a_judged_file_at_which_git_does_not_look(dated: Repo) -> None:
    dated.git("update-index", "--assume-unchanged", "gannet/analyses/energy.py")
    assert day(dated) == NOW


@pytest.mark.parametrize(
    "path",
    ["gannet/README.md", "gannet/notes.txt", "other/notes.txt", "gannet/analyses/data/idle.csv"],
)
def test_what_is_neither_judged_nor_read_has_no_say(dated: Repo, path: str) -> None:
    dated.write(path, "changed\n")
    assert tree(dated).identity.dirty is not path.startswith("other")
    assert day(dated, ("file", "data.csv"), ("folder", "requirements")) == DAY


LOOKS: list[tuple[str, str, tuple[str, str], str]] = [
    ("data.csv", "2\n", ("file", "data.csv"), NOW),
    ("data.csv", "2\n", ("kind", "data.csv"), DAY),
    ("data.csv", "2\n", ("folder", "."), DAY),
    ("new.csv", "2\n", ("file", "new.csv"), NOW),
    ("new.csv", "2\n", ("kind", "new.csv"), NOW),
    ("new.csv", "2\n", ("folder", "."), NOW),
    ("new.csv", "2\n", ("folder", "analyses"), DAY),
    ("new.csv", "2\n", ("file", "absent.csv"), DAY),
    ("new/deep.csv", "2\n", ("file", "new/deep.csv"), NOW),
    ("new/deep.csv", "2\n", ("kind", "new"), NOW),
    ("run.log", "2\n", ("file", "run.log"), NOW),
    ("run.log", "2\n", ("kind", "run.log"), NOW),
    ("run.log", "2\n", ("folder", "."), NOW),
    ("analyses/data/soak.csv", "2\n", ("file", "analyses/data/soak.csv"), NOW),
    ("analyses/data/other.csv", "2\n", ("folder", "analyses/data"), NOW),
    ("analyses/data/other.csv", "2\n", ("kind", "analyses/data"), DAY),
]


@pytest.mark.parametrize(("path", "text", "look", "expected"), LOOKS)
def test_what_was_read_and_differs_is_of_today(
    dated: Repo, path: str, text: str, look: tuple[str, str], expected: str
) -> None:
    dated.write(f"gannet/{path}", text)
    assert day(dated, look) == expected


def test_what_was_read_and_is_gone_is_of_today(dated: Repo) -> None:
    (dated.path / "gannet/data.csv").unlink()
    assert day(dated, ("file", "data.csv")) == NOW
    assert day(dated, ("kind", "data.csv")) == NOW
    assert day(dated, ("folder", ".")) == NOW
    dated.git("add", "--all")
    assert day(dated, ("file", "data.csv")) == NOW


def test_the_index_is_of_today_and_never_before_head(dated: Repo) -> None:
    def staged() -> str:
        with open_index(dated.path / "gannet") as snapshot:
            return snapshot.dated.day()

    assert staged() == NOW
    later = "2026-09-01"
    commit(dated, f"{later}T12:00:00+0000")
    assert staged() == later
    dated.write(*CHANGED["judged"])
    assert day(dated) == later


@pytest.mark.parametrize(
    ("parent", "child", "expected"),
    [
        (f"{DAY}T12:00:00+0000", f"{EARLIER}T12:00:00+0000", DAY),
        (f"{DAY}T12:00:00+0000", f"{DAY}T11:00:00+0000", None),  # a clock that is slow
        # The same hour in two time zones: the day goes back, the time does not.
        ("2026-05-05T01:00:00+1200", f"{DAY}T14:00:00-0800", None),
        (f"{EARLIER}T12:00:00+0000", f"{DAY}T12:00:00+0000", None),
    ],
)
def test_a_commit_of_a_day_before_its_parents(
    dated: Repo, parent: str, child: str, expected: str | None
) -> None:
    commit(dated, parent)
    commit(dated, child)
    stamp = tree(dated).dated.stamp
    assert stamp is not None
    assert stamp.parent == expected


def test_each_parent_of_a_merge_is_asked(dated: Repo) -> None:
    dated.git("switch", "--quiet", "--create", "side")
    commit(dated, "2026-07-01T12:00:00+0000")
    dated.git("switch", "--quiet", "main")
    commit(dated, "2026-06-01T12:00:00+0000")
    when = {"GIT_COMMITTER_DATE": "2026-06-02T12:00:00+0000"}
    dated.git("merge", "--quiet", "--no-edit", "side", **when)
    stamp = tree(dated).dated.stamp
    assert stamp is not None
    assert (stamp.day, stamp.parent) == ("2026-06-02", "2026-07-01")


def test_a_clone_without_its_history_has_the_same_day(dated: Repo, tmp_path: Path) -> None:
    commit(dated)
    shallow = Repo(tmp_path / "shallow")
    dated.git("clone", "--quiet", "--depth", "1", dated.path.as_uri(), str(shallow.path))
    assert day(shallow, ("file", "data.csv")) == DAY
