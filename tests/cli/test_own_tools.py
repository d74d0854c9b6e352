"""What the README shows for forges and hooks, tried as a shell runs it in a small project."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import yaml

from tests.cli.project import Project, environment
from tests.cli.test_readme import README, blocks
from tests.effort import BACKSTOP

HOOKS = README.with_name(".pre-commit-hooks.yaml")
SCRIPTS = Path(sys.executable).parent
PATH = f"{SCRIPTS}{os.pathsep}{os.environ['PATH']}"
INSTALL = 'python3 -m pip install --quiet "$CLOSEOUT"'


@pytest.fixture
def lantern(tmp_path: Path) -> Project:
    """The project of ``closeout start``, committed."""
    assert Project(tmp_path).run("start", "lantern").status == 0
    project = Project(tmp_path / "lantern")
    project.git("init", "--quiet", "--initial-branch=main")
    project.commit()
    return project


def documents() -> list[Any]:
    """Return the YAML blocks of the section, as data."""
    found = [yaml.load(b.text, yaml.BaseLoader) for b in blocks("In your own tools")
             if b.info == "yaml"]  # fmt: skip
    assert len(found) == 3
    return found


def actions() -> list[tuple[str, bool]]:
    """Return the lines of the first job, and whether each runs also after one that failed."""
    (job,) = documents()[0]["jobs"].values()
    return [(step["run"], step.get("if") == "always()") for step in job["steps"] if "run" in step]


def pipeline() -> list[tuple[str, bool]]:
    """Return the same of the second job."""
    (job,) = documents()[1].values()
    return [(line, False) for line in job["script"]]


def run_job(project: Project, steps: list[tuple[str, bool]]) -> int:
    """Return how a job ends; it is installed already, which is the line that is left out."""
    assert [line for line, _ in steps].count(INSTALL) == 1
    status = 0
    for line, always in steps:
        if line != INSTALL and (always or status == 0):
            done = subprocess.run(
                ["bash", "-e", "-o", "pipefail", "-c", line], cwd=project.path,
                env=environment(PATH=PATH), capture_output=True, timeout=BACKSTOP, check=False,
            )  # fmt: skip
            status = status or done.returncode
    return status


@pytest.mark.slow
@pytest.mark.parametrize("steps", [actions, pipeline])
def test_a_job_passes_and_fails_with_the_project(lantern: Project, steps: Any) -> None:
    results = lantern.path / "results"
    assert run_job(lantern, steps()) == 0
    shutil.rmtree(results)
    lantern.replace("analyses/power.yaml", "3.4 A h", "2.4 A h")
    commit = lantern.commit("a smaller cell")
    assert run_job(lantern, steps()) == 1
    root = ElementTree.fromstring((results / "verify.xml").read_bytes())
    assert root.get("failures") == "1"
    (run,) = json.loads((results / "verify.sarif").read_text("utf-8"))["runs"]
    assert run["properties"]["commit"] == commit
    assert run["properties"]["draft"] is False  # in spite of what the job wrote
    assert [result["ruleId"] for result in run["results"]] == ["not-met"]
    assert len(list(results.iterdir())) == 3


def test_a_job_takes_up_what_it_writes() -> None:
    first, second, _ = documents()
    (job,) = first["jobs"].values()
    taken = [step["with"] for step in job["steps"] if "upload" in step.get("uses", "")]
    assert {"sarif_file": "results"} in taken
    (job,) = second.values()
    assert job["artifacts"]["reports"] == {"junit": "results/*.xml"}
    written = " ".join(line for line, _ in (*actions(), *pipeline()))
    for name in ("results/verify.sarif", "results/lint.sarif", "results/verify.xml"):
        assert name in written


# --- .pre-commit-hooks.yaml ---------------------------------------------------------------------


def test_the_hooks_judge_what_is_staged_and_touch_nothing(lantern: Project) -> None:
    hooks = yaml.safe_load(HOOKS.read_text("utf-8"))
    assert [hook["id"] for hook in hooks] == ["closeout", "closeout-installed"]
    assert documents()[2]["repos"][0]["hooks"] == [{"id": "closeout"}]
    lantern.replace("analyses/power.yaml", "3.4 A h", "2.4 A h")
    lantern.git("add", "--all")
    lantern.replace("analyses/power.yaml", "2.4 A h", "3.4 A h")  # not staged, so no cure
    before, status = lantern.contents(), lantern.git("status", "--porcelain")
    for hook in hooks:
        assert hook["pass_filenames"] is False
        assert hook["always_run"] is True
        assert set(hook["stages"]) == {"pre-commit", "pre-merge-commit"}
        done = subprocess.run(
            hook["entry"].split(), cwd=lantern.path, env=environment(PATH=PATH),
            capture_output=True, text=True, timeout=BACKSTOP, check=False,
        )  # fmt: skip
        assert done.returncode == 1
        assert "PWR-010  C -> NC" in done.stdout
    assert lantern.contents() == before
    assert lantern.git("status", "--porcelain") == status


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("pre-commit") is None, reason="no pre-commit here")
def test_the_framework_runs_them_in_commits_and_merges(lantern: Project, tmp_path: Path) -> None:
    source = Project(tmp_path / "tool")
    source.write({HOOKS.name: HOOKS.read_text("utf-8")})
    source.git("init", "--quiet", "--initial-branch=main")
    config = {
        "default_install_hook_types": documents()[2]["default_install_hook_types"],
        "repos": [{"repo": source.path.as_uri(), "rev": source.commit(),
                   "hooks": [{"id": "closeout-installed"}]}],
    }  # fmt: skip
    lantern.write({".pre-commit-config.yaml": json.dumps(config)})

    def run(*words: str) -> tuple[int, str]:
        env = environment(PATH=PATH, PRE_COMMIT_HOME=str(tmp_path / "kept"))
        done = subprocess.run(words, cwd=lantern.path, env=env, capture_output=True, text=True,
                              timeout=BACKSTOP, check=False)  # fmt: skip
        return done.returncode, done.stdout + done.stderr

    assert run("pre-commit", "install")[0] == 0
    lantern.git("add", "--all")
    assert run("git", "commit", "--message", "the framework")[0] == 0
    lantern.git("switch", "--quiet", "--create", "cheaper")
    lantern.replace("analyses/power.yaml", "3.4 A h", "3.1 A h")
    assert run("git", "commit", "--all", "--message", "A cheaper cell")[0] == 0
    lantern.git("switch", "--quiet", "main")
    lantern.replace("analyses/power.yaml", "0.6 %/K]", "1.0 %/K]")
    assert run("git", "commit", "--all", "--message", "Cold costs more")[0] == 0
    status, said = run("git", "merge", "--no-edit", "cheaper")
    assert status == 1
    assert "PWR-010  C -> NC" in said
