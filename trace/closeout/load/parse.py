"""Strict YAML: one pass over libyaml's events gives values, places and refusals.

Nothing is resolved and nothing is called by a tag. Events come one by one from a parser that keeps
its state on the heap, so that no depth of nesting can exhaust the stack of the process.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from closeout.load.encoding import control_problem, find_control
from closeout.load.file_problems import MOST_PROBLEMS, problem
from closeout.load.glued import glued_signs
from closeout.load.places import Mark, Node
from closeout.load.scalars import LEADS, Plain, is_no_string
from closeout.model.amount import shorten
from closeout.model.errors import UserError
from closeout.model.problem import Problem

DEEPEST = 40
_BREAKS = re.compile(r"\r\n|\r|\n")
_GLUED = {
    "#": "write a space before # of a comment; put a text that contains # in quotes",
    "?": "put a text that begins with ? in quotes, or write a space after ?",
}
_ITEM: Any = object()  # in place of a key: the next value is an item of a list


class NoLibyaml(UserError):
    """PyYAML was built without libyaml."""


class _Stop(Exception):
    """What follows is not worth reading."""


class _Dropped:
    """A key whose value is not used: given twice, a merge key, or no scalar."""


class _Start(NamedTuple):
    line: int = 0
    column: int = 0


@dataclass(slots=True)
class Parsed:
    """What a text holds.

    ``value`` is dicts, lists and scalars: str, or Plain where YAML's core schema reads no string
    (None where the text holds no value). ``node`` holds the places of the same. ``whole`` is False
    where the text could not be read to its end; then the value is not to be used.
    """

    value: Any = None
    node: Node | Mark = field(default_factory=_Start)
    problems: list[Problem] = field(default_factory=list)
    whole: bool = True


def parsed(text: str) -> Parsed:
    """Return what a YAML text holds, and everything in it that is refused.

    Raises:
        NoLibyaml: PyYAML was built without libyaml.
    """
    conflicts = _conflicts(text)
    if conflicts:
        return Parsed(problems=conflicts, whole=False)
    return _Reader(text).read()


def _conflicts(text: str) -> list[Problem]:
    """Return a problem for each conflict of a merge that git left in the text."""
    if "<<<<<<< " not in text and ">>>>>>> " not in text:
        return []
    message = "unresolved merge conflict"
    cure = "keep one of the two versions, and remove the lines <<<<<<<, ======= and >>>>>>>"
    lines = enumerate(_BREAKS.split(text), 1)
    return [
        problem("merge-conflict", number, 1, message, cure)
        for number, line in lines
        if line.startswith(("<<<<<<< ", ">>>>>>> "))
    ]


class _Reader:
    """The pass over one text. A frame of the stack is what to go on with when a value ends."""

    def __init__(self, text: str) -> None:
        try:
            import yaml
            from yaml._yaml import CParser
        except ImportError as error:
            raise NoLibyaml(str(error)) from error
        self._yaml = yaml
        self._text = text
        self._next: Any = CParser(text).get_event
        self._problems: list[Problem] = []
        self._top: list[Any] = []
        self._places: list[Node | Mark] = []
        self._stack: list[tuple[Any, Any, dict[str, Mark], Any]] = []
        self._documents = 0
        self._lines: list[str] = []
        self._brackets: Mark = _Start()
        # Of each mapping and list that is open: the column beyond which what stands in it must be
        # indented, and whether it stands between brackets.
        self._open_at: list[tuple[int, bool]] = [(-1, False)]

    def read(self) -> Parsed:
        whole = True
        try:
            self._build()
            self._refuse_glued()
        except _Stop:
            whole = False
        except self._yaml.YAMLError as error:
            whole = False
            self._problems.append(_syntax_problem(error, self._text))
        if not self._top:
            return Parsed(problems=self._problems, whole=whole)
        return Parsed(self._top[0], self._places[0], self._problems, whole)

    def _build(self) -> None:
        # The hot loop of the loader: a scalar costs no call of a function.
        scalar: Any = self._yaml.ScalarEvent
        here: Any = self._top
        values: Any = self._places
        keys: dict[str, Mark] = {}
        key: Any = _ITEM
        for event in iter(self._next, None):
            if event.__class__ is not scalar:
                here, key, keys, values = self._other(event, here, key, keys, values)
                continue
            text = event.value
            style = event.style
            if event.anchor or event.tag:
                self._refuse_properties(event)
            if style:
                if style == '"' and find_control(text):
                    self._refuse_controls(event)
                if event.start_mark.line != event.end_mark.line and style in "'\"":
                    self._check_indent(event.start_mark, event.end_mark)
            if key is None:
                key = text
                if text in here or text == "<<":
                    key = self._refused_key(event, keys)
                keys[key] = event.start_mark
                continue
            if not style and text[:1] in LEADS and is_no_string(text):
                text = Plain(text)
            if key is _ITEM:
                here.append(text)
                values.append(event.start_mark)
            else:
                here[key] = text
                values[key] = event.start_mark
                key = None

    def _other(self, event: Any, here: Any, key: Any, keys: Any, values: Any) -> Any:
        """Take an event that is no scalar; return what to go on with."""
        yaml, kind = self._yaml, event.__class__
        if kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
            return self._open(event, here, key, keys, values)
        if kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
            if self._problems:
                _forget_dropped(here, keys, values)
            self._close(event)
            return self._stack.pop()
        if kind is yaml.AliasEvent:
            return self._alias(event, here, key, keys, values)
        if kind is yaml.DocumentStartEvent:
            self._document(event)
        return here, key, keys, values

    def _open(self, event: Any, here: Any, key: Any, keys: Any, values: Any) -> Any:
        """Begin a mapping or list; return the frame of its inside."""
        mapping = event.__class__ is self._yaml.MappingStartEvent
        if event.anchor or event.tag:
            self._refuse_properties(event)
        if len(self._stack) >= DEEPEST:
            self._problems.append(_too_deep(event.start_mark))
            raise _Stop
        column, in_brackets = self._open_at[-1]
        if event.flow_style and not in_brackets:
            self._brackets = event.start_mark
        self._open_at.append(
            (column, True) if event.flow_style else (event.start_mark.column, False)
        )
        if key is None:
            message = "a mapping or a list is given as a key"
            self._refuse("yaml-key", event, message, "write a word as the key")
            key = _Dropped()
            self._stack.append((here, key, keys, values))
        else:
            self._stack.append((here, key if key is _ITEM else None, keys, values))
        inside: Any = {} if mapping else []
        node = Node(event.start_mark, {}, {} if mapping else [])
        if key is _ITEM:
            here.append(inside)
            values.append(node)
        else:
            here[key] = inside
            values[key] = node
        return inside, (None if mapping else _ITEM), node.keys, node.values

    def _close(self, event: Any) -> None:
        """End a mapping or list; what stood between the outermost brackets must be indented."""
        _, in_brackets = self._open_at.pop()
        if in_brackets and not self._open_at[-1][1]:
            self._check_indent(self._brackets, event.end_mark)

    def _check_indent(self, start: Mark, end: Mark) -> None:
        """Refuse a line inside quotes or brackets that stands as far left as a key around them.

        Where a closing quote was forgotten, whole keys would stand inside the quotes and be lost.
        """
        column, in_brackets = self._open_at[-1]
        if in_brackets:
            return
        self._lines = self._lines or _BREAKS.split(self._text)
        for number in range(start.line + 1, end.line + 1):
            line = self._lines[number]
            inside = line.lstrip(" ")
            if len(line) - len(inside) > column or not inside.strip() or inside[0] in "]}#":
                continue
            place = _Start(number, len(line) - len(inside))
            message = "a text in quotes or brackets continues too far to the left"
            cure = (
                f"indent it by more than {column} space{'s'[: column != 1]}, or close the quote or"
                " bracket before this line"
            )
            self._refuse("yaml-indent", place, message, cure)
            return

    def _alias(self, event: Any, here: Any, key: Any, keys: Any, values: Any) -> Any:
        """Refuse an alias; an empty scalar stands for it."""
        message = f"alias {shorten('*' + event.anchor)}"
        self._refuse("yaml-alias", event, message, "write the value itself")
        if key is None:
            return here, _Dropped(), keys, values
        if key is _ITEM:
            here.append("")
            values.append(event.start_mark)
            return here, key, keys, values
        here[key] = ""
        values[key] = event.start_mark
        return here, None, keys, values

    def _document(self, event: Any) -> None:
        self._documents += 1
        if event.version or event.tags:
            self._refuse_directives(event)
        if self._documents == 2:
            message = "a second document begins in this file"
            cure = "remove the line '---', or move what follows to another file"
            self._refuse("yaml-documents", event, message, cure)

    def _refused_key(self, event: Any, keys: dict[str, Mark]) -> Any:
        """Refuse a merge key or a key that was given before; return the key to go on with."""
        text = event.value
        if text != "<<":
            message = f"the key {shorten(text)} is already given at line {keys[text].line + 1}"
            cure = "keep one of the two"
            self._refuse("yaml-duplicate-key", event, message, cure)
            return _Dropped()
        if event.style:
            return text
        cure = "write the keys themselves"
        self._refuse("yaml-merge-key", event, "merge key '<<'", cure)
        return _Dropped()

    def _refuse_properties(self, event: Any) -> None:
        if event.anchor:
            message = f"anchor {shorten('&' + event.anchor)}"
            place = self._sign("&", event)
            self._refuse("yaml-anchor", place, message, "remove it; write the values themselves")
        if event.tag:
            message = f"tag {shorten(event.tag)}"
            place = self._sign("!", event)
            self._refuse("yaml-tag", place, message, "remove it; the key defines the type")

    def _sign(self, sign: str, event: Any) -> _Start:
        """Return the place of an anchor's or tag's sign: the two stand in either order."""
        mark = event.start_mark
        at = self._text.find(sign, mark.index, mark.index + 2000)
        between = self._text[mark.index : max(at, mark.index)]
        if "\n" in between or "\r" in between:
            return _Start(mark.line, mark.column)
        return _Start(mark.line, mark.column + len(between))

    def _refuse_controls(self, event: Any) -> None:
        mark = event.start_mark
        for character in dict.fromkeys(filter(find_control, event.value)):
            self._problems.append(control_problem(character, mark.line + 1, mark.column + 1))

    def _refuse_directives(self, event: Any) -> None:
        start = event.start_mark.index
        lines = self._text[start : start + 10_000].splitlines()
        for number, line in enumerate(lines, event.start_mark.line):
            if line.startswith("---"):
                break
            if line.startswith("%"):
                self._refuse("yaml-directive", _Start(number), *_directive(line))

    def _refuse_glued(self) -> None:
        for sign, index in glued_signs(self._text):
            above = _BREAKS.split(self._text[:index])
            message = f"{sign} has no space beside it"
            self._refuse(
                "yaml-glued", _Start(len(above) - 1, len(above[-1])), message, _GLUED[sign]
            )

    def _refuse(self, rule: str, where: Any, message: str, cure: str) -> None:
        mark = getattr(where, "start_mark", where)
        self._problems.append(problem(rule, mark.line + 1, mark.column + 1, message, cure))
        if len(self._problems) > MOST_PROBLEMS:
            raise _Stop


def _forget_dropped(here: Any, keys: Any, values: Any) -> None:
    if isinstance(here, dict):
        for key in [key for key in here if isinstance(key, _Dropped)]:
            del here[key], values[key]
            keys.pop(key, None)


def _directive(line: str) -> tuple[str, str]:
    return f"directive {shorten(line.strip())}", "remove the line; the file is read as YAML 1.2"


_CURES = (
    ("mapping values are not allowed", "put a text that contains ': ' in quotes, or check indents"),
    ("that cannot start any token", "put a text that begins with a sign in quotes"),
    ("unexpected end of stream", "close the quote that is open"),
    ("could not find expected ':'", "write ': ' after the key, or put the text in quotes"),
    ("unknown escape character", "double the backslash, or use single quotes"),
    ("", "check indents, quotes and brackets at this place"),
)


def _too_deep(mark: Mark) -> Problem:
    message = f"nested deeper than {DEEPEST} levels"
    cure = "nest less; no section of a project file needs ten levels"
    return problem("too-deep", mark.line + 1, mark.column + 1, message, cure)


def _syntax_problem(error: Any, text: str) -> Problem:
    """Return the problem of an error of libyaml's: where it stands, and what is usually meant."""
    mark = getattr(error, "problem_mark", None) or _Start()
    reason = str(getattr(error, "problem", None) or error).replace("\n", " ")
    if "maximum nesting depth" in reason:  # libyaml reads ahead, and stops by itself at 1,000
        return _too_deep(mark)
    lines = text.split("\n", mark.line + 1)
    line = lines[mark.line] if mark.line < len(lines) else ""
    if line.startswith("%"):
        return problem("yaml-directive", mark.line + 1, 1, *_directive(line))
    cure = next(cure for words, cure in _CURES if words in reason)
    if line[mark.column : mark.column + 1] == "\t":
        cure = "indent by spaces, not by tabs"
    context = getattr(error, "context", None)
    message = f"not valid YAML: {reason}" + (f" {context}" if context else "")
    return problem("yaml-syntax", mark.line + 1, mark.column + 1, message, cure)
