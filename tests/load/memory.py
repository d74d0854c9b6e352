"""A snapshot in memory, and a store in memory, for the tests of the loader."""

from __future__ import annotations

from hashlib import sha256
from textwrap import dedent

from closeout.load import Loaded, load

PROJECT = "project: {name: Gannet (invented)}\n"


class Memory:
    """Files by path; counts how often each is read."""

    def __init__(self, contents: dict[str, str | bytes]) -> None:
        self.contents = {
            path: content if isinstance(content, bytes) else content.encode()
            for path, content in contents.items()
        }
        self.reads: list[str] = []

    def files(self) -> tuple[str, ...]:
        return tuple(sorted(self.contents))

    def read(self, path: str) -> bytes:
        self.reads.append(path)
        if path not in self.contents:
            raise FileNotFoundError(2, "No such file or directory", path)
        return self.contents[path]

    def digest(self, path: str) -> str | None:
        return sha256(self.contents[path]).hexdigest() if path in self.contents else None


class Store(dict[str, str]):
    """Texts by key."""

    def put(self, key: str, text: str) -> None:
        self[key] = text


def load_text(text: str | bytes, path: str = "requirements/a.yaml") -> Loaded:
    """Load one file beside a good project.yaml."""
    content = dedent(text) if isinstance(text, str) else text
    return load(Memory({path: content, "requirements/project.yaml": PROJECT}))


def places(loaded: Loaded) -> list[tuple[str, int, int]]:
    """Return rule, line and column of each problem."""
    return [(problem.rule, problem.line, problem.column) for problem in loaded.problems]
