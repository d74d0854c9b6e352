"""A real browser without a window, as far as this machine has one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import BrowserContext, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome")
# No window, no sandbox (the tests may run as root), and no traffic of the browser's own.
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def browser() -> str:
    """Return the path of Chromium; without one the test is skipped."""
    for path in map(shutil.which, NAMES):
        if path is not None:
            return path
    pytest.skip(f"no browser: none of {', '.join(NAMES)} is on PATH")


@contextmanager
def opened() -> Iterator[BrowserContext]:
    """Open a browser with a new, empty profile.

    The documents forbid scripts; here that is lifted, so that what measures them can run, and so
    that a request of theirs would be made, and be seen.
    """
    path = browser()
    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=path, args=FLAGS)
        try:
            yield running.new_context(bypass_csp=True)
        finally:
            running.close()
