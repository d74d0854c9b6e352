"""The SQLite file: values by kind and key, and traces by what was asked.

Safe for several runs at once and for a kill at any moment: write-ahead logging, short
transactions, and a check sum on every value, so that a damaged page is a miss and no wrong answer.
"""

from __future__ import annotations

import hashlib
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, Self, TypeVar

T = TypeVar("T")

FILE = "store.sqlite3"
ASIDE = "damaged.sqlite3"
LONGEST_WAIT = 10.0  # seconds, for another run to finish a transaction
RETRY_AFTER = 0.02  # s
# A page or a sector of garbage must not pass for a value.
CHECK_BYTES = 16
LARGEST_FILE = 512 * 1024 * 1024
# How many states of its dependencies are remembered for one question (branches, what-ifs).
MOST_TRACES = 12
CHUNK = 500

_SCHEMA = """
CREATE TABLE IF NOT EXISTS kept (
    id INTEGER PRIMARY KEY, kind TEXT NOT NULL, key TEXT NOT NULL, value BLOB NOT NULL,
    UNIQUE (kind, key));
CREATE TABLE IF NOT EXISTS traces (
    id INTEGER PRIMARY KEY, asked TEXT NOT NULL, trace TEXT NOT NULL, value BLOB NOT NULL,
    UNIQUE (asked, trace));
"""
_KEEP = "INSERT OR REPLACE INTO kept (kind, key, value) VALUES (?, ?, ?)"


