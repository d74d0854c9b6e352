"""Named tests, run by pytest in a few processes: one loop that starts, follows and ends them.

Each process runs some files. What ends before it reported all of them is asked again: the file that
it was at alone, the rest together; a test that used up its time is left out then.
"""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from closeout.evaluate.allowance import CLOCK, PROCESSOR, Allowance, far, spent_by
from closeout.evaluate.environment import bare_environment
from closeout.evaluate.orphans import Orphans
from closeout.store.keys import search_path

Progress = Callable[[int, int], None]
Report = dict[str, Any]

# Seconds by the clock after which a process is looked at, if it reports nothing meanwhile.
_LOOK = 0.5
# What Python compiles is written: the folder is new, and pytest would compile plugins each time.
# It ends with the tool that started it, however that ends: prctl(2), PR_SET_PDEATHSIG is 1.
_START = (
    "import sys, json; given = json.loads(sys.argv[1]); sys.path[:] = ['', *given['path']];"
    " import ctypes; sys.platform == 'linux' and ctypes.CDLL(None).prctl(1, 9, 0, 0, 0);"
    " sys.argv[:] = ['pytest']; from closeout.evaluate.reporter import main; sys.exit(main(given))"
)
# The files in which pytest looks for its configuration, in its order, and what makes them one.
_CONFIGURATIONS = (
    ("pytest.toml", ""),
    (".pytest.toml", ""),
    ("pytest.ini", ""),
    (".pytest.ini", ""),
    ("pyproject.toml", "[tool.pytest"),
    ("tox.ini", "[pytest]"),
    ("setup.cfg", "[tool:pytest]"),
)


@dataclass(slots=True, eq=False)
class TestedFile:
    """A file of named tests: the report of each test in it.

    ``collected`` is None before pytest reported its tests; ``whole`` is the report of the file, or
    of a class in it, instead of tests; ``given_up`` the one that is made since pytest made none.
    ``barred`` did not end and are run no more. ``lasting`` is False where another run may end
    otherwise.
    """

    path: str
    names: tuple[str, ...]
    collected: list[str] | None = None
    ended: dict[str, Report] = field(default_factory=dict)
    barred: list[str] = field(default_factory=list)
    whole: Report | None = None
    given_up: Report | None = None
    lasting: bool = True
    tries: int = 0

    @property
    def is_done(self) -> bool:
        """Whether all is reported."""
        return self.given_up is not None or (
            self.collected is not None and all(test in self.ended for test in self.collected)
        )

    def forget(self) -> None:
        """Begin anew, but for tests that did not end."""
        self.collected, self.whole = None, None
        self.ended = {test: report for test, report in self.ended.items() if test in self.barred}

    def bar(self, test: str, text: str) -> None:
        """Take a test for failed that did not end, and run it no more."""
        self.barred.append(test)
        self.ended[test] = _failed(text)
        self.forget()


@dataclass(slots=True, eq=False)
class _Process:
    """A process of pytest: its files, what it is at, and what that may take."""

    files: list[TestedFile]
    process: subprocess.Popen[bytes]
    pipe: int
    output: Path
    allowance: Allowance
    now: str | None = None
    data: bytes = b""


