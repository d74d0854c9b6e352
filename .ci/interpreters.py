"""Try what is sensitive to Python, and to its libraries, on others than those of .venv.

``newest`` takes the newest CPython above the one that runs this, with the newest libraries;
``oldest`` the oldest Python and the oldest libraries that pyproject.toml allows, and judges a
project that ``closeout start`` makes. Interpreters are found by name on PATH (python3.13) and
through pyenv, where there is one. Everything is installed from wheels into a temporary folder.

Where no such interpreter can be used, that is said with the reason, and the exit status is 0: a
machine is not asked to have them. Tests that fail, and oldest libraries that cannot be installed,
give 1.
"""

from __future__ import annotations

import json
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[1]
# What these tests need of the extra "test": the libraries that analyses are checked against have
# no part in them, and not all of them come as wheels.
RUNNERS = ("pytest-xdist", "hypothesis")
# What depends on Python most: pages of rules, what may be proved and what is pure, formulas that
# deceive, and the store.
OF_PYTHON = (
    "tests/arithmetic/test_allowed.py",
    "tests/evaluate/test_deceit.py",
    "tests/evaluate/test_together.py",
    "tests/rules/test_pages.py",
    "tests/store",
)
NAMED = re.compile(r"python3\.(\d+)")
MODULES = ("ctypes", "ensurepip", "sqlite3", "ssl", "venv", "zlib")
PROBE = f"""
import importlib, json, platform, sys, sysconfig
missing = []
for name in {MODULES}:
    try:
        importlib.import_module(name)
    except ImportError:
        missing.append(name)
print(json.dumps([
    platform.python_implementation(), sys.version_info[:3], sys.version_info.releaselevel,
    bool(sysconfig.get_config_var("Py_GIL_DISABLED")), missing, sys.executable,
]))
"""
# What the tests of one file share is made once.
_BY_FILE = ("--dist", "loadfile")
PATIENCE = 60  # seconds, for an interpreter to say what it is


class Interpreter(NamedTuple):
    """A command that runs a Python, the version it has, and why it cannot be used, if so."""

    version: tuple[int, ...]
    command: str
    fault: str | None

    def __str__(self) -> str:
        return f"Python {'.'.join(map(str, self.version))} ({self.command})"


class Unusable(Exception):
    """An interpreter can do nothing here; the text says why."""


def main(arguments: list[str]) -> int:
    if arguments == ["newest"]:
        return newest()
    if arguments == ["oldest"]:
        return oldest()
    print("usage: interpreters.py newest | oldest", file=sys.stderr)
    return 2


def newest() -> int:
    """Try the newest interpreter above this one that can be used."""
    above = [one for one in interpreters() if one.version[:2] > sys.version_info[:2]]
    for one in above:
        try:
            with installed(one, wanted()) as python:
                return tested(one, python, "the newest libraries", OF_PYTHON)
        except Unusable as why:
            print(f"{one}: not used: {why}")
    print("no newer interpreter found: skipped" if not above else "no newer one works: skipped")
    return 0


def oldest() -> int:
    """Try the oldest version of Python and of each library that pyproject.toml allows."""
    least = tuple(map(int, project()["requires-python"].removeprefix(">=").split(".")))
    for one in interpreters():
        if one.version[: len(least)] == least and one.fault is None:
            break
    else:
        print(f"no Python {'.'.join(map(str, least))} found: skipped")
        return 0
    try:
        with installed(one, [exactly(text) for text in wanted()]) as python:
            return tested(one, python, "the oldest libraries", OF_PYTHON) or started(python)
    except Unusable as why:
        print(f"{one} with the oldest libraries: {why}")
        return 1


# what is asked of a library


def project() -> dict[str, Any]:
    """Return the table ``project`` of pyproject.toml."""
    with open(ROOT / "pyproject.toml", "rb") as file:
        found: dict[str, Any] = tomllib.load(file)["project"]
    return found


def wanted() -> list[str]:
    """Return what pyproject.toml asks for, to run and to run these tests."""
    known = project()
    extra = [one for one in known["optional-dependencies"]["test"] if one.startswith(RUNNERS)]
    return [*known["dependencies"], *extra]


def exactly(requirement: str) -> str:
    """Return a requirement of the oldest version that another one allows."""
    name, least = requirement.split(">=")
    return f"{name}=={least}"


# interpreters


