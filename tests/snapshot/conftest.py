"""Small projects under real git, in temporary folders."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

FILES = {
    "requirements/project.yaml": "project: {name: Invented}\n",
    "requirements/power.yaml": "requirements: []\n",
    "analyses/energy.py": "FACTOR = 1\n",
    "analyses/data/soak.csv": "t,v\n0,1\n",
}


class Repo:
    """A folder with git in it."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def git(self, *arguments: str, folder: Path | None = None, **options: object) -> str:
        """Run git, return its output, fail the test where it fails."""
        done = self.attempt(*arguments, folder=folder, **options)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def attempt(
        self, *arguments: str, folder: Path | None = None, **variables: object
    ) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, **{name: str(value) for name, value in variables.items()}}
        return subprocess.run(
            ["git", *arguments],
            cwd=folder or self.path,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )

    def write(self, path: str, text: str) -> Path:
        target = self.path / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(text.encode())
        return target

    def fill(self, prefix: str = "") -> None:
        for path, text in FILES.items():
            self.write(prefix + path, text)

    def commit(self, message: str = "change") -> str:
        self.git("add", "--all")
        self.git("commit", "--quiet", "--message", message)
        return self.git("rev-parse", "HEAD").strip()

    def hook(self, text: str) -> None:
        hook = self.path / ".git" / "hooks" / "pre-commit"
        hook.parent.mkdir(exist_ok=True)
        hook.write_text(text)
        hook.chmod(0o755)


@pytest.fixture(autouse=True)
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for temporary files of its own, so that a test sees what is left behind."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setenv("TMPDIR", str(folder))
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def empty(tmp_path: Path) -> Repo:
    """A repository without a commit."""
    path = tmp_path / "a project"
    path.mkdir()
    repo = Repo(path)
    repo.git("init", "--quiet", "--initial-branch=main")
    return repo


@pytest.fixture
def repo(empty: Repo) -> Repo:
    """A repository with one commit of a project at its top."""
    empty.fill()
    empty.commit("first")
    return empty


PROBE = """
import json, os, sys
from pathlib import Path
from closeout.snapshot import find_root, open_index
root = find_root(Path.cwd() / (sys.argv[2] if len(sys.argv) > 2 else ""))
with open_index(root) as snapshot:
    seen = {
        "files": {path: snapshot.read(path).decode() for path in snapshot.files()},
        "kind": snapshot.identity.kind,
        "commit": snapshot.identity.commit,
        "dirty": snapshot.identity.dirty,
        "index": os.environ.get("GIT_INDEX_FILE"),
        "git_dir": os.environ.get("GIT_DIR"),
    }
Path(sys.argv[1]).write_text(json.dumps(seen))
"""


@pytest.fixture
def probe(tmp_path: Path) -> Callable[..., str]:
    """Give a shell command that writes what the staged state is, for use in a hook."""
    script = tmp_path / "probe.py"
    script.write_text(PROBE)

    def command(target: Path, below: str = "") -> str:
        return f"'{sys.executable}' '{script}' '{target}' '{below}'"

    return command
