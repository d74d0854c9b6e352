"""The store may vanish, be damaged or be locked at any moment: then it knows nothing."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import closeout
from closeout.store import database
from closeout.store.database import ASIDE, FILE, MOST_TRACES, Store, open_store


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / ".closeout"


_OPENED: list[Store] = []


@pytest.fixture(autouse=True)
def _closing() -> Iterator[None]:
    yield
    while _OPENED:
        _OPENED.pop().close()


def opened(folder: Path | None) -> Store:
    """Return a store that is closed at the end of the test."""
    store = open_store(folder)
    _OPENED.append(store)
    return store


def fill(folder: Path, count: int = 300) -> None:
    store = opened(folder)
    store.put_many("k", [(f"key {i}", f"value {i} " * 40) for i in range(count)])
    store.keep_traces([(f"asked {i}", "t", f"answer {i} " * 40) for i in range(count)])
    store.close()
    assert store.notes == []


def check(folder: Path, count: int = 300) -> tuple[int, Store]:
    """Read everything: what is found is right. Return how much, and the store."""
    store = opened(folder)
    found = store.get_many("k", [f"key {i}" for i in range(count)])
    for key, value in found.items():
        assert value == f"value {key.split()[1]} " * 40
    traces = store.traces([f"asked {i}" for i in range(count)])
    for asked, values in traces.items():
        assert values == [f"answer {asked.split()[1]} " * 40]
    return len(found) + len(traces), store


def test_what_was_put_is_found(folder: Path) -> None:
    fill(folder, 1200)
    found, store = check(folder, 1200)
    assert found == 2400
    assert store.get("k", "other") is store.get("other", "key 1") is None
    store.put("k", "key 1", "new ü \udcff \ud800 \0")
    assert store.get("k", "key 1") == "new ü \udcff \ud800 \0"
    store.close()
    assert (folder / ".gitignore").read_text() == "*\n"
    assert sorted(os.listdir(folder)) == [".gitignore", FILE]


def test_no_connection_is_left_open_where_something_goes_wrong(folder: Path) -> None:
    """SQLite removes its logs when the last connection is closed."""

    def fail(store: Store) -> None:
        store.put("k", "a", "b")
        assert len(os.listdir(folder)) > 2
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), open_store(folder) as store:
        fail(store)
    assert sorted(os.listdir(folder)) == [".gitignore", FILE]


def test_old_traces_are_dropped(folder: Path) -> None:
    store = opened(folder)
    for i in range(3 * MOST_TRACES):
        store.keep_traces([("asked", f"t{i}", str(i)), ("other", f"t{i % 2}", str(i))])
    last = 3 * MOST_TRACES - 1
    assert store.traces(["asked"]) == {"asked": [str(last - i) for i in range(MOST_TRACES)]}
    assert store.traces(["other"]) == {"other": [str(last), str(last - 1)]}
    store.close()


def test_of_a_kind_only_the_newest_stay(folder: Path) -> None:
    store = opened(folder)
    store.put("other", "x", "y")
    for i in range(10):
        store.put("run", f"{i}", "v", most=3)
    store.put("run", "8", "w", most=3)
    found = store.get_many("run", [str(i) for i in range(10)])
    assert found == {"7": "v", "8": "w", "9": "v"}
    assert store.get("other", "x") == "y"
    store.close()


def test_in_memory() -> None:
    store = opened(None)
    store.put("k", "a", "b")
    assert store.get("k", "a") == "b"
    store.close()


# damage


@pytest.mark.parametrize(
    "content", [b"", b"garbage", b"SQLite format 3\0" + b"\xff" * 5000, b"\x00\x9e" * 5000]
)
def test_a_file_that_is_no_database(folder: Path, content: bytes) -> None:
    fill(folder)
    (folder / FILE).write_bytes(content)
    found, store = check(folder)
    assert found == 0
    store.put("k", "key 1", "value 1 " * 40)
    store.close()
    assert (store.notes == []) is (content == b"")
    assert check(folder)[0] == 1
    if content:
        assert (folder / ASIDE).read_bytes() == content
        assert ASIDE in store.notes[0]


@pytest.mark.parametrize("part", [0.02, 0.3, 0.7, 0.999])
def test_a_file_that_was_cut_off(folder: Path, part: float) -> None:
    fill(folder)
    size = (folder / FILE).stat().st_size
    os.truncate(folder / FILE, int(size * part))
    _, store = check(folder)
    store.put("k", "key 1", "value 1 " * 40)
    store.close()
    found, store = check(folder)
    assert found >= 1
    assert store.notes == []


def test_flipped_bytes_in_a_value_are_a_miss(folder: Path) -> None:
    """SQLite does not see them: there is no check sum on its pages."""
    fill(folder)
    path = folder / FILE
    content = path.read_bytes()
    for old, new in ((b"value 7 value", b"value 8 value"), (b"answer 9 ans", b"answer 3 ans")):
        assert old in content
        content = content.replace(old, new, 1)
    path.write_bytes(content)
    found, store = check(folder)
    assert found == 598
    assert store.get("k", "key 7") is None
    store.put("k", "key 7", "value 7 " * 40)
    store.close()
    assert check(folder)[0] == 599


def test_a_row_under_another_s_key_is_a_miss(folder: Path) -> None:
    fill(folder)
    with sqlite3.connect(folder / FILE) as connection:
        connection.execute("DELETE FROM kept WHERE key = 'key 1'")
        connection.execute("UPDATE kept SET key = 'key 1' WHERE key = 'key 2'")
        connection.execute("UPDATE kept SET value = 'text' WHERE key = 'key 3'")
    connection.close()
    store = opened(folder)
    assert store.get_many("k", ["key 1", "key 2", "key 3"]) == {}
    store.close()


@pytest.mark.parametrize("seed", range(30))
def test_random_damage(folder: Path, seed: int) -> None:
    fill(folder, 60)
    chance = random.Random(seed)
    content = bytearray((folder / FILE).read_bytes())
    for _ in range(chance.choice([1, 10, 300])):
        place = chance.randrange(len(content))
        content[place] ^= 1 << chance.randrange(8)
    if seed % 3 == 0:  # a sector of garbage
        place = chance.randrange(len(content) // 512) * 512
        content[place : place + 512] = chance.randbytes(512)
    (folder / FILE).write_bytes(bytes(content))
    _, store = check(folder, 60)
    store.put_many("k", [(f"key {i}", f"value {i} " * 40) for i in range(60)])
    store.keep_traces([(f"asked {i}", "t", f"answer {i} " * 40) for i in range(60)])
    store.close()
    # It mends itself: by the second time at the latest all is known again.
    _, store = check(folder, 60)
    store.put_many("k", [(f"key {i}", f"value {i} " * 40) for i in range(60)])
    store.keep_traces([(f"asked {i}", "t", f"answer {i} " * 40) for i in range(60)])
    store.close()
    assert check(folder, 60)[0] == 120


@pytest.mark.parametrize("tail", ["-wal", "-shm"])
def test_a_damaged_log(folder: Path, tail: str) -> None:
    fill(folder)
    (folder / (FILE + tail)).write_bytes(os.urandom(100_000))
    found, store = check(folder)
    assert found in (0, 600)
    store.close()


def test_a_file_that_has_grown_too_large_begins_anew(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(folder)
    monkeypatch.setattr(database, "LARGEST_FILE", 10_000)
    (folder / (FILE + "-wal")).write_bytes(b"of the old file")
    store = opened(folder)
    assert not (folder / FILE).exists()
    assert not (folder / (FILE + "-wal")).exists()
    assert store.get("k", "key 1") is None
    store.close()


# what stands in the way


def test_the_folder_is_a_file(folder: Path) -> None:
    folder.write_text("mine")
    works_in_memory(opened(folder), "cannot be written")
    assert folder.read_text() == "mine"


def test_the_folder_is_a_link(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    folder.symlink_to(tmp_path / "elsewhere")
    works_in_memory(opened(folder), "symbolic link")
    assert os.listdir(tmp_path / "elsewhere") == []


def test_the_file_is_a_folder(folder: Path) -> None:
    (folder / FILE).mkdir(parents=True)
    works_in_memory(opened(folder), "could not be used")


def works_in_memory(store: Store, note: str) -> None:
    store.put("k", "a", "b")
    store.put("k", "c", "d")
    assert store.get("k", "c") == "d"
    store.close()
    assert len(store.notes) == 1
    assert note in store.notes[0]


READ_ONLY = """
import sys
from pathlib import Path
from closeout.store.database import open_store
store = open_store(Path(sys.argv[1]))
store.put("k", "new", "b")
print([store.get("k", "new"), len(store.notes)])
store.close()
"""


@pytest.mark.parametrize("filled", [True, False])
def test_a_folder_that_cannot_be_written(filled: bool) -> None:
    """As a user without the right; root has every right, so it becomes another one here."""
    top = Path(tempfile.mkdtemp(dir="/tmp"))
    try:
        if filled:
            fill(top / "c")
        else:
            (top / "c").mkdir()
        for path in (top / "c").iterdir():
            path.chmod(0o444)
        (top / "c").chmod(0o555)
        top.chmod(0o755)
        source = top / "trace"
        shutil.copytree(Path(closeout.__file__).parent, source / "closeout")
        other = {"user": 65534, "group": 65534} if os.getuid() == 0 else {}
        python = sys.executable if os.getuid() else "/usr/bin/python3"
        if not Path(python).exists():
            pytest.skip("no Python that another user may run")
        done = subprocess.run(
            [python, "-c", READ_ONLY, str(top / "c")], cwd="/", env={"PYTHONPATH": str(source)},
            capture_output=True, text=True, check=False, **other,  # type: ignore[arg-type]
        )  # fmt: skip
        assert (done.stdout.strip(), done.stderr) == ("['b', 1]", "")
    finally:
        (top / "c").chmod(0o755)
        shutil.rmtree(top)


# several at once


def test_locked_for_a_while(folder: Path) -> None:
    fill(folder)
    other = sqlite3.connect(folder / FILE, check_same_thread=False, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    timer = threading.Timer(0.4, lambda: other.execute("COMMIT"))
    timer.start()
    store = opened(folder)
    assert store.get("k", "key 1") == "value 1 " * 40
    store.put("k", "a", "b")
    timer.join()
    assert store.get("k", "a") == "b"
    assert store.notes == []
    store.close()
    other.close()


def test_locked_for_good(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One wait, not one for each use: after the first it goes on in memory for good."""
    fill(folder)
    monkeypatch.setattr(database, "LONGEST_WAIT", 0.3)
    other = sqlite3.connect(folder / FILE, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    store = opened(folder)
    store.put("k", "first", "b")
    other.execute("COMMIT")
    store.put("k", "second", "b")
    assert store.get("k", "first") == store.get("k", "second") == "b"
    assert other.execute("SELECT key FROM kept WHERE value = 'b'").fetchall() == []
    assert len(store.notes) == 1
    assert "locked" in store.notes[0]
    store.close()
    other.close()


WRITER = """
import sys
from pathlib import Path
from closeout.store.database import open_store
name = sys.argv[2]
store = open_store(Path(sys.argv[1]))
print("ready", flush=True)
for i in range(int(sys.argv[3])):
    store.put("k", f"{name} {i}", f"{name} {i}" * 50)
    store.keep_traces([(f"{name} {i}", "t", name * 50), ("shared", f"{name} {i}", name)])
    assert store.get("k", f"{name} {i}") == f"{name} {i}" * 50
    assert store.traces([f"{name} {i}"]) == {f"{name} {i}": [name * 50]}
store.close()
print(store.notes)
"""


def writer(folder: Path, name: str, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), name, str(count)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_several_processes_at_once(folder: Path) -> None:
    """Also where all of them make the file."""
    processes = [writer(folder, name, 25) for name in "abcdef"]
    for process in processes:
        out, err = process.communicate(timeout=60)
        assert err == ""
        assert out.splitlines()[-1] == "[]"
    store = opened(folder)
    for name in "abcdef":
        keys = [f"{name} {i}" for i in range(25)]
        assert store.get_many("k", keys) == {key: key * 50 for key in keys}
    store.close()


@pytest.mark.parametrize("after", [0.0, 0.003, 0.01, 0.03, 0.1])
def test_killed_while_it_writes(folder: Path, after: float) -> None:
    process = writer(folder, "a", 100_000)
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(after)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    store = opened(folder)
    found = store.get_many("k", [f"a {i}" for i in range(2000)])
    assert all(value == key * 50 for key, value in found.items())
    store.put("k", "a", "b")
    assert store.get("k", "a") == "b"
    store.close()
    assert store.notes == []


def test_threads_of_one_process(folder: Path) -> None:
    store = opened(folder)
    failed: list[BaseException] = []

    def work(name: str) -> None:
        try:
            for i in range(60):
                store.put("k", f"{name} {i}", name)
                assert store.get("k", f"{name} {i}") == name
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=work, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert store.notes == []
    store.close()