class PyTests:
    """Runs files of tests in a folder; ``limit`` is the processor time of one test in s."""

    def __init__(self, root: Path, scratch: Path, jobs: int, limit: float) -> None:
        self._root = root
        self._scratch = scratch
        self._jobs = jobs
        self._limit = limit
        self._waiting: list[list[TestedFile]] = []
        self._running: list[_Process] = []
        self._started = 0

    def run(self, files: Iterable[TestedFile], progress: Progress | None = None) -> None:
        """Run files; each holds its reports then."""
        files = list(files)
        self._waiting = _shared(files, self._root, self._jobs)
        orphans = Orphans()
        try:
            with selectors.DefaultSelector() as selector:
                while self._waiting or self._running:
                    self._start(selector)
                    self._follow(selector)
                    if progress is not None:
                        progress(sum(file.is_done for file in files), len(files))
        finally:
            for one in self._running:
                _end(one)
            orphans.end()

    def _start(self, selector: selectors.BaseSelector) -> None:
        while self._waiting and len(self._running) < self._jobs:
            files = self._waiting.pop(0)
            # What may have been ended by the load of the machine is asked when nothing else runs.
            if files[0].tries and self._running:
                self._waiting.insert(0, files)
                return
            one = self._process(files)
            self._running.append(one)
            selector.register(one.pipe, selectors.EVENT_READ, one)

    def _process(self, files: list[TestedFile]) -> _Process:
        self._started += 1
        place = self._scratch / str(self._started)
        place.mkdir()
        read, write = os.pipe()
        os.set_blocking(read, False)
        given = {
            "fd": write,
            "path": search_path(),
            "names": [name for file in files for name in file.names],
            "barred": [test for file in files for test in file.barred],
            "files": [file.path for file in files],
            "arguments": _arguments(self._root, files[0].path, place),
        }
        output = place / "output"
        with output.open("wb") as out:
            process = subprocess.Popen(
                [sys.executable, "-s", "-c", _START, json.dumps(given)],
                cwd=self._root,
                env={**bare_environment(), "TMPDIR": str(place)},
                pass_fds=[write],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                process_group=0,
            )
        os.close(write)
        return _Process(files, process, read, output, Allowance(self._limit))

    def _follow(self, selector: selectors.BaseSelector) -> None:
        """Take what was reported meanwhile, and see to what ended or takes too long."""
        soonest = min((one.allowance.look for one in self._running), default=0.0)
        for key, _ in selector.select(min(_LOOK, max(0.0, soonest - time.monotonic()))):
            self._take(key.data)
        for one in list(self._running):
            ended = one.process.poll() is not None
            if ended or one.allowance.check(one.process.pid):
                self._take(one)
                selector.unregister(one.pipe)
                _end(one)
                self._running.remove(one)
                self._settle(one)

    def _take(self, one: _Process) -> None:
        with contextlib.suppress(BlockingIOError):
            while data := os.read(one.pipe, 1 << 16):
                one.data += data
        *lines, one.data = one.data.split(b"\n")
        for line in lines:
            self._take_report(one, json.loads(line))

    def _take_report(self, one: _Process, report: Report) -> None:
        if "collected" in report:
            for file in one.files:
                begins = f"{file.path}::"
                file.collected = [test for test in report["collected"] if test.startswith(begins)]
        elif "uncollected" in report:
            for file in one.files:
                if file.whole is None and _is_of(file.path, report["uncollected"]):
                    file.whole = report
        elif "began" in report:
            one.now = report["began"]
            one.allowance = Allowance(self._limit, spent_by(one.process.pid) or 0.0)
        elif "ended" in report:
            one.now = None
            for file in one.files:
                if report["ended"].startswith(f"{file.path}::"):
                    file.ended[report["ended"]] = report

    def _settle(self, one: _Process) -> None:
        """See what is left of a process that ended, and ask it again."""
        left = [file for file in one.files if not file.is_done]
        at = [file for file in left if one.now and one.now.startswith(f"{file.path}::")]
        # While files are collected, any of them may be the cause.
        alone = at or left
        rest = [file for file in left if file not in alone]
        for file in alone:
            file.tries += 1
            certain = one.allowance.late == PROCESSOR and len(alone) == 1
            if certain or file.tries > 1:
                self._give_up(file, one)
            file.forget()
            if not file.is_done:
                self._waiting.append([file])
        for file in rest:
            file.forget()
        if rest:
            self._waiting.insert(0, rest)

    def _give_up(self, file: TestedFile, one: _Process) -> None:
        """Take for failed at what a process was that did not tell all of a file."""
        late, status = one.allowance.late, one.process.returncode
        if late == PROCESSOR:
            text = f"it ran longer than {self._limit:g} s of processor time and was ended"
        elif late == CLOCK:
            text = f"it did not end within {far(self._limit):g} s by the clock: it waits"
        else:
            text = _ended(status, one.output)
        file.lasting = file.lasting and not late and status >= 0
        if one.now is None:
            file.given_up = _failed(text)
        else:
            file.bar(one.now, text)


def _is_of(path: str, place: str) -> bool:
    """Return whether a file is at a place or, as below a conftest that fails, in it."""
    return place in (path, ".") or path.startswith(f"{place}/")


def _shared(files: list[TestedFile], root: Path, jobs: int) -> list[list[TestedFile]]:
    """Return files for each process; those of one have the same configuration of pytest."""
    by_configuration: dict[Path | None, list[TestedFile]] = {}
    for file in files:
        by_configuration.setdefault(_configuration(root, file.path), []).append(file)
    shares = [some[n::jobs] for some in by_configuration.values() for n in range(jobs)]
    return [share for share in shares if share]


def _configuration(root: Path, path: str) -> Path | None:
    """Return the nearest file that configures pytest: beside a test, or above it in the project."""
    place = (root / path).parent
    for folder in (place, *place.parents):
        for name, mark in _CONFIGURATIONS:
            with contextlib.suppress(OSError):
                if mark in (folder / name).read_text("utf-8", "replace"):
                    return folder / name
        if folder == root:
            break
    return None


def _arguments(root: Path, path: str, place: Path) -> list[str]:
    found = _configuration(root, path)
    # Without one, pytest would look further up, outside of what is judged.
    chosen = ["-c", os.devnull, f"--rootdir={root}"] if found is None else ["-c", str(found)]
    return [*chosen, f"--confcutdir={root}", "--color=no", "-o", f"cache_dir={place / 'cache'}"]


def _failed(text: str) -> Report:
    return {"outcome": "failed", "text": text, "places": []}


def _ended(status: int, output: Path) -> str:
    lines = output.read_text("utf-8", "replace").splitlines()
    last = next((line.strip() for line in reversed(lines) if line.strip()), "")
    how = f"status {status}"
    if status < 0 and -status in signal.valid_signals():
        how = signal.Signals(-status).name
    return f"pytest ended with {how} before it reported all tests" + (f": {last}" if last else "")


def _end(one: _Process) -> None:
    """End a process, and what it started and left in its group."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(one.process.pid, signal.SIGKILL)
    one.process.wait()
    os.close(one.pipe)
