"""Reading a folder: which files are seen, which are refused, and that nothing leads out."""

from __future__ import annotations

import errno
import hashlib
import os
import socket
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from closeout.model.identity import SnapshotIdentity
from closeout.snapshot import Snapshot, find_root, open_tree, store_folder


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = tmp_path / "project"
    for path in ("requirements/project.yaml", "requirements/a/b.yaml", "analyses/x.py"):
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(path)
    return root


def at(root: Path) -> Snapshot:
    return Snapshot(root, SnapshotIdentity("tree", None, None))


def found(snapshot: Snapshot) -> list[tuple[str, str]]:
    return [(problem.rule, problem.path) for problem in snapshot.problems()]


def test_files_are_sorted_and_only_those_of_the_two_folders(root: Path) -> None:
    for path in ("README.md", "requirements/.hidden.yaml", "requirements/.swap/x.yaml"):
        (root / path).parent.mkdir(exist_ok=True)
        (root / path).write_text("")
    (root / "analyses/__pycache__").mkdir()
    (root / "analyses/__pycache__/x.pyc").write_text("")
    (root / "analyses/é.yaml").write_text("")
    assert at(root).files() == (
        "analyses/x.py",
        "analyses/é.yaml",
        "requirements/a/b.yaml",
        "requirements/project.yaml",
    )
    assert at(root).problems() == ()


def test_every_kind_that_is_no_regular_file_is_a_problem(root: Path) -> None:
    (root / "analyses/folder.py").mkdir()
    (root / "analyses/folder.py/inner.yaml").write_text("")
    os.mkfifo(root / "requirements/pipe.md")
    os.mkfifo(root / "requirements/pipe.dat")  # no text by its name: not ours to refuse
    with socket.socket(socket.AF_UNIX) as listening:
        here = Path.cwd()
        os.chdir(root / "requirements")  # the path of a socket must be short
        try:
            listening.bind("s.yaml")
        finally:
            os.chdir(here)
        snapshot = at(root)
        assert found(snapshot) == [
            ("no-regular-file", "analyses/folder.py"),
            ("no-regular-file", "requirements/pipe.md"),
            ("no-regular-file", "requirements/s.yaml"),
        ]
    assert [p.message.split(" is ")[1].split(",")[0] for p in snapshot.problems()] == [
        "a folder",
        "a named pipe",
        "a socket",
    ]
    assert all(p.cure and (p.line, p.column) == (1, 1) for p in snapshot.problems())
    assert "analyses/folder.py/inner.yaml" in snapshot.files()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may make a device")
def test_a_device_is_a_problem(root: Path) -> None:
    try:
        os.mknod(root / "analyses/null.py", 0o020666, os.makedev(1, 3))
    except PermissionError:
        pytest.skip("this container may not make a device")
    assert found(at(root)) == [("no-regular-file", "analyses/null.py")]
    with pytest.raises(OSError, match=r"regular|permitted|denied"):
        at(root).read("analyses/null.py")


