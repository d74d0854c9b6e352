"""A browser is installed where that can be done; elsewhere that is said, and nothing fails."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / ".ci" / "browser.sh"
BASH = shutil.which("bash")
FAILS_AT = '#!{bash}\necho "$@" >> "$0.log"\n[[ "$*" != *{word}* ]]\n'


def told(folder: Path, **commands: str) -> str:
    """Return what the script says with nothing on PATH but these commands."""
    for name, text in {"id": "echo 0", **commands}.items():
        path = folder / name.replace("_", "-")
        path.write_text(text if text.startswith("#!") else f"#!{BASH}\n{text}\n")
        path.chmod(0o755)
    done = subprocess.run(
        [str(BASH), str(SCRIPT)], env={"PATH": str(folder)}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("name", ["chromium", "chromium-browser", "google-chrome"])
def test_one_that_is_here_is_taken(tmp_path: Path, name: str) -> None:
    os.symlink(str(BASH), tmp_path / name)
    assert told(tmp_path, apt_get="exit 1") == f"browser: {name}\n"


def test_none_can_be_installed(tmp_path: Path) -> None:
    assert told(tmp_path).startswith("no browser (no apt-get here): ")
    assert told(tmp_path, apt_get="exit 0", id="echo 1000").startswith("no browser (not root): ")


@pytest.mark.parametrize("word", ["update", "install"])
def test_what_fails_is_named(tmp_path: Path, word: str) -> None:
    said = told(tmp_path, apt_get=FAILS_AT.format(bash=BASH, word=word))
    assert said.startswith(f"no browser (apt-get {word}")
    assert said.endswith("are skipped\n")


def test_it_is_installed(tmp_path: Path) -> None:
    said = told(tmp_path, apt_get=FAILS_AT.format(bash=BASH, word="nothing"))
    assert said == "browser: chromium, newly installed\n"
    update, install = (tmp_path / "apt-get.log").read_text().splitlines()
    assert "update" in update
    assert "chromium" in install.split()