class Store:
    """What earlier runs stored. Reading and writing never raise; ``notes`` says what went wrong.

    As a context it is closed at the end; Python 3.13 warns of a connection that nobody closed.
    """

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._connection: sqlite3.Connection | None = None
        self._lock = threading.Lock()  # files are read while modules are described
        self.notes: list[str] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        self.close()

    # kind and key -> value

    def get(self, kind: str, key: str) -> str | None:
        """Return the value stored under a kind and a key, or None."""
        return self.get_many(kind, [key]).get(key)

    def get_many(self, kind: str, keys: Iterable[str]) -> dict[str, str]:
        """Return those of the values asked for that are stored, by key."""
        found: dict[str, str] = {}
        for some in _chunks(list(keys)):
            marks = ",".join("?" * len(some))
            query = f"SELECT key, value FROM kept WHERE kind = ? AND key IN ({marks})"
            rows = self._rows(query, [kind, *some])
            for key, blob in rows:
                value = _unseal(blob, kind, key)
                if value is not None:
                    found[key] = _text(value)
        return found

    def content(self, kind: str, key: str) -> bytes | None:
        """Return the bytes stored under a kind and a key, or None."""
        query = "SELECT value FROM kept WHERE kind = ? AND key = ?"
        for (blob,) in self._rows(query, [kind, key]):
            return _unseal(blob, kind, key)
        return None

    def put_content(self, kind: str, key: str, content: bytes, room: int) -> None:
        """Keep bytes; of their kind the newest stay that have ``room`` together, in bytes."""
        sealed = _seal(content, kind, key)

        def write(connection: sqlite3.Connection) -> None:
            connection.execute(_KEEP, (kind, key, sealed))
            connection.execute(
                "DELETE FROM kept WHERE id IN (SELECT id FROM (SELECT id, SUM(LENGTH(value))"
                " OVER (ORDER BY id DESC) AS taken FROM kept WHERE kind = ?) WHERE taken > ?)",
                (kind, max(room, len(sealed))),
            )

        self._do(write, None)

    def put_many(
        self, kind: str, values: Iterable[tuple[str, str]], most: int | None = None
    ) -> None:
        """Keep values by key, in one transaction; of the kind only the ``most`` newest stay."""
        rows = [(kind, key, _seal(_bytes(value), kind, key)) for key, value in values]

        def write(connection: sqlite3.Connection) -> None:
            connection.executemany(_KEEP, rows)
            if most is not None:
                connection.execute(
                    "DELETE FROM kept WHERE kind = ? AND id NOT IN"
                    " (SELECT id FROM kept WHERE kind = ? ORDER BY id DESC LIMIT ?)",
                    (kind, kind, most),
                )

        if rows:
            self._do(write, None)

    def put(self, kind: str, key: str, value: str, most: int | None = None) -> None:
        """Keep one value; of its kind only the ``most`` newest stay."""
        self.put_many(kind, [(key, value)], most)

    def holds_any(self, kind: str) -> bool:
        """Return whether anything of a kind is stored."""
        return bool(self._rows("SELECT 1 FROM kept WHERE kind = ? LIMIT 1", [kind]))

    # what was asked -> traces with their values

    def traces(self, asked: Iterable[str]) -> dict[str, list[str]]:
        """Return the values stored for each question's key, the newest first."""
        found: dict[str, list[str]] = {}
        for some in _chunks(list(asked)):
            marks = ",".join("?" * len(some))
            query = (
                f"SELECT asked, trace, value FROM traces WHERE asked IN ({marks}) ORDER BY id DESC"
            )
            rows = self._rows(query, some)
            for key, trace, blob in rows:
                value = _unseal(blob, key, trace)
                if value is not None:
                    found.setdefault(key, []).append(_text(value))
        return found

    def keep_traces(self, rows: Iterable[tuple[str, str, str]]) -> None:
        """Keep (asked, digest of the trace, value) rows; old traces of a question are dropped."""
        sealed = [
            (asked, trace, _seal(_bytes(value), asked, trace)) for asked, trace, value in rows
        ]

        def write(connection: sqlite3.Connection) -> None:
            connection.executemany(
                "INSERT OR REPLACE INTO traces (asked, trace, value) VALUES (?, ?, ?)", sealed
            )
            connection.executemany(
                "DELETE FROM traces WHERE asked = ? AND id NOT IN"
                " (SELECT id FROM traces WHERE asked = ? ORDER BY id DESC LIMIT ?)",
                [(asked, asked, MOST_TRACES) for asked in {row[0] for row in sealed}],
            )

        if sealed:
            self._do(write, None)

    def close(self) -> None:
        """Close the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    # the file

    def _rows(self, query: str, values: list[str]) -> list[tuple[Any, ...]]:
        nothing: list[tuple[Any, ...]] = []
        return self._do(lambda connection: connection.execute(query, values).fetchall(), nothing)

    def _do(self, work: Callable[[sqlite3.Connection], T], otherwise: T) -> T:
        """Do work in one transaction; a damaged file is set aside and the work done anew."""
        with self._lock:
            until = time.monotonic() + LONGEST_WAIT
            left = 2
            while left:
                left -= 1
                try:
                    with self._open() as connection:
                        return work(connection)
                except sqlite3.OperationalError as error:
                    if _is_locked(error) and time.monotonic() < until:
                        # SQLite does not wait where two runs make the file's log at once.
                        left += 1
                        time.sleep(RETRY_AFTER)
                    elif not _is_damage(error):
                        self._say(f"the store in .closeout could not be used ({error}); going on")
                        self._give_up()  # else each further use might wait as long
                    else:
                        self._set_aside(error)
                except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
                    self._set_aside(error)
                except OSError as error:
                    self._say(f"nothing is kept: .closeout cannot be written ({error.strerror})")
                    self._give_up()
            return otherwise

    def _open(self) -> sqlite3.Connection:
        if self._connection is not None:
            return self._connection
        place = ":memory:" if self._folder is None else str(_prepared(self._folder) / FILE)
        connection = sqlite3.connect(place, timeout=LONGEST_WAIT, check_same_thread=False)
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = NORMAL")
            connection.executescript(_SCHEMA)
        except BaseException:
            connection.close()
            raise
        self._connection = connection
        return connection

    def _set_aside(self, error: Exception) -> None:
        self.close()
        if self._folder is None:
            return
        try:
            (self._folder / FILE).replace(self._folder / ASIDE)
            _remove_logs(self._folder)
        except FileNotFoundError:
            pass  # another run has set it aside
        except OSError:
            self._give_up()
        self._say(f"the store was damaged ({error}); set aside as {ASIDE}, made anew")

    def _give_up(self) -> None:
        """Go on in memory."""
        self.close()
        self._folder = None

    def _say(self, note: str) -> None:
        if note not in self.notes:
            self.notes.append(note)


def open_store(folder: Path | None) -> Store:
    """Return the store in a folder (made at the first write), or one in memory for None."""
    if folder is not None and folder.is_symlink():
        store = Store(None)
        store.notes.append("nothing is kept: .closeout is a symbolic link; remove it")
        return store
    if folder is not None:
        _shrink(folder)
    return Store(folder)


def _prepared(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    ignore = folder / ".gitignore"
    if not ignore.exists():
        ignore.write_text("*\n", encoding="utf-8")
    return folder


def _shrink(folder: Path) -> None:
    """Begin anew where the file has grown past its bound; what is stored can be computed again."""
    try:
        if (folder / FILE).stat().st_size > LARGEST_FILE:
            # The logs first: a log of the old file must not be taken for one of the new.
            _remove_logs(folder)
            (folder / FILE).unlink()
    except OSError:
        pass


def _remove_logs(folder: Path) -> None:
    for tail in ("-wal", "-shm"):
        (folder / (FILE + tail)).unlink(missing_ok=True)


def _is_locked(error: sqlite3.OperationalError) -> bool:
    return "locked" in str(error) or "busy" in str(error)


def _is_damage(error: sqlite3.OperationalError) -> bool:
    text = str(error)
    signs = ("malformed", "no such column", "no such table", "Could not decode")
    return any(sign in text for sign in signs)


def _seal(content: bytes, *about: str) -> bytes:
    return _check(content, about) + content


def _unseal(blob: object, *about: str) -> bytes | None:
    if not isinstance(blob, bytes) or blob[:CHECK_BYTES] != _check(blob[CHECK_BYTES:], about):
        return None
    return blob[CHECK_BYTES:]


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def _text(content: bytes) -> str:
    return content.decode("utf-8", "surrogatepass")


def _check(content: bytes, about: tuple[str, ...]) -> bytes:
    state = hashlib.blake2b(content, digest_size=CHECK_BYTES)
    state.update("\0".join(about).encode())
    return state.digest()


def _chunks(items: list[str]) -> Iterator[list[str]]:
    for start in range(0, len(items), CHUNK):
        yield items[start : start + CHUNK]
