"""Keeps every test away from the git that surrounds it: its variables, its configuration, its user.

A test run may itself stand in a git hook, which sets GIT_INDEX_FILE and its like.
"""

from __future__ import annotations

import os

import pytest

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