def test_symbolic_links_are_problems_and_not_followed(root: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").mkdir()
    (tmp_path / "secret/s.yaml").write_text("secret")
    (root / "requirements/file.yaml").symlink_to(tmp_path / "secret/s.yaml")
    (root / "requirements/folder").symlink_to(tmp_path / "secret")
    (root / "analyses/dangling").symlink_to("nowhere")
    (root / "analyses/inside.py").symlink_to("x.py")
    (root / "requirements/.#lock").symlink_to("user@host")  # an editor's, and hidden
    snapshot = at(root)
    links = ["analyses/dangling", "analyses/inside.py", "requirements/file.yaml"]
    assert found(snapshot) == [
        *(("symbolic-link", path) for path in links),
        ("symbolic-link", "requirements/folder"),
    ]
    for path in (*links, "requirements/folder/s.yaml"):
        assert path not in snapshot.files()
        assert snapshot.digest(path) is None
        with pytest.raises(OSError, match=path):
            snapshot.read(path)
    assert snapshot.listing("requirements/folder") is None


@pytest.mark.parametrize("name", ["requirements", "analyses"])
def test_a_judged_folder_may_itself_be_no_link(root: Path, tmp_path: Path, name: str) -> None:
    (root / name).rename(tmp_path / "elsewhere")
    (root / name).symlink_to(tmp_path / "elsewhere")
    assert ("symbolic-link", name) in found(at(root))
    assert not any(path.startswith(name) for path in at(root).files())


def test_a_file_in_place_of_a_folder(root: Path) -> None:
    (root / "analyses/x.py").unlink()
    (root / "analyses").rmdir()
    (root / "analyses").write_text("")
    assert found(at(root)) == [("no-regular-file", "analyses")]


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        (b"a\xff.yaml", r"requirements/a\xff.yaml"),
        (b"a\nb.yaml", r"requirements/a\x0ab.yaml"),
        (b"a\x1b[31m.yaml", r"requirements/a\x1b[31m.yaml"),
        ("a\x85.yaml".encode(), r"requirements/a\x85.yaml"),
        ("a\u2028.yaml".encode(), r"requirements/a\u2028.yaml"),
        ("a\u202elmay.yaml".encode(), r"requirements/a\u202elmay.yaml"),
    ],
)
def test_a_bad_name_is_a_problem_and_shown_escaped(root: Path, name: bytes, shown: str) -> None:
    (root / "requirements" / os.fsdecode(name)).write_text("")
    snapshot = at(root)
    assert found(snapshot) == [("bad-name", shown)]
    assert len(snapshot.files()) == 3
    snapshot.problems()[0].message.encode("utf-8")


@pytest.fixture
def as_somebody() -> Iterator[None]:
    """Root may read everything, so such a test is run as the user nobody."""
    if os.geteuid() == 0:
        os.seteuid(65534)
        yield
        os.seteuid(0)
    else:
        yield


