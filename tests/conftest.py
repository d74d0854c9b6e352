"""Every test: the same examples, and away from the git that surrounds it.

A test run may itself stand in a git hook, which sets GIT_INDEX_FILE and its like.
"""

from __future__ import annotations

import compileall
import os
import resource
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.cli.project import let_go

# The same examples on every machine and day, no clock in a verdict: a test fails for the code's
# sake. `--hypothesis-profile=search` looks for new ones.
settings.register_profile(
    "steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile("steady")

_RUN = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
GIT = {
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_NOSYSTEM": "1",
    "GIT_AUTHOR_NAME": "Test",
    "GIT_AUTHOR_EMAIL": "test@example.invalid",
    "GIT_COMMITTER_NAME": "Test",
    "GIT_COMMITTER_EMAIL": "test@example.invalid",
}


@pytest.fixture(autouse=True)
def _own_git(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in os.environ if name.startswith("GIT_")]:
        monkeypatch.delenv(name)
    for name, value in GIT.items():
        monkeypatch.setenv(name, value)


def pytest_configure(config: pytest.Config) -> None:
    """Compile the tool once: hundreds of its processes start here, and may not write what they
    compile (``PYTHONDONTWRITEBYTECODE``, and ``-B`` for those that run analyses)."""
    if not hasattr(config, "workerinput"):
        compileall.compile_dir(Path(__file__).parents[1] / "trace", quiet=2)


def pytest_sessionfinish() -> None:
    let_go()


def pytest_unconfigure(config: pytest.Config) -> None:
    """Print what the run cost: unlike its duration, that hardly depends on what else runs."""
    if hasattr(config, "workerinput") or config.option.collectonly:
        return
    whole = sum(sum(resource.getrusage(whose)[:2]) for whose in _RUN)
    print(f"processor time: {whole:.0f} s")
