"""DEVELOPERS.md names files, and things in them, that are there; and it stays short."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
# A path in backticks has a slash; NAME stands for a file that somebody is about to add.
PATHS = sorted({path for path in re.findall(r"`([\w.-]+/[\w./-]*)`", TEXT) if "NAME" not in path})
# "`SECTIONS` of `load/forms.py`": what is named has to stand in that file.
PARTS = sorted(set(re.findall(r"`(\w+)(?:\(\))?`\s+of\s+`([\w./-]+\.\w+)`", TEXT)))


def place(path: str) -> Path:
    """Return where a path stands, from the root of the repository or from that of the package."""
    from_root = ROOT / path
    return from_root if from_root.exists() else ROOT / "trace" / "closeout" / path


def test_many_are_named() -> None:
    assert len(PATHS) > 80
    assert len(PARTS) > 8


@pytest.mark.parametrize("path", PATHS)
def test_a_path_that_is_named_exists(path: str) -> None:
    assert place(path).exists()


@pytest.mark.parametrize(("name", "path"), PARTS)
def test_what_is_named_in_a_file_stands_in_it(name: str, path: str) -> None:
    assert re.search(rf"\b{name}\b", place(path).read_text("utf-8"))


def test_it_is_read_in_one_sitting() -> None:
    lines = TEXT.splitlines()
    assert len(lines) <= 250
    assert max(map(len, lines)) <= 120


def test_each_package_stands_in_the_map() -> None:
    packages = {path.parent.name for path in (ROOT / "trace/closeout").glob("*/__init__.py")}
    assert packages <= set(re.findall(r"^  (\w+)/ ", TEXT, re.MULTILINE))
