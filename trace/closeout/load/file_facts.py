"""What is known of a file by its content: stored as JSON text, without its path and its places."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib import resources
from typing import Any, Protocol

from closeout.load.checked_items import Sections, read_items
from closeout.load.criteria import Reader
from closeout.load.file_problems import problem
from closeout.model.problem import Problem


class Cache(Protocol):
    """A store of texts by key; it may lose any of them at any time."""

    def get(self, key: str) -> str | None:
        """Return the text that was put under a key, or None."""

    def put(self, key: str, text: str) -> None:
        """Store a text under a key."""


@dataclass(frozen=True, slots=True)
class FileFacts:
    """A file as far as it is in order: its items by section and step, and what is wrong with it.

    ``whole`` is False where the file could not be read, so that nothing is known of its items.
    """

    sections: Sections
    problems: tuple[Problem, ...]
    left_out: tuple[str, ...]
    whole: bool


def encoded(facts: FileFacts) -> str:
    """Return the JSON text of what is known of a file."""
    sections = {name: [list(items), list(items.values())] for name, items in facts.sections.items()}
    problems = [[p.rule, p.line, p.column, p.message, p.cure] for p in facts.problems]
    return json.dumps([sections, problems, facts.left_out, facts.whole], separators=(",", ":"))


def decoded(text: str) -> FileFacts:
    """Return what :func:`encoded` made a text of.

    Raises:
        ValueError, TypeError, AttributeError: the text is none of those.
    """
    sections, problems, left_out, whole = json.loads(text)
    return FileFacts(
        {name: dict(zip(*items, strict=True)) for name, items in sections.items()},
        tuple(problem(*row) for row in problems),
        tuple(left_out),
        bool(whole),
    )


def records(path: str, facts: FileFacts) -> list[tuple[str, Any]]:
    """Return the typed records of a file by section; ValueError where one cannot be read."""
    reader = Reader()
    found = [(section, record) for section, _, record in read_items(path, facts.sections, reader)]
    if reader.findings:
        raise ValueError(reader.findings[0].message)
    return found


# What decides how a file is read: the loader, its schemas, how amounts are read.
READING = ("load", "load/schemas", "model")


def key(digest: str) -> str:
    """Return the key of a file's content: it changes with every byte of the loader as well."""
    return f"load:{version_of(READING)}:{digest}"


@cache
def version_of(folders: tuple[str, ...]) -> str:
    """Return a digest of what stands in folders of the package."""
    state = sha256()
    package = resources.files("closeout")
    for folder in folders:
        for entry in sorted((package / folder).iterdir(), key=lambda entry: entry.name):
            if entry.name.endswith((".py", ".json")):
                name, data = f"{folder}/{entry.name}", entry.read_bytes()
                state.update(b"%d:%d:" % (len(name), len(data)))
                state.update(name.encode() + data)
    return state.hexdigest()[:32]
