"""The child's side of named tests: runs pytest and tells its parent of each test, line by line.

What is run are whole files, from which the tests that are named are taken: an identifier that
pytest does not find would keep it from running the rest. A line is JSON: ``collected`` (files
with their tests), ``began``, ``ended``, or ``uncollected`` (a file, or a class in it).
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Generator
from typing import Any

import pytest

from closeout.model.validation import is_named

Tell = Callable[[dict[str, Any]], None]
_PLACE = re.compile(r"^(\S+?\.py):(\d+): ", re.MULTILINE)

# Options that a project's configuration may set and that would leave out what is named, spread it
# over processes of their own, or end the run early. Later options do not unset all of them.
_UNSET: dict[str, Any] = {
    "markexpr": "",
    "keyword": "",
    "maxfail": 0,
    "collectonly": False,
    "usepdb": False,
    "lf": False,
    "stepwise": False,
    "continue_on_collection_errors": True,
    "numprocesses": 0,  # of pytest-xdist, where it is installed
    "distload": False,
    "dist": "no",
    "tx": [],
}


class Reporter:
    """A plugin of pytest that tells what becomes of the tests that are named.

    ``barred`` are tests that are left out all the same, since they did not end before.
    """

    def __init__(self, names: list[str], barred: list[str], tell: Tell) -> None:
        self._names = names
        self._barred = frozenset(barred)
        self._tell = tell
        self._ids: dict[str, str] = {}
        self._said: dict[str, list[Any]] = {}
        self._here = os.getcwd()
        self._root = self._here

    @pytest.hookimpl(wrapper=True)
    def pytest_cmdline_main(self, config: pytest.Config) -> Generator[None, Any, Any]:
        """Unset what would keep a named test from being run here."""
        self._root = str(config.rootpath)
        for option, value in _UNSET.items():
            if hasattr(config.option, option):
                setattr(config.option, option, value)
        return (yield)

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Leave in what is named."""
        selected = []
        found: list[str] = []
        for item in items:
            name = self._path(str(item.path)) + "::" + item.nodeid.partition("::")[2]
            if any(is_named(name, named) for named in self._names):
                found.append(name)
                if name not in self._barred:
                    self._ids[item.nodeid] = name
                    selected.append(item)
        items[:] = selected
        self._tell({"collected": found})

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Tell of a file or class whose tests cannot be had."""
        if not report.passed:
            file = os.path.join(self._root, report.nodeid.partition("::")[0])
            self._tell({"uncollected": self._path(file), **self._of(report)})

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """Tell which test begins."""
        self._said[nodeid] = []
        self._tell({"began": self._ids.get(nodeid, nodeid)})

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Take what is said of a test's setup, call and teardown."""
        self._said.setdefault(report.nodeid, []).append(report)

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        """Tell how a test ended: by the first thing that was bad about it."""
        said = self._said.pop(nodeid, [])
        bad = [one for one in said if one.failed] or [one for one in said if _is_weak(one)]
        report = self._of(bad[0]) if bad else {"outcome": "passed"}
        self._tell({"ended": self._ids.get(nodeid, nodeid), **report})

    def _of(self, report: Any) -> dict[str, Any]:
        if not report.failed:
            return {"outcome": "skipped", "text": _why_weak(report)}
        text, path, line = _why_failed(report)
        places = [place for place in ((path, line), _begins(report)) if place[0]]
        shown = [[self._path(os.path.join(self._root, at or "")), line] for at, line in places]
        return {"outcome": "failed", "text": text, "places": shown}

    def _path(self, path: str) -> str:
        return os.path.relpath(path, self._here).replace(os.sep, "/")


def _is_weak(report: Any) -> bool:
    return report.skipped or hasattr(report, "wasxfail")


def _why_weak(report: Any) -> str:
    if hasattr(report, "wasxfail"):
        passed = ", and it passed" if report.passed else ""
        reason = str(report.wasxfail).removeprefix("reason: ")
        return "expected to fail" + (f" ({reason})" if reason else "") + passed
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return str(reason).removeprefix("Skipped: ").strip()


def _why_failed(report: Any) -> tuple[str, str | None, int | None]:
    """Return the line that says why, and the place, as far as pytest says it."""
    crash = getattr(report.longrepr, "reprcrash", None)
    if crash is not None:
        return _first(str(crash.message)), str(crash.path), int(crash.lineno)
    text = str(report.longrepr)
    lines = [line for line in text.splitlines() if line.strip()]
    errors = [line[1:].strip() for line in lines if line.startswith("E  ")]
    places = _PLACE.findall(text)
    path, line = (places[-1][0], int(places[-1][1])) if places else (None, None)
    return (errors or lines or ["it failed"])[-1].strip(), path, line


def _begins(report: Any) -> tuple[str | None, int | None]:
    """Return where the test itself begins, for a failure that was raised elsewhere."""
    path, line, *_ = getattr(report, "location", None) or (None, None)
    return path, None if line is None else line + 1


def _first(text: str) -> str:
    return next((line.strip() for line in text.splitlines() if line.strip()), "it failed")


def main(given: dict[str, Any]) -> int:
    """Run what the parent asks for in the present folder; return pytest's exit status."""
    fd = given["fd"]
    os.set_inheritable(fd, False)  # what a test starts must not hold it open
    owner = os.getpid()

    def tell(what: dict[str, Any]) -> None:
        if os.getpid() == owner:  # and what it forks has nothing to say
            data = json.dumps(what).encode() + b"\n"
            while data:
                data = data[os.write(fd, data) :]

    reporter = Reporter(given["names"], given["barred"], tell)
    return int(pytest.main([*given["arguments"], *given["files"]], plugins=[reporter]))
