"""``start``: the small project that it makes passes, and is the only thing that it makes."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import yaml
from jsonschema import Draft202012Validator

from tests.cli.project import Project, environment
from tests.effort import BACKSTOP


def test_a_started_project_passes_and_tests_itself(tmp_path: Path) -> None:
    run = Project(tmp_path).run("start", "my payload")
    assert run.status == 0
    assert run.stderr == ""
    project = Project(tmp_path / "my payload")
    made = project.contents()
    for name in made:
        assert name in run.stdout
    verified = project.verify()
    assert verified.status == 0
    assert verified.json["totals"]["C"] >= 1
    assert verified.json["scale"]["evaluated"] >= 1
    assert project.run("lint").status == 0
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"],
        cwd=project.path,
        env=environment(PYTHONDONTWRITEBYTECODE="1", PYTEST_ADDOPTS=None),
        capture_output=True,
        text=True,
        timeout=BACKSTOP,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert " passed" in done.stdout
    assert project.contents() == made


def test_an_editor_finds_the_schema_of_each_yaml_file(tmp_path: Path) -> None:
    assert Project(tmp_path).run("start", "payload").status == 0
    project = Project(tmp_path / "payload")
    found = sorted(project.path.rglob("*.yaml"))
    assert len(found) == 3
    for path in found:
        # The comment of the YAML language server; a relative path is from the file's folder.
        named = re.match(r"# yaml-language-server: \$schema=(\S+)\n", path.read_text("utf-8"))
        assert named is not None, path
        text = (path.parent / named[1]).resolve().read_text("utf-8")
        assert text == project.run("lint", "--schema").stdout
        schema, document = json.loads(text), yaml.safe_load(path.read_text("utf-8"))
        validator = Draft202012Validator(schema)
        validator.check_schema(schema)
        assert not list(validator.iter_errors(document))
        assert list(validator.iter_errors({**document, "colour": "red"}))


def test_the_next_step_that_it_names_works_in_a_shell(tmp_path: Path) -> None:
    run = Project(tmp_path).run("start", "my payload")
    step = run.stdout.strip().split("\n")[-1].removeprefix("now: ")
    script = f'closeout() {{ "{sys.executable}" -m closeout "$@"; }}; {step}'
    done = subprocess.run(
        ["sh", "-c", script], cwd=tmp_path, env=environment(), capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert Project(tmp_path).run("start", "empty").status == 0
    assert Project(tmp_path).run("start", "deeper/than/this").status == 0


def test_a_folder_that_is_not_empty_is_refused(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("mine")
    (tmp_path / "file").write_text("mine")
    for name in ("full", "file", "."):
        run = Project(tmp_path).run("start", name)
        assert run.status == 2
        assert "new or empty folder" in run.stderr
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["notes.txt"]
    assert Project(tmp_path).run("start", "file/below").status == 2
    assert Project(tmp_path).run("start").status == 2


def test_a_started_project_goes_through_the_hook(tmp_path: Path) -> None:
    Project(tmp_path).run("start", "payload")
    project = Project(tmp_path / "payload")
    project.git("init", "--quiet", "--initial-branch=main")
    assert project.run("hook", "install").status == 0
    project.git("add", "--all")
    project.git("commit", "--quiet", "--message", "first")
    assert project.verify().json["snapshot"]["dirty"] is False
