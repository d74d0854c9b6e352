"""What is not needed is not loaded: a run with nothing changed must fit in a git hook."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.project import Project, environment, make, power
from tests.cli.project import requirement as item
from tests.effort import BACKSTOP

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

HEAVY = {
    "sympy", "networkx", "jsonschema", "msgspec", "numpy", "rich", "jinja2", "markdown_it",
    "mpmath", "matplotlib",
}  # fmt: skip
PROBE = """
import sys
sys.argv = ["closeout", *sys.argv[1:]]
try:
    from closeout.cli import main
    main()
finally:
    print("\\nLOADED", *sorted(sys.modules))
"""


def loaded(project: Project, *arguments: str) -> set[str]:
    """Return the modules that a command has loaded when it ends."""
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *arguments],
        cwd=project.path,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=BACKSTOP,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.rpartition("\nLOADED")[2].split())


@pytest.fixture
def warm(tmp_path: Path) -> Project:
    """A project that was judged once."""
    project = make(tmp_path / "p")
    assert project.run("verify").status == 0
    assert project.run("verify", "--json", "-").status == 0
    return project


@pytest.mark.parametrize(
    "arguments", [["--help"], ["verify", "--help"], ["--version"], ["hook", "--help"]]
)
def test_help_loads_nothing_heavy(tmp_path: Path, arguments: list[str]) -> None:
    assert loaded(Project(tmp_path), *arguments) & HEAVY == set()


@pytest.mark.parametrize(
    "arguments", [["verify"], ["verify", "--json", "-"], ["verify", "--jobs", "1"]]
)
def test_verify_with_nothing_changed_loads_nothing_heavy(
    warm: Project, arguments: list[str]
) -> None:
    names = loaded(warm, *arguments)
    assert names & HEAVY == set()
    assert {"yaml", "closeout.model.records"} & names == set()


def test_a_first_run_loads_no_arithmetic_and_no_graphs(tmp_path: Path) -> None:
    heavy = {"numpy", "scipy", "sympy", "networkx"}
    assert loaded(make(tmp_path / "p"), "verify") & heavy == set()


def test_a_run_that_finds_nothing_reads_no_page_of_a_rule(tmp_path: Path) -> None:
    project = make(tmp_path / "p")
    for command in ("verify", "lint"):
        assert "closeout.rules.page" not in loaded(project, command)


def test_verify_after_a_changed_limit_loads_nothing_heavy_but_the_schemas(warm: Project) -> None:
    warm.write({"requirements/power.yaml": power(item(limit="at_least: 191 kJ"))})
    assert loaded(warm, "verify") & (HEAVY - {"jsonschema"}) == set()


def test_verify_after_a_changed_parameter_loads_no_arithmetic(warm: Project) -> None:
    warm.replace("analyses/parameters.yaml", "value: 12 V", "value: 12.1 V")
    assert loaded(warm, "verify") & {"numpy", "scipy", "sympy"} == set()


def test_lint_with_nothing_changed_loads_nothing_heavy(warm: Project) -> None:
    loaded(warm, "lint")
    assert loaded(warm, "lint") & HEAVY == set()


def test_another_command_does_not_load_the_packages_of_documents(warm: Project) -> None:
    unused = {"jinja2", "markdown_it", "sympy", "networkx"}
    assert loaded(warm, "explain", "PWR-010") & unused == set()
    assert loaded(warm, "matrix", "-o", "m.csv") & {"jinja2", "markdown_it", "sympy"} == set()
