"""Reads the page of a rule: Markdown with fixed headings, and examples in fenced blocks.

A page says of its rule, in this order::

    # NAME

    - kind: standard
    - severity: warning

    ## What it says
    ## Why
    ## Source
    ## Breaks it
    ## Keeps it

An example is one block or several. A block of ``shell`` is commands, a line each; any other is a
file, of the language and with the path that stand behind its fence (without a path: any name).
States that follow each other in git stand below ``### Before``, ``### Then`` and ``### After``.
Where the two examples differ stands in «guillemets», which are no part of the example.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NoReturn

from closeout.model.problem import Severity
from closeout.rules.rule import KINDS, Block, Example, Mark, Rule, State

PARTS = ("What it says", "Why", "Source", "Breaks it", "Keeps it")
STATES = ("Before", "Then", "After")
_FENCE = "```"
_OPENED = re.compile(r"```(?P<language>[a-z]+)(?: (?P<path>\S+))?")
_MARKED = re.compile("«([^«»]+)»")
_PROPERTY = re.compile(r"- (kind|severity): ([a-z]+)")

# A line of a page with its number, from 1.
_Line = tuple[int, str]


class PageError(ValueError):
    """A page that is not of the form; the text names the page, the line and what is wrong."""


def rule_of(name: str, text: str) -> Rule:
    """Return the rule that a page is about; PageError where the page is not of the form."""
    return _Reader(name).rule(text)


class _Reader:
    """Reads one page."""

    def __init__(self, name: str) -> None:
        self._name = name

    def rule(self, text: str) -> Rule:
        """Return the rule that a text is about."""
        (number, title), *lines = list(enumerate(text.splitlines(), start=1)) or [(1, "")]
        if title != f"# {self._name}":
            self._bad_page(number, f"it begins with '# {self._name}', the name of its file")
        head, *parts = self._split(lines, "## ")
        titles = [heading for (_, heading), _ in parts]
        for (number, heading), _ in parts:
            if heading not in PARTS:
                self._bad_page(number, f"unknown heading '{heading}': they are {', '.join(PARTS)}")
        for part in PARTS:
            if titles.count(part) != 1:
                what = "missing" if part not in titles else "there twice"
                self._bad_page(len(lines) + 1, f"'## {part}' is {what}")
        if titles != list(PARTS):
            self._bad_page(parts[0][0][0], f"the headings have this order: {', '.join(PARTS)}")
        kind, severity = self._properties(head[1])
        said, why, source = (self._prose(*part) for part in parts[:3])
        breaks, keeps = (self._example(*part) for part in parts[3:])
        return Rule(self._name, kind, severity, said, why, source, breaks, keeps)

    def _bad_page(self, line: int, message: str) -> NoReturn:
        raise PageError(f"{self._name}.md:{line}: {message}")

    def _split(
        self, lines: Sequence[_Line], sign: str
    ) -> list[tuple[tuple[int, str], list[_Line]]]:
        """Return the lines under each heading, those above the first one under an empty one."""
        found: list[tuple[tuple[int, str], list[_Line]]] = [((0, ""), [])]
        opened = 0
        for number, line in lines:
            if line.startswith(_FENCE):
                opened = 0 if opened else number
            if line.startswith(sign) and not opened:
                found.append(((number, line.removeprefix(sign)), []))
            else:
                found[-1][1].append((number, line))
        if opened:
            self._bad_page(opened, "the block that begins here has no end")
        return found

    def _properties(self, lines: Sequence[_Line]) -> tuple[str, Severity]:
        """Return kind and severity, which stand at the top."""
        found = {}
        for number, line in lines:
            said = _PROPERTY.fullmatch(line)
            if said:
                found[said[1]] = said[2]
            elif line:
                self._bad_page(number, "'- kind:' and '- severity:' are missing")
        kind, severity = found.get("kind"), found.get("severity")
        if kind not in KINDS:
            self._bad_page(1, f"'- kind:' is one of {', '.join(KINDS)}")
        if severity not in list(Severity):
            self._bad_page(1, f"'- severity:' is one of {', '.join(Severity)}")
        return kind, Severity(severity)

    def _prose(self, heading: _Line, lines: Sequence[_Line]) -> str:
        text = " ".join(word for _, line in lines for word in line.split())
        if not text:
            self._bad_page(heading[0], f"'## {heading[1]}' says nothing")
        if _FENCE in text:
            self._bad_page(heading[0], f"'## {heading[1]}' has no block")
        return text

    def _example(self, heading: _Line, lines: Sequence[_Line]) -> Example:
        alone, *states = self._split(lines, "### ")
        if not states:
            return Example((State("", self._blocks(heading[0], alone[1])),))
        for number, line in alone[1]:
            if line:
                self._bad_page(number, "the text above '### Before' belongs to no state")
        whens = [when for (_, when), _ in states]
        if any(when not in STATES for when in whens) or [whens[0], whens[-1]] != [*STATES[::2]]:
            first, *_, last = STATES
            message = f"states begin with '### {first}' and end with '### {last}'"
            self._bad_page(heading[0], f"{message}, with '### {STATES[1]}' between")
        return Example(tuple(State(when, self._blocks(n, some)) for (n, when), some in states))

    def _blocks(self, above: int, lines: Sequence[_Line]) -> tuple[Block, ...]:
        found = tuple(self._each_block(iter(lines)))
        if not found:
            self._bad_page(above, "there is no block below this heading")
        return found

    def _each_block(self, lines: Iterator[_Line]) -> Iterator[Block]:
        for number, line in lines:
            opened = _OPENED.fullmatch(line)
            if opened:
                yield self._block(opened["language"], opened["path"] or "", lines)
            elif line:
                self._bad_page(number, "an example is blocks alone: ```yaml PATH, ```shell")

    def _block(self, language: str, path: str, lines: Iterator[_Line]) -> Block:
        text, marks = "", list[Mark]()
        for count, (number, line) in enumerate(lines):
            if line == _FENCE:
                break
            plain = ""
            for place, part in enumerate(_MARKED.split(line)):  # every second one was marked
                if place % 2:
                    marks.append(Mark(count, len(plain), len(plain) + len(part)))
                plain += part
            if "«" in plain or "»" in plain:
                self._bad_page(number, "each « has its » on the same line, with a word between")
            text += plain + "\n"
        return Block(language, path, text, tuple(marks))
