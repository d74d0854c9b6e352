"""The small project's documents, word for word, as somebody has read and accepted them.

After a change that is wanted::

    python -m pytest tests/documents/test_gold.py --accept

writes today's documents over those in ``gold/``; what git then shows is to be read before it is
committed. Numbers in them are no check of the tool: other tests hold those against other sources.
"""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from tests.documents.packages import Package, contents

GOLD = Path(__file__).with_name("gold")
ACCEPT = "python -m pytest tests/documents/test_gold.py --accept"


def documents(files: dict[str, bytes]) -> dict[str, str]:
    """Return the Markdown documents of a package."""
    return {name: data.decode() for name, data in files.items() if name.endswith(".md")}


def changes(gold: dict[str, str], today: dict[str, str]) -> str:
    """Return what was accepted and what is written today, as lines that go and come."""
    return "\n".join(
        line.rstrip("\n")
        for name in sorted(gold.keys() | today.keys())
        for line in difflib.unified_diff(
            gold.get(name, "").splitlines(),
            today.get(name, "").splitlines(),
            f"gold/{name}" if name in gold else "nothing",
            f"today/{name}" if name in today else "nothing",
            lineterm="",
        )
    )


def accept(today: dict[str, str], folder: Path) -> None:
    """Write today's documents; those that are no more go."""
    for name in contents(folder).keys() - today.keys():
        (folder / name).unlink()
    for name, text in today.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(text.encode())


def test_documents_are_those_that_were_accepted(
    small: Package, request: pytest.FixtureRequest
) -> None:
    today = documents(small.files)
    if request.config.getoption("--accept", False):
        accept(today, GOLD)
    gold = {name: data.decode() for name, data in contents(GOLD).items()}
    if gold != today:
        said = changes(gold, today) or "line ends differ"
        pytest.fail(f"{said}\n\nIf that is wanted: {ACCEPT}", pytrace=False)


def test_a_change_is_shown_and_accepted(tmp_path: Path) -> None:
    accept({"a.md": "one\ntwo\n", "b/c.md": "three\n"}, tmp_path)
    today = {"a.md": "one\n2\n"}
    gold = {name: data.decode() for name, data in contents(tmp_path).items()}
    shown = changes(gold, today).splitlines()
    assert {"-two", "+2", " one", "-three", "+++ nothing"} <= set(shown)
    accept(today, tmp_path)
    assert contents(tmp_path) == {"a.md": b"one\n2\n"}
