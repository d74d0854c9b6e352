"""What became of the tests that analyses name: from the store where it still holds, else by pytest.

A result is stored under the whole state: the digest of every file of the project (the test,
conftest and configuration of pytest among them), every installed distribution with its version,
Python and the engine. A test may read and import whatever it likes, and start processes; what it
rested on is therefore not noted, and any change of the state makes it unknown again; but that a
test failed is known until it is run again.

Tests run in a folder that holds the files of the state and nothing else, so that no file that git
ignores, and no module that Python compiled, has part in a result that does not name it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from closeout.model.validation import NamedTest, Tested, is_named
from closeout.snapshot import Snapshot, SnapshotError
from closeout.snapshot.names import shown
from closeout.store.database import Store
from closeout.store.keys import dist_infos, engine_fingerprint, key_of

if TYPE_CHECKING:  # loaded where tests are run
    from closeout.evaluate.pytests import TestedFile

Progress = Callable[[int, int], None]

# Processor time of one test in s, where the project's policy does not say.
TEST_LIMIT = 300.0
_KIND, _FAILED = "validation", "failed validation"
_NOT_SINCE = "when it was last run, on another state; closeout verify --validate runs it again"
# States of which results are stored.
_MOST_STATES = 32


def installed_names() -> tuple[str, ...]:
    """Return what is installed: ``numpy-2.4.6.dist-info``, sorted, wherever it stands."""
    return tuple(sorted(Path(folder).name for folder in dist_infos().values()))


def state_key(files: Mapping[str, str | None], installed: Iterable[str]) -> str:
    """Return the key of a state: files with their digests, and installed distributions."""
    return key_of(engine_fingerprint(), _KIND, tuple(installed), tuple(sorted(files.items())))


class StoredResults:
    """The results of named tests that are stored for a state."""

    def __init__(self, snapshot: Snapshot, store: Store) -> None:
        self._snapshot = snapshot
        self._store = store
        self._key: str | None = None

    @property
    def text(self) -> str | None:
        """What is stored for the state, as it stands there; None where there is nothing.

        Where no result of any state is stored, no file is looked at.
        """
        if not self._store.holds_any(_KIND):
            return None
        failed = self._store.get(_FAILED, _FAILED) or ""
        return f"{self._store.get(_KIND, self._of_state()) or ''}\n{failed}"

    def all(self) -> dict[str, NamedTest]:
        """Return what is stored for the state, by the name of the test."""
        return self._rows(_KIND, self._of_state()) if self._store.holds_any(_KIND) else {}

    def failed_before(self) -> dict[str, NamedTest]:
        """Return the tests that failed when they were last run, on whatever state that was.

        A failure is not forgotten with a comment; it ends when the test is run again.
        """
        return {
            name: replace(test, message=f"{test.message} ({_NOT_SINCE})")
            for name, test in self._rows(_FAILED, _FAILED).items()
        }

    def add(self, tests: Iterable[NamedTest]) -> None:
        """Keep further results of the state."""
        new = {test.named: test for test in tests}
        self._put(_KIND, self._of_state(), self.all() | new, _MOST_STATES)
        failed = {name: test for name, test in new.items() if test.state is Tested.FAILED}
        before = self._rows(_FAILED, _FAILED)
        left = {name: test for name, test in before.items() if name not in new}
        if failed or before:
            self._put(_FAILED, _FAILED, left | failed, 1)

    def _rows(self, kind: str, key: str) -> dict[str, NamedTest]:
        text = self._store.get(kind, key)
        return {} if text is None else {name: _read(row) for name, row in json.loads(text).items()}

    def _put(self, kind: str, key: str, tests: Mapping[str, NamedTest], most: int) -> None:
        rows = {name: asdict(test) for name, test in sorted(tests.items())}
        self._store.put(kind, key, json.dumps(rows), most)

    def _of_state(self) -> str:
        if self._key is None:
            files = {path: self._snapshot.digest(path) for path in self._snapshot.everything()}
            self._key = state_key(files, installed_names())
        return self._key


def _read(row: Mapping[str, Any]) -> NamedTest:
    return NamedTest(**{**row, "state": Tested(row["state"])})


def run_tests(
    names: Iterable[str],
    snapshot: Snapshot,
    results: StoredResults,
    jobs: int,
    limit: float,
    progress: Progress | None,
) -> dict[str, NamedTest]:
    """Run tests of a state and return what became of each; what is certain is stored.

    Args:
        names: tests whose files are there: file.py, file.py::function, file.py::Class::function
        limit: processor time of one test in s
    """
    from closeout.evaluate.pytests import PyTests, TestedFile
    from closeout.snapshot.temporary import TemporaryFolder

    by_file: dict[str, list[str]] = {}
    for name in names:
        by_file.setdefault(name.partition("::")[0], []).append(name)
    files = [TestedFile(path, tuple(some)) for path, some in sorted(by_file.items())]
    if not files:
        return {}
    folder = TemporaryFolder()
    try:
        root = folder.path / "tree"
        _write(snapshot, root)
        PyTests(root, folder.path, jobs, limit).run(files, progress)
        found = {name: _result(name, file, root) for file in files for name in file.names}
        results.add(found[name] for file in files if file.lasting for name in file.names)
        return found
    finally:
        folder.close()


def _write(snapshot: Snapshot, root: Path) -> None:
    """Write the files of a state into a new folder; what may be run stays so.

    Raises:
        SnapshotError: a file has changed meanwhile, or there is no room.
    """
    path = ""
    try:
        for path in snapshot.everything():
            target = root / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(snapshot.read(path))
            target.chmod(0o600 | (snapshot.root / path).stat().st_mode & 0o700)
    except OSError as error:
        message = f"{shown(path)} cannot be copied for its tests: {error.strerror}"
        raise SnapshotError(message, "run again, free disk space, or set TMPDIR") from error


def _result(name: str, file: TestedFile, root: Path) -> NamedTest:
    """Return what became of a named test, of all that pytest reported of its file."""
    if file.given_up is not None:
        return _failed(name, file.given_up, root, file.given_up["text"])
    tests = {test: report for test, report in file.ended.items() if is_named(test, name)}
    whole = file.whole
    if whole is not None and whole["outcome"] == "failed":
        return _failed(name, whole, root, f"it cannot be collected: {whole['text']}")
    failed = [(test, report) for test, report in tests.items() if report["outcome"] == "failed"]
    if failed:
        test, report = failed[0]
        more = f"; {len(failed) - 1} more failed" if len(failed) > 1 else ""
        which = "" if test == name else f"{test.removeprefix(file.path + '::')}: "
        return _failed(name, report, root, f"{which}{report['text']}{more}")
    weak = [report["text"] for report in tests.values() if report["outcome"] == "skipped"]
    if whole is not None and not tests:
        return NamedTest(name, Tested.SKIPPED, whole["text"])
    if weak or whole is not None:
        reasons = "; ".join(dict.fromkeys([*weak, *([] if whole is None else [whole["text"]])]))
        return NamedTest(name, Tested.SKIPPED, f"{len(weak)} of {len(tests)} tests: {reasons}")
    if not tests:
        return NamedTest(name, Tested.EMPTY, "pytest finds no test of this name")
    return NamedTest(name, Tested.PASSED)


def _failed(name: str, report: Mapping[str, Any], root: Path, text: str) -> NamedTest:
    """Return a failure with its place in the project, the nearest to what failed."""
    text = text.replace(f"{root}/", "")
    for path, line in report.get("places", ()):
        if not path.startswith("..") and (root / path).is_file():
            return NamedTest(name, Tested.FAILED, text, path, line)
    return NamedTest(name, Tested.FAILED, text, name.partition("::")[0], 1)
