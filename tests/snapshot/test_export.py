"""The staged state and commits: exported by themselves, whatever the working tree looks like."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from closeout.model.identity import SnapshotIdentity
from closeout.snapshot import SnapshotError, has_head, open_commit, open_index
from tests.effort import BACKSTOP

from .conftest import FILES, Repo

Probe = Callable[..., str]


def staged(repo: Repo, below: str = "") -> dict[str, str]:
    with open_index(repo.path / below) as snapshot:
        return {path: snapshot.read(path).decode() for path in snapshot.files()}


def state(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Return time and content of every file, git's own among them but for loose objects."""
    return {
        str(path.relative_to(folder)): (path.stat().st_mtime_ns, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".git/objects" not in str(path)
    }


def test_everything_committed(repo: Repo) -> None:
    head = repo.git("rev-parse", "HEAD").strip()
    with open_index(repo.path) as snapshot:
        assert snapshot.identity == SnapshotIdentity("index", head, False)
        assert snapshot.notes == ()
    assert staged(repo) == FILES


def test_partly_staged_untracked_deleted_and_unstaged_deletion(repo: Repo) -> None:
    repo.write("requirements/power.yaml", "staged\n")
    repo.git("add", "--all")
    repo.write("requirements/power.yaml", "staged\nand more\n")
    repo.write("requirements/new.yaml", "untracked")
    (repo.path / "analyses/energy.py").unlink()
    repo.git("rm", "--quiet", "--cached", "analyses/data/soak.csv")
    before = state(repo.path)
    seen = staged(repo)
    assert seen["requirements/power.yaml"] == "staged\n"
    assert "requirements/new.yaml" not in seen
    assert "analyses/energy.py" in seen
    assert "analyses/data/soak.csv" not in seen
    assert state(repo.path) == before
    assert open_index(repo.path).identity.dirty is True


def test_nothing_is_written_even_where_the_index_has_no_trees_yet(repo: Repo) -> None:
    # After an add the index lacks the trees' identifiers; git write-tree would add them to it.
    repo.write("requirements/power.yaml", "staged\n")
    repo.git("add", "--all")
    before = state(repo.path)
    open_index(repo.path).close()
    open_commit(repo.path, "HEAD").close()
    assert state(repo.path) == before


def test_a_locked_index_is_no_matter(repo: Repo) -> None:
    lock = repo.write(".git/index.lock", "")
    assert staged(repo) == FILES
    assert lock.read_text() == ""


def test_users_hooks_are_not_run(repo: Repo, tmp_path: Path) -> None:
    for name in ("post-index-change", "post-checkout", "reference-transaction"):
        hook = repo.write(f".git/hooks/{name}", f"#!/bin/sh\necho {name} >> '{tmp_path}/ran'\n")
        hook.chmod(0o755)
    repo.git("update-index", "--force-remove", "analyses/energy.py")
    assert (tmp_path / "ran").exists()  # the hook does run for a call of the user
    (tmp_path / "ran").unlink()
    open_index(repo.path).close()
    open_commit(repo.path, "HEAD").close()
    assert not (tmp_path / "ran").exists()


def test_intent_to_add_is_left_out_and_named(repo: Repo) -> None:
    repo.write("requirements/new.yaml", "not yet")
    repo.git("add", "--intent-to-add", "requirements/new.yaml")
    with open_index(repo.path) as snapshot:
        assert "requirements/new.yaml" not in snapshot.files()
        assert [note.split(" ")[0] for note in snapshot.notes] == ["requirements/new.yaml"]
        assert snapshot.identity.dirty is False


def test_unmerged_paths_are_all_named(repo: Repo) -> None:
    repo.git("checkout", "--quiet", "-b", "side")
    for path in ("analyses/energy.py", "requirements/power.yaml"):
        repo.write(path, "side\n")
    repo.commit()
    repo.git("checkout", "--quiet", "main")
    for path in ("analyses/energy.py", "requirements/power.yaml"):
        repo.write(path, "main\n")
    repo.commit()
    assert repo.attempt("merge", "side").returncode != 0
    before = state(repo.path)
    with pytest.raises(SnapshotError) as caught:
        open_index(repo.path)
    assert "analyses/energy.py, requirements/power.yaml" in caught.value.message
    assert "git add" in caught.value.cure
    assert state(repo.path) == before
    # Resolved, the merge is judged as a whole.
    for path in ("analyses/energy.py", "requirements/power.yaml"):
        repo.write(path, "both\n")
    repo.git("add", "--all")
    assert staged(repo)["analyses/energy.py"] == "both\n"


def test_export_ignore_does_not_leave_out(repo: Repo) -> None:
    repo.write(".gitattributes", "*.csv export-ignore\n")
    repo.commit()
    assert "analyses/data/soak.csv" in staged(repo)
    with open_commit(repo.path, "HEAD") as snapshot:
        assert "analyses/data/soak.csv" in snapshot.files()


def test_line_ends_and_filters_are_those_of_a_checkout(repo: Repo) -> None:
    repo.git("config", "filter.loud.smudge", "tr a-z A-Z")
    repo.git("config", "filter.loud.clean", "tr A-Z a-z")
    repo.write(".gitattributes", "*.csv text eol=crlf\n*.py filter=loud\n")
    repo.write("analyses/data/soak.csv", "t,v\r\n0,2\r\n")
    repo.commit()
    assert repo.git("cat-file", "blob", "HEAD:analyses/data/soak.csv") == "t,v\n0,2\n"
    # An edit of the attributes that is not staged must not reach the export.
    repo.write(".gitattributes", "")
    with open_index(repo.path) as snapshot:
        assert snapshot.read("analyses/data/soak.csv") == b"t,v\r\n0,2\r\n"
        assert snapshot.read("analyses/energy.py") == b"FACTOR = 1\n"
    repo.write("analyses/energy.py", "factor = 1\n")
    with open_commit(repo.path, "HEAD") as snapshot:
        assert snapshot.read("analyses/energy.py") == b"FACTOR = 1\n"


def test_attributes_above_the_project_hold(empty: Repo) -> None:
    empty.fill("sub/")
    empty.write(".gitattributes", "*.csv text eol=crlf\n")
    empty.commit()
    (empty.path / ".gitattributes").unlink()
    with open_index(empty.path / "sub") as snapshot:
        assert snapshot.read("analyses/data/soak.csv") == b"t,v\r\n0,1\r\n"


def test_a_filter_that_fails_is_an_error_and_leaves_nothing(repo: Repo, temporary: Path) -> None:
    repo.write(".gitattributes", "*.py filter=broken\n")
    repo.commit()
    repo.git("config", "filter.broken.smudge", "false")
    repo.git("config", "filter.broken.required", "true")
    with pytest.raises(SnapshotError, match=r"analyses/energy\.py") as caught:
        open_commit(repo.path, "HEAD")
    assert "filter" in caught.value.cure
    assert list(temporary.iterdir()) == []


def test_symbolic_links_lead_nowhere(repo: Repo, tmp_path: Path) -> None:
    (tmp_path / "secret.yaml").write_text("secret")
    (repo.path / "requirements/out.yaml").symlink_to(tmp_path / "secret.yaml")
    (repo.path / "analyses/folder").symlink_to(tmp_path)
    (repo.path / "outside").symlink_to(tmp_path)
    repo.commit()
    for snapshot in (open_index(repo.path), open_commit(repo.path, "HEAD")):
        with snapshot:
            assert [(p.rule, p.path) for p in snapshot.problems()] == [
                ("symbolic-link", "analyses/folder"),
                ("symbolic-link", "requirements/out.yaml"),
            ]
            assert set(snapshot.files()) == set(FILES)
            assert any(note.startswith("outside is a symbolic link") for note in snapshot.notes)
            with pytest.raises(OSError, match="symbolic link"):
                snapshot.read("requirements/out.yaml")
            assert not any(path.is_symlink() for path in snapshot.root.rglob("*"))
            assert not (snapshot.root / "outside/secret.yaml").exists()


def test_a_judged_folder_that_is_a_link_in_git(empty: Repo) -> None:
    empty.fill()
    (empty.path / "analyses").rename(empty.path / "elsewhere")
    (empty.path / "analyses").symlink_to("elsewhere")
    empty.commit()
    with open_index(empty.path) as snapshot:
        assert [(p.rule, p.path) for p in snapshot.problems()] == [("symbolic-link", "analyses")]


def test_submodules_are_left_out_and_named(repo: Repo, tmp_path: Path) -> None:
    commit = repo.git("rev-parse", "HEAD").strip()
    for path in ("analyses/library", "analyses/odd.py"):
        repo.git("update-index", "--add", "--cacheinfo", f"160000,{commit},{path}")
    with open_index(repo.path) as snapshot:
        assert [note.split(" ")[0] for note in snapshot.notes] == [
            "analyses/library",
            "analyses/odd.py",
        ]
        assert [(p.rule, p.path) for p in snapshot.problems()] == [
            ("no-regular-file", "analyses/odd.py")
        ]


def test_names_with_anything_in_them(repo: Repo) -> None:
    names = ["requirements/a b'c.yaml", "requirements/[x]*.yaml", 'requirements/"q".yaml']
    for name in names:
        repo.write(name, name)
    odd = [os.fsdecode(b"analyses/\xff.csv"), "analyses/a\nb.csv"]
    for name in odd:
        (repo.path / name).write_text("x")
    repo.git("add", "--all")
    seen = staged(repo)
    assert all(seen[name] == name for name in names)
    with open_index(repo.path) as snapshot:
        assert [(p.rule, p.path) for p in snapshot.problems()] == [
            ("bad-name", r"analyses/\xff.csv"),
            ("bad-name", r"analyses/a\x0ab.csv"),
        ]


def test_no_head_yet(empty: Repo) -> None:
    assert staged(empty) == {}  # not even an index
    empty.fill()
    empty.git("add", "requirements")
    assert not has_head(empty.path)
    with open_index(empty.path) as snapshot:
        assert snapshot.identity == SnapshotIdentity("index", None, True)
        assert snapshot.files() == ("requirements/power.yaml", "requirements/project.yaml")
    with pytest.raises(SnapshotError, match="HEAD"):
        open_commit(empty.path, "HEAD")


def test_sha256_repository(tmp_path: Path) -> None:
    path = tmp_path / "long"
    path.mkdir()
    repo = Repo(path)
    repo.git("init", "--quiet", "--object-format=sha256")
    repo.fill()
    repo.git("add", "--all")
    head = repo.commit()
    assert len(head) == 64
    assert staged(repo) == FILES
    with open_commit(path, head[:12]) as snapshot:
        assert snapshot.identity == SnapshotIdentity("commit", head, False)


@pytest.mark.parametrize("index", ["--no-sparse-index", "--sparse-index"])
def test_sparse_checkout_is_exported_whole(repo: Repo, index: str) -> None:
    repo.git("sparse-checkout", "set", "--cone", index, "requirements")
    assert not (repo.path / "analyses").exists()
    assert staged(repo) == FILES
    with open_commit(repo.path, "HEAD") as snapshot:
        assert set(snapshot.files()) == set(FILES)
    assert not (repo.path / "analyses").exists()


@pytest.mark.parametrize("split", [True, False])
def test_split_index(repo: Repo, split: bool) -> None:
    if split:
        repo.git("update-index", "--split-index")
    repo.write("requirements/power.yaml", "split\n")
    repo.git("add", "--all")
    repo.git("config", "core.splitIndex", "true")
    before = set(state(repo.path))
    assert staged(repo) == {**FILES, "requirements/power.yaml": "split\n"}
    assert set(state(repo.path)) == before


def test_subfolder_of_the_repository(empty: Repo) -> None:
    empty.fill("flight/one/")
    empty.write("beside/big.txt", "x")
    head = empty.commit()
    empty.write("beside/big.txt", "y")
    empty.git("add", "--all")
    with open_index(empty.path / "flight/one") as snapshot:
        assert set(snapshot.files()) == set(FILES)
        assert snapshot.identity == SnapshotIdentity("index", head, False)
        assert not (snapshot.root.parents[1] / "beside").exists()
    empty.git("mv", "beside/big.txt", "flight/one/analyses/big.txt")
    empty.git("mv", "flight/one/analyses/data/soak.csv", "beside/soak.csv")


def test_a_subfolder_whose_name_is_a_pattern(empty: Repo) -> None:
    for name in (":(icase)one", "ONE"):
        empty.fill(f"{name}/")
    empty.commit()
    empty.write("ONE/analyses/energy.py", "other\n")
    empty.git("add", "--all")
    with open_index(empty.path / ":(icase)one") as snapshot:
        assert set(snapshot.files()) == set(FILES)
        assert snapshot.identity.dirty is False


def test_a_root_behind_a_link_is_the_same_project(repo: Repo, tmp_path: Path) -> None:
    (tmp_path / "short").symlink_to(repo.path)
    with open_index(tmp_path / "short") as snapshot:
        assert set(snapshot.files()) == set(FILES)


def test_a_deletion_is_staged(repo: Repo) -> None:
    repo.git("rm", "--quiet", "requirements/power.yaml")
    assert "requirements/power.yaml" not in staged(repo)


def test_a_commit_is_exported_as_it_was(repo: Repo) -> None:
    first = repo.git("rev-parse", "HEAD").strip()
    repo.write("requirements/power.yaml", "later\n")
    repo.git("tag", "--annotate", "--message", "x", "old", first)
    repo.commit()
    for revision in (first, first[:10], "HEAD~1", "old", "main^"):
        with open_commit(repo.path, revision) as snapshot:
            assert snapshot.identity == SnapshotIdentity("commit", first, False)
            assert snapshot.read("requirements/power.yaml") == b"requirements: []\n"


def test_replaced_objects_are_not_taken_for_the_commit(repo: Repo) -> None:
    first = repo.git("rev-parse", "HEAD").strip()
    repo.write("requirements/power.yaml", "later\n")
    second = repo.commit()
    repo.git("replace", first, second)
    with open_commit(repo.path, first) as snapshot:
        assert snapshot.read("requirements/power.yaml") == b"requirements: []\n"


@pytest.mark.parametrize(
    "revision",
    ["", "-h", "--all", "--output=x", "nowhere", "main..HEAD", "HEAD:requirements", "a\0b"],
)
def test_an_unknown_revision_is_refused(repo: Repo, revision: str, temporary: Path) -> None:
    with pytest.raises(SnapshotError) as caught:
        open_commit(repo.path, revision)
    assert caught.value.message
    assert caught.value.cure
    assert list(temporary.iterdir()) == []
    assert not (repo.path / "x").exists()


def test_outside_git_is_an_error_with_a_cure(tmp_path: Path) -> None:
    for ask in (open_index, has_head):
        with pytest.raises(SnapshotError, match="no git repository") as caught:
            ask(tmp_path)
        assert "git init" in caught.value.cure


def test_git_missing_is_an_error_with_a_cure(repo: Repo, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(SnapshotError, match="not installed") as caught:
        open_index(repo.path)
    assert "install git" in caught.value.cure


def test_a_missing_blob_is_an_error(repo: Repo, temporary: Path) -> None:
    blob = repo.git("rev-parse", "HEAD:analyses/energy.py").strip()
    (repo.path / ".git/objects" / blob[:2] / blob[2:]).unlink()
    with pytest.raises(SnapshotError, match=r"energy\.py|" + blob):
        open_commit(repo.path, "HEAD")
    assert list(temporary.iterdir()) == []


def test_an_index_file_that_is_not_there_is_no_empty_project(
    repo: Repo, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GIT_INDEX_FILE", ".git/index.lock")
    with pytest.raises(SnapshotError, match=r"index\.lock"):
        open_index(repo.path)


def test_configuration_of_paths_and_colours_does_not_matter(repo: Repo) -> None:
    for name, value in (
        ("core.quotePath", "true"),
        ("color.ui", "always"),
        ("core.fsmonitor", "false; echo x"),
        ("diff.external", "false"),
        ("core.untrackedCache", "true"),
        ("checkout.defaultRemote", "none"),
    ):
        repo.git("config", name, value)
    repo.write("requirements/é ü.yaml", "x")
    repo.git("add", "--all")
    assert "requirements/é ü.yaml" in staged(repo)


# In hooks. Git 2.39 gives GIT_INDEX_FILE as .git/index, .git/index.lock (commit -a) or
# .git/next-index-N.lock (commit PATH), absolute in a linked worktree, there with GIT_DIR.


def in_hook(repo: Repo, probe: Probe, target: Path, below: str = "", go_to: str = ".") -> None:
    repo.hook(f"#!/bin/sh\ncd '{go_to}' && exec {probe(target, below)}\n")


@pytest.mark.parametrize(
    ("arguments", "expected", "index"),
    [
        ([], {"analyses/energy.py": "staged", "requirements/power.yaml": "requirements: []\n"},
         ".git/index"),
        (["--all"], {"analyses/energy.py": "later", "requirements/power.yaml": "later"},
         ".git/index.lock"),
        (["requirements/power.yaml"],
         {"analyses/energy.py": "FACTOR = 1\n", "requirements/power.yaml": "later"},
         ".git/next-index-"),
    ],
)  # fmt: skip
def test_each_way_of_committing_is_judged_by_its_own_index(
    repo: Repo,
    probe: Probe,
    tmp_path: Path,
    arguments: list[str],
    expected: dict[str, str],
    index: str,
) -> None:
    repo.write("analyses/energy.py", "staged")
    repo.git("add", "--all")
    repo.write("analyses/energy.py", "later")
    repo.write("requirements/power.yaml", "later")
    in_hook(repo, probe, tmp_path / "seen")
    repo.git("commit", "--message", "x", *arguments, folder=repo.path / "requirements"
             if not arguments else repo.path)  # fmt: skip
    seen = json.loads((tmp_path / "seen").read_text())
    assert index in seen["index"]
    assert {path: seen["files"][path] for path in expected} == expected
    committed = repo.git("ls-tree", "-r", "--name-only", "HEAD").split()
    assert sorted(seen["files"]) == sorted(committed)
    for path in expected:
        assert repo.git("cat-file", "blob", f"HEAD:{path}") == expected[path]


def test_first_commit(empty: Repo, probe: Probe, tmp_path: Path) -> None:
    empty.fill()
    empty.git("add", "--all")
    in_hook(empty, probe, tmp_path / "seen")
    empty.git("commit", "--message", "x")
    seen = json.loads((tmp_path / "seen").read_text())
    assert seen["files"] == FILES
    assert seen["commit"] is None


@pytest.mark.parametrize(
    ("project", "below", "go_to"), [("", "", "."), ("sub/", "sub", "."), ("sub/", "", "sub")]
)
def test_linked_worktree(
    empty: Repo, probe: Probe, tmp_path: Path, project: str, below: str, go_to: str
) -> None:
    empty.fill(project)
    empty.commit()
    tree = tmp_path / "linked tree"
    empty.git("worktree", "add", "--quiet", "-b", "linked", str(tree))
    in_hook(empty, probe, tmp_path / "seen", below, go_to)
    (tree / project / "analyses/energy.py").write_text("linked")
    empty.git("commit", "--all", "--message", "x", folder=tree)
    seen = json.loads((tmp_path / "seen").read_text())
    assert seen["git_dir"]
    assert seen["files"] == {**FILES, "analyses/energy.py": "linked"}


def test_a_hook_that_goes_into_the_projects_folder(
    empty: Repo, probe: Probe, tmp_path: Path
) -> None:
    empty.fill("sub/")
    empty.commit()
    empty.write("sub/analyses/energy.py", "gone into")
    empty.git("add", "--all")
    in_hook(empty, probe, tmp_path / "seen", go_to="sub")
    empty.git("commit", "--message", "x")
    seen = json.loads((tmp_path / "seen").read_text())
    assert seen["index"] == ".git/index"  # which is not below the working folder
    assert seen["files"] == {**FILES, "analyses/energy.py": "gone into"}


def test_git_dir_and_work_tree_given(repo: Repo, probe: Probe, tmp_path: Path) -> None:
    in_hook(repo, probe, tmp_path / "seen")
    repo.write("analyses/energy.py", "given")
    repo.git("--git-dir=.git", "--work-tree=.", "commit", "--all", "--message", "x")
    seen = json.loads((tmp_path / "seen").read_text())
    assert seen["files"] == {**FILES, "analyses/energy.py": "given"}


def test_amend_and_rebase_exec(repo: Repo, probe: Probe, tmp_path: Path) -> None:
    repo.write("analyses/energy.py", "second")
    repo.commit()
    in_hook(repo, probe, tmp_path / "seen")
    repo.git("commit", "--amend", "--message", "x", "--allow-empty")
    assert json.loads((tmp_path / "seen").read_text())["dirty"] is False
    repo.git("rebase", "--quiet", "--exec", probe(tmp_path / "executed"), "HEAD~1")
    seen = json.loads((tmp_path / "executed").read_text())
    assert seen["files"]["analyses/energy.py"] == "second"


# Temporary folders.


def test_the_export_is_removed_on_close(repo: Repo, temporary: Path) -> None:
    snapshot = open_index(repo.path)
    assert snapshot.root.is_relative_to(temporary.resolve())
    assert next(temporary.iterdir()).stat().st_mode & 0o077 == 0
    snapshot.close()
    snapshot.close()
    assert list(temporary.iterdir()) == []
    with pytest.raises(OSError, match="power"):
        snapshot.read("requirements/power.yaml")


def test_a_forked_child_does_not_remove_its_parents_export(repo: Repo) -> None:
    with open_index(repo.path) as snapshot:
        child = os.fork()
        if child == 0:
            snapshot.close()
            os._exit(0)
        os.waitpid(child, 0)
        assert snapshot.read("requirements/power.yaml")


def test_an_export_in_use_is_not_swept(repo: Repo, temporary: Path) -> None:
    with open_index(repo.path) as first, open_commit(repo.path, "HEAD") as second:
        open_index(repo.path).close()
        assert first.read("analyses/energy.py") == second.read("analyses/energy.py")
        strange = temporary / "closeout-snapshot-not-ours"
        strange.mkdir()
        open_index(repo.path).close()
        assert strange.exists()  # without a lock it is not known to be left behind


WAITING = "#!/bin/sh\necho $$ > '{marker}'\nexec sleep 60\n"


def test_a_kill_in_the_middle_of_an_export_leaves_everything_as_it_was(
    repo: Repo, temporary: Path, tmp_path: Path
) -> None:
    repo.write(".gitattributes", "*.py filter=slow\n")
    repo.commit()
    repo.write("requirements/power.yaml", "staged\n")
    repo.git("add", "--all")
    repo.write("requirements/power.yaml", "staged\nand more\n")
    repo.write("untracked", "x")
    marker, script = tmp_path / "marker", tmp_path / "slow.sh"
    script.write_text(WAITING.format(marker=marker))
    script.chmod(0o755)
    repo.git("config", "filter.slow.smudge", f"'{script}'")
    before = state(repo.path)
    code = f"from closeout.snapshot import open_index\nfrom pathlib import Path\n" \
        f"open_index(Path({str(repo.path)!r}))"  # fmt: skip
    process = subprocess.Popen([sys.executable, "-c", code])
    filter_process = int(_content_of(marker))
    assert any(temporary.rglob("tree/analyses/data/soak.csv"))  # it was in the middle
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    os.kill(filter_process, signal.SIGKILL)
    assert state(repo.path) == before
    assert not (repo.path / ".git/index.lock").exists()
    repo.git("config", "--unset", "filter.slow.smudge")
    _until(lambda: _sweeps(repo, temporary))


def _sweeps(repo: Repo, temporary: Path) -> bool:
    """Whether the next export, which works, removes what the killed one left."""
    with open_index(repo.path) as snapshot:
        assert snapshot.read("requirements/power.yaml") == b"staged\n"
    return list(temporary.iterdir()) == []


def _content_of(marker: Path) -> str:
    _until(lambda: marker.exists() and marker.read_text().endswith("\n"))
    return marker.read_text()


def _until(holds: Callable[[], bool]) -> None:
    for _ in range(int(BACKSTOP / 0.02)):
        if holds():
            return
        time.sleep(0.02)
    raise AssertionError("it never came")
