"""Other interpreters are found by name; one that cannot be used is passed over with a reason."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / ".ci" / "interpreters.py"
SAYS = '#!/bin/sh\necho \'["{kind}", [3, {minor}, 0], "{level}", {free}, {missing}, "{path}"]\'\n'


def told(folder: Path, which: str = "newest") -> tuple[int, str]:
    """Return status and output of the script, with nothing on PATH but a folder."""
    done = subprocess.run(
        [sys.executable, str(SCRIPT), which],
        env={"PATH": str(folder)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout


def put(folder: Path, text: str, minor: int = 99) -> None:
    path = folder / f"python3.{minor}"
    path.write_text(text)
    path.chmod(0o755)


def says(
    path: str = "/nowhere/python", kind: str = "CPython", level: str = "final",
    free: str = "false", missing: str = "[]", minor: int = 99,
) -> str:  # fmt: skip
    return SAYS.format(path=path, kind=kind, level=level, free=free, missing=missing, minor=minor)


def test_none_is_skipped(tmp_path: Path) -> None:
    status, text = told(tmp_path)
    assert status == 0
    assert "no newer interpreter found: skipped" in text
    assert "no Python 3.11 found: skipped" in told(tmp_path, "oldest")[1]


@pytest.mark.parametrize("text", ["#!/bin/sh\nexit 127\n", "#!/nowhere/at/all\n", "nothing"])
def test_a_broken_one_is_named_and_skipped(tmp_path: Path, text: str) -> None:
    put(tmp_path, text)
    status, said = told(tmp_path)
    assert status == 0
    assert f"Python 3.99 ({tmp_path}/python3.99): not used: it does not run" in said
    assert "no newer one works: skipped" in said


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (says(missing='["sqlite3", "venv"]'), "it has no module sqlite3, venv"),
        (says(), "venv: "),
    ],
)
def test_one_that_lacks_something_is_named_and_skipped(tmp_path: Path, text: str, why: str) -> None:
    put(tmp_path, text)
    status, said = told(tmp_path)
    assert status == 0
    assert f"Python 3.99.0 (/nowhere/python): not used: {why}" in said
    assert "no newer one works: skipped" in said


@pytest.mark.parametrize("text", [says(kind="PyPy"), says(level="candidate"), says(free="true")])
def test_what_is_no_finished_cpython_is_not_tried(tmp_path: Path, text: str) -> None:
    put(tmp_path, text)
    assert "no newer interpreter found: skipped" in told(tmp_path)[1]


def test_an_older_one_is_not_taken_for_a_newer_one(tmp_path: Path) -> None:
    put(tmp_path, says(minor=5), minor=5)
    os.symlink(sys.executable, tmp_path / f"python3.{sys.version_info.minor}")
    assert "no newer interpreter found: skipped" in told(tmp_path)[1]