def test_an_unreadable_folder_is_a_problem(
    root: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    for folder in (tmp_path, *tmp_path.parents):
        if folder == Path(tempfile.gettempdir()):
            break
        folder.chmod(folder.stat().st_mode | 0o055)
    (root / "requirements/a").chmod(0)
    request.getfixturevalue("as_somebody")
    snapshot = at(root)
    assert found(snapshot) == [("no-regular-file", "requirements/a")]
    assert "cannot be read" in snapshot.problems()[0].message


@pytest.mark.parametrize(
    "path",
    ["../outside", "/etc/hostname", "", ".", "requirements/../x", "a//b", "a/", "a\0b", "\ud800"],
)
def test_a_path_stays_inside(root: Path, path: str) -> None:
    (root.parent / "outside").write_text("outside")
    with pytest.raises(OSError, match=r"."):
        at(root).read(path)
    assert at(root).digest(path) is None


def test_what_cannot_be_read_is_an_os_error_that_names_the_path(root: Path) -> None:
    with pytest.raises(FileNotFoundError, match="requirements/none"):
        at(root).read("requirements/none.yaml")
    with pytest.raises(FileNotFoundError, match="no/where"):
        at(root).read("no/where.yaml")
    with pytest.raises(OSError, match="requirements/a"):
        at(root).read("requirements/a")
    os.mkfifo(root / "analyses/pipe")
    with pytest.raises(OSError, match="analyses/pipe"):  # and does not wait for a writer
        at(root).read("analyses/pipe")
    assert at(root).digest("analyses/pipe") is None


def test_descriptors_are_given_back(root: Path) -> None:
    (root / "requirements/link").symlink_to("a")
    snapshot = at(root)
    before = len(os.listdir("/proc/self/fd"))
    for path in ("requirements/a/b.yaml", "requirements/link/b.yaml", "requirements/a", "none"):
        snapshot.digest(path)
        snapshot.listing(path)
        with suppress(OSError):
            snapshot.read(path)
    assert len(os.listdir("/proc/self/fd")) == before


# BLAKE2b with 32 bytes; b2sum -l 256 (GNU coreutils) gives the same two:
# printf abc | b2sum -l 256 ; printf '' | b2sum -l 256
@pytest.mark.parametrize(
    ("text", "digest"),
    [
        ("abc", "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319"),
        ("", "0e5751c026e543b2e8ab2eb06099daa1d1e5df47778f7787faab45cdf12fe3a8"),
    ],
)
def test_digest_is_blake2b_256_of_the_content(root: Path, text: str, digest: str) -> None:
    (root / "analyses/d").write_text(text)
    assert at(root).digest("analyses/d") == digest


def test_same_size_and_same_time_but_other_content_is_another_digest(root: Path) -> None:
    file = root / "analyses/x.py"
    before = at(root).digest("analyses/x.py")
    status = file.stat()
    file.write_text("analyses/y.py")
    os.utime(file, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert file.stat().st_size == status.st_size
    assert at(root).digest("analyses/x.py") != before


def test_a_snapshot_keeps_what_it_saw(root: Path) -> None:
    snapshot = at(root)
    first = snapshot.digest("analyses/x.py")
    (root / "analyses/x.py").write_text("edited meanwhile")
    assert snapshot.digest("analyses/x.py") == first
    with pytest.raises(OSError, match="changed while") as caught:
        snapshot.read("analyses/x.py")
    assert caught.value.errno == errno.ESTALE


def test_what_was_read_decides_the_digest(root: Path) -> None:
    snapshot = at(root)
    data = snapshot.read("analyses/x.py")
    (root / "analyses/x.py").write_text("edited meanwhile")
    assert snapshot.digest("analyses/x.py") == hashlib.blake2b(data, digest_size=32).hexdigest()


def test_listing_sees_names_and_which_are_folders(root: Path) -> None:
    def now() -> str | None:
        return at(root).listing("requirements")

    first = now()
    assert first is not None
    (root / "requirements/a/b.yaml").write_text("content is no matter")
    assert now() == first
    (root / "requirements/new").write_text("")
    with_file = now()
    (root / "requirements/new").unlink()
    (root / "requirements/new").mkdir()
    assert len({first, with_file, now()}) == 3


def test_listings_do_not_run_together(root: Path) -> None:
    for folder, names in (("p", ["ab", "c"]), ("q", ["a", "bc"]), ("r", [])):
        (root / "analyses" / folder).mkdir()
        for name in names:
            (root / "analyses" / folder / name).write_text("")
    digests = {at(root).listing(f"analyses/{folder}") for folder in "pqr"}
    assert len(digests) == 3
    assert None not in digests


def test_listing_of_the_root_is_not_moved_by_tools(root: Path) -> None:
    before = at(root).listing("")
    assert before == at(root).listing(".")
    for name in (".git", ".closeout", "__pycache__"):
        (root / name).mkdir()
    assert at(root).listing("") == before
    assert at(root).listing("README") is None
    assert at(root).listing("analyses/x.py") is None
    assert at(root).listing("..") is None


def test_find_root_is_the_nearest_project(root: Path) -> None:
    inner = root / "analyses/inner"
    (inner / "requirements").mkdir(parents=True)
    assert find_root(root / "analyses/x.py") == root.resolve()
    assert find_root(inner) == root.resolve()
    (inner / "requirements/project.yaml").write_text("")
    assert find_root(inner / "requirements") == inner.resolve()
    assert find_root(root.parent) is None


def test_store_folder_is_in_the_project(root: Path) -> None:
    assert store_folder(root) == root / ".closeout"


def test_a_tree_may_be_closed_and_stays(root: Path) -> None:
    with open_tree(root) as snapshot:
        assert snapshot.root == root.resolve()
    assert (root / "requirements/project.yaml").exists()
