"""Every rule that the tool can find broken, each with its page: a file of ``pages/``.

A page is read where it is asked for; a run that finds nothing reads none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path

from closeout.rules.page import rule_of
from closeout.rules.rule import Rule

# What is found from what a module says of its analyses once it is imported: of each nothing, or not
# all, can be found without. A test holds the first against the examples of all pages.
OF_CODE = (
    "analysis-import",
    "analysis-signature",
    "unknown-analysis",
    "ambiguous-analysis",
    "unused-analysis",
    "unknown-quantity",
    "unknown-parameter",
    "unused-parameter",
    "condition-not-given",
    "given-unused",
    "dependent-parameters",
    "model-uncertainty",
    "analysis-not-validated",
    "worst-case-of-nothing",
)
PARTLY_OF_CODE = ("dangling-reference", "kelvin-meets-celsius", "linked-parameter", "unit")


class Pages(Mapping[str, Rule]):
    """The rules of a folder of pages by name, in the order of the alphabet."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._read: dict[str, Rule] = {}

    @cached_property
    def _names(self) -> dict[str, None]:
        return dict.fromkeys(sorted(path.stem for path in self._folder.glob("*.md")))

    def __getitem__(self, name: str) -> Rule:
        if name not in self._names:  # which a project's policy gives, and may be any text
            raise KeyError(name)
        if name not in self._read:
            text = (self._folder / f"{name}.md").read_text("utf-8")
            self._read[name] = rule_of(name, text)
        return self._read[name]

    def __contains__(self, name: object) -> bool:
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


RULES = Pages(Path(__file__).with_name("pages"))
