"""The same commit gives the same documents, whoever makes them, and where."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.cli.project import Project, environment
from tests.documents.packages import Package, contents

# As far from a developer's machine as it goes: half a day and half an hour east, texts that are
# not UTF-8, other orders in sets, files that nobody else may read.
ELSEWHERE = {
    "TZ": "Pacific/Chatham",
    "LC_ALL": "POSIX",
    "LANG": "tr_TR.UTF-8",
    "PYTHONCOERCECLOCALE": "0",
    "PYTHONUTF8": "0",
    "PYTHONHASHSEED": "4711",
    "COLUMNS": "40",
}
MASKED = 'umask 077; exec "$@"'


def made_elsewhere(commit_of: Path, folder: Path) -> Path:
    """Clone a project into another folder, and return the package that is written there."""
    clone, written = folder / "elsewhere" / "the buoy", folder / "documents"
    clone.parent.mkdir()
    Project(folder).git("clone", "--quiet", str(commit_of), str(clone))
    command = [sys.executable, "-m", "closeout", "package", "--review", "CDR", "-o", str(written)]
    subprocess.run(
        ["sh", "-c", MASKED, "sh", *command], cwd=clone, env=environment(**ELSEWHERE), check=True
    )
    return written


def different(one: dict[str, bytes], other: dict[str, bytes]) -> list[str]:
    """Return the names of files that are not in both with the same bytes."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))


def test_another_folder_clock_locale_and_user(small: Package, tmp_path: Path) -> None:
    there = contents(made_elsewhere(small.project, tmp_path))
    assert different(small.files, there) == []
    assert not [name for name, data in there.items() if str(tmp_path).encode() in data]
    assert not [name for name, data in small.files.items() if str(small.project).encode() in data]