def interpreters() -> list[Interpreter]:
    """Return one CPython of each version 3.x that is found, the newest first.

    Of several, it is the newest of those that work, and the first on the way there.
    """
    best: dict[tuple[int, ...], Interpreter] = {}
    for command in dict.fromkeys((*_on_path(), *_of_pyenv())):
        one = _asked(command)
        if one is not None:
            known = best.setdefault(one.version[:2], one)
            if (one.fault is None, one.version) > (known.fault is None, known.version):
                best[one.version[:2]] = one
    return [best[version] for version in sorted(best, reverse=True)]


def _on_path() -> Iterator[str]:
    for folder in os.get_exec_path():
        if os.path.isdir(folder):
            for name in sorted(os.listdir(folder)):
                path = os.path.join(folder, name)
                if NAMED.fullmatch(name) and os.access(path, os.X_OK):
                    yield path


def _of_pyenv() -> Iterator[str]:
    if shutil.which("pyenv") is None:
        return
    for version in _said(["pyenv", "versions", "--bare"]).splitlines():
        if prefix := _said(["pyenv", "prefix", version.strip()]).strip():
            yield os.path.join(prefix, "bin", "python")


def _asked(command: str) -> Interpreter | None:
    """Return what an interpreter says of itself; None where it is not one to be tried."""
    try:
        said = _said([command, "-c", PROBE])
        implementation, version, level, no_lock, missing, itself = json.loads(said)
    except ValueError:  # as where nothing stands behind the name
        named = NAMED.fullmatch(os.path.basename(command))
        return named and Interpreter((3, int(named[1])), command, "it does not run")
    if implementation != "CPython" or level != "final" or no_lock:
        return None
    fault = f"it has no module {', '.join(missing)}" if missing else None
    return Interpreter(tuple(version), itself, fault)


def _said(command: list[str]) -> str:
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False, timeout=PATIENCE, cwd="/"
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout if done.returncode == 0 else ""


# a virtual environment


@contextmanager
def installed(one: Interpreter, requirements: list[str]) -> Iterator[str]:
    """Install closeout with what it is to be tried with, for as long as the context lasts.

    Raises:
        Unusable: something of it is not to be had for this interpreter.
    """
    if one.fault is not None:
        raise Unusable(one.fault)
    with tempfile.TemporaryDirectory(prefix="closeout-") as folder:
        _done([one.command, "-m", "venv", folder], "venv")
        python = os.path.join(folder, "bin", "python")
        # Never a build from source. What pip compiles warns of nothing when a test imports it.
        pip = [python, "-m", "pip", "install", "-q", "--only-binary", ":all:"]
        _done([*pip, *requirements, "-e", str(ROOT)], "pip")
        _done([python, "-c", "import sqlite3, yaml; yaml.CSafeLoader"], "sqlite3 and libyaml")
        yield python


def _done(command: list[str], what: str) -> None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    except OSError as error:
        raise Unusable(f"{what}: {error.strerror}") from error
    if done.returncode:
        told = [*done.stdout.splitlines(), *done.stderr.splitlines()]
        faults = [line for line in told if line.startswith("ERROR")] or told or ["no word"]
        raise Unusable(f"{what}: {faults[0] if what == 'pip' else faults[-1]}")


# trials


def tested(one: Interpreter, python: str, libraries: str, tests: Iterable[str]) -> int:
    """Run tests; return an exit status."""
    print(f"{one} with {libraries}: {', '.join(tests)}", flush=True)
    return _run([python, "-m", "pytest", "-q", "-p", "no:cacheprovider", *_BY_FILE, *tests], ROOT)


def started(python: str) -> int:
    """Make a project by ``closeout start`` and judge it; return an exit status."""
    tool = [python, "-m", "closeout"]
    with tempfile.TemporaryDirectory(prefix="closeout-") as top:
        return _run([*tool, "start", "mission"], Path(top)) or _run(
            [*tool, "verify"], Path(top) / "mission"
        )


def _run(command: list[str], folder: Path) -> int:
    status = subprocess.run(command, cwd=folder, check=False).returncode
    if status:
        print(f"exit status {status}: {' '.join(command)}", file=sys.stderr)
    return 1 if status else 0


if __name__ == "__main__":
    begun = time.monotonic()
    status = main(sys.argv[1:])
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(
        f"processor time: {spent.ru_utime + spent.ru_stime:.0f} s,"
        f" by the clock: {time.monotonic() - begun:.0f} s"
    )
    sys.exit(status)
