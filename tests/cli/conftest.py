"""Projects for the tests of the command line; see ``project.py``."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import Project, make


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """A project that passes, to change at will; outside git."""
    return make(tmp_path / "a project")


@pytest.fixture(scope="module")
def passing(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A project that passes and that no test changes; outside git."""
    return make(tmp_path_factory.mktemp("passing") / "a project")
