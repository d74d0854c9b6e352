"""From the files of a snapshot to a project."""

from __future__ import annotations

import gc
import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from closeout.load import file_facts as keeping
from closeout.load.file_facts import Cache, FileFacts
from closeout.load.file_problems import limited, problem
from closeout.load.places import Place, find
from closeout.load.within import within
from closeout.model.errors import UserError
from closeout.model.problem import Finding, Pointer, Problem, Severity, in_order
from closeout.model.records import Charter, LinkedParameter, Parameter, Project

if TYPE_CHECKING:
    from closeout.load.parse import Parsed

HOME = "requirements/project.yaml"
# Files that analyses read: theirs is every form, also that of YAML.
DATA = "analyses/data/"
_CALL_FOR_LIBYAML = "install a PyYAML that was built with libyaml, as its wheels are"


class Files(Protocol):
    """What is asked of a snapshot: the files below requirements/ and analyses/."""

    def files(self) -> tuple[str, ...]:
        """Return the sorted paths, from the project's root, with slashes."""

    def read(self, path: str) -> bytes:
        """Return the content of a file; OSError where it cannot be read."""

    def digest(self, path: str) -> str | None:
        """Return the digest of a file's content, None where there is none."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """A project as far as it could be loaded.

    ``project`` is None only where there is no usable project section. ``files`` counts the files
    that were read as project files. ``left_out`` are the identifiers of items that are not in the
    project because something is wrong with them; ``whole`` is False where a file could not be read,
    so that nobody knows what it holds.
    """

    project: Project | None
    problems: tuple[Problem, ...]
    files: int
    left_out: tuple[str, ...] = ()
    whole: bool = True


def load(files: Files, cache: Cache | None = None) -> Loaded:
    """Return the project that the files hold and every problem in them; never raises for content.

    With a cache, a file whose content was seen before is neither parsed nor checked again.
    """
    with _without_collector():
        return _Loading(files, cache).load()


@contextmanager
def _without_collector() -> Iterator[None]:
    """Hold the garbage collector: hundreds of thousands of values without a cycle only slow it."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


# What reading a stored text raises where it was changed.
_DAMAGED = (
    UserError, ValueError, TypeError, KeyError, AttributeError, IndexError, RecursionError,
)  # fmt: skip


class _Loading:
    """One load: what was found so far."""

    def __init__(self, files: Files, cache: Cache | None) -> None:
        self._files = files
        self._cache = cache
        self._fresh: list[tuple[str, str]] = []
        self._problems: list[Problem] = []
        self._found: dict[str, list[Any]] = {}
        self._left_out: list[str] = []
        self._project_files: list[str] = []
        self._all_whole = True

    def load(self) -> Loaded:
        from closeout.load.parse import NoLibyaml

        count = 0
        try:
            for path in self._files.files():
                if is_project_file(path):
                    count += 1
                    self._take(path)
                elif _has_other_ending(path):
                    self._problems.append(_other_ending(path))
        except NoLibyaml as error:
            message = f"PyYAML is installed without libyaml ({error})"
            return Loaded(None, (_at_start("no-libyaml", HOME, message, _CALL_FOR_LIBYAML),), 0)
        _keep(self._cache, self._fresh)
        charter = self._charter()
        project = None if charter is None else _project(charter, self._found)
        return Loaded(
            project, in_order(self._problems), count, tuple(self._left_out), self._all_whole
        )

    def _take(self, path: str) -> None:
        """Add what one file holds."""
        try:
            facts, found = self._known(path) or self._read(path)
        except OSError as error:
            message = f"the file cannot be read: {error.strerror or type(error).__name__}"
            cure = "correct its permissions, or remove it"
            self._problems.append(_at_start("unreadable", path, message, cure))
            self._all_whole = False
            return
        self._problems += [one.in_file(path) for one in facts.problems]
        self._left_out += facts.left_out
        self._all_whole = self._all_whole and facts.whole
        if "project" in facts.sections:
            self._project_files.append(path)
        for section, record in found:
            self._found.setdefault(section, []).append(record)

    def _known(self, path: str) -> tuple[FileFacts, list[tuple[str, Any]]] | None:
        """Return what the cache knows of a file, None where it knows nothing that can be used."""
        digest = self._files.digest(path) if self._cache is not None else None
        text = None
        if self._cache is not None and digest is not None:
            text = self._cache.get(keeping.key(digest))
        if text is None:
            return None
        try:
            facts = keeping.decoded(text)
            return facts, keeping.records(path, facts)
        except (
            UserError,
            ValueError,
            TypeError,
            KeyError,
            AttributeError,
            IndexError,
            RecursionError,
        ):
            return None

    def _read(self, path: str) -> tuple[FileFacts, list[tuple[str, Any]]]:
        text = content(self._files.read(path))
        digest = self._files.digest(path) if self._cache is not None else None
        if digest is not None:
            self._fresh.append((keeping.key(digest), text))
        # What is used is what will come from the cache the next time: one way, one result.
        facts = keeping.decoded(text)
        return facts, keeping.records(path, facts)

    def _charter(self) -> Charter | None:
        first = next(iter(self._project_files), None)
        for path in self._project_files[1:]:
            message = f"the project section is already given in {first}"
            cure = "keep one of the two"
            where = Pointer(path, ("project",))
            finding = Finding("duplicate-section", Severity.ERROR, where, message, cure)
            self._problems += locate(self._files, [finding])
        if first is None and self._all_whole:
            message = "no file has a project section"
            cure = f"write {HOME} with project: and its name"
            self._problems.append(_at_start("no-project", HOME, message, cure))
        charters: list[Charter] = self._found.get("project", [])
        return next((charter for charter in charters if charter.where.path == first), None)


def content(data: bytes) -> str:
    """Return what is known of a file of this content, as the text that is stored."""
    from closeout.load.checked_items import Checked, checked_form, leave_out_unreadable
    from closeout.load.encoding import decoded
    from closeout.load.parse import parsed

    text, problems = decoded(data)
    if text is None:
        return keeping.encoded(FileFacts({}, tuple(problems), (), False))
    document = parsed(text)
    document.problems[:0] = problems
    if not document.whole:
        return keeping.encoded(FileFacts({}, tuple(limited(document.problems)), (), False))
    result: Checked = checked_form(document)
    leave_out_unreadable(result, document)
    every = limited(document.problems + result.problems)
    return keeping.encoded(FileFacts(result.sections, tuple(every), tuple(result.left_out), True))


def _keep(cache: Cache | None, fresh: list[tuple[str, str]]) -> None:
    """Put what is new into the cache, all at once where it can."""
    if cache is None or not fresh:
        return
    together = getattr(cache, "put_many", None)
    if together is not None:
        together(fresh)
        return
    for key, text in fresh:
        cache.put(key, text)


def _project(charter: Charter, found: dict[str, list[Any]]) -> Project:
    records = {section: tuple(items) for section, items in found.items() if section != "project"}
    parameters = records.pop("parameters", ())
    stated = tuple(one for one in parameters if isinstance(one, Parameter))
    linked = tuple(one for one in parameters if isinstance(one, LinkedParameter))
    return Project(charter=charter, parameters=stated, linked=linked, **records)


def is_project_file(path: str) -> bool:
    """Return whether a file is read as part of the project: YAML that is no analysis' own data."""
    return path.endswith(".yaml") and not path.startswith(DATA)


def _has_other_ending(path: str) -> bool:
    return path.lower().endswith((".yml", ".yaml")) and not path.startswith(DATA)


def _other_ending(path: str) -> Problem:
    message = "only files that end in .yaml are read"
    renamed = path.rpartition(".")[0].rpartition("/")[2] + ".yaml"
    return _at_start("wrong-ending", path, message, f"rename it to {renamed}")


def _at_start(rule: str, path: str, message: str, cure: str) -> Problem:
    return problem(rule, 1, 1, message, cure).in_file(path)


@dataclass(frozen=True, slots=True)
class _Source:
    """A file's text, and what it holds."""

    text: str
    parsed: Parsed


# Steps and offset of a finding, and whether it is of the key.
_Wanted = tuple[tuple[str | int, ...], int | None, bool]


def locate(
    files: Files, findings: Iterable[Finding], cache: Cache | None = None
) -> tuple[Problem, ...]:
    """Return the findings as problems at lines and columns, in order.

    Each file that is named is read once at most, and not at all where the cache knows the places.
    A pointer that leads to nothing, or into a file that is no YAML, is placed at the nearest value
    that it reaches, else at 1:1. A finding with an offset is placed at that character of the text,
    wherever the file's folding has put it.
    """
    by_path: dict[str, list[Finding]] = {}
    for finding in findings:
        by_path.setdefault(finding.where.path, []).append(finding)
    problems = []
    for path, some in by_path.items():
        keys = [(one.where.steps, one.offset, one.at_key) for one in some]
        wanted = list(dict.fromkeys(keys))
        places = dict(zip(wanted, _places(files, path, wanted, cache), strict=True))
        for one, key in zip(some, keys, strict=True):
            line, column = places[key]
            problems.append(
                Problem(one.rule, one.severity, path, line, column, one.message, one.cure)
            )
    return in_order(problems)


def places(files: Files, pointers: Iterable[Pointer]) -> dict[Pointer, Place]:
    """Return line and column, from 1, of each place; see :func:`locate` for what leads nowhere."""
    by_path: dict[str, list[Pointer]] = {}
    for pointer in dict.fromkeys(pointers):
        by_path.setdefault(pointer.path, []).append(pointer)
    found: dict[Pointer, Place] = {}
    for path, some in by_path.items():
        wanted: list[_Wanted] = [(pointer.steps, None, False) for pointer in some]
        found.update(zip(some, _places(files, path, wanted, None), strict=True))
    return found


def _places(files: Files, path: str, wanted: list[_Wanted], cache: Cache | None) -> list[Place]:
    """Return where steps, and characters of what they lead to, stand in a file."""
    if not any(steps for steps, *_ in wanted):
        return [(1, 1) for _ in wanted]
    digest = files.digest(path) if cache is not None else None
    key = None if digest is None else keeping.key(f"{digest}:{json.dumps(wanted)}")
    known = cache.get(key) if cache is not None and key is not None else None
    if known is not None:
        return [(line, column) for line, column in json.loads(known)]
    source = _source(files, path)
    places = [(1, 1) if source is None or not one[0] else _place(source, *one) for one in wanted]
    if cache is not None and key is not None:
        cache.put(key, json.dumps(places))
    return places


def _place(
    source: _Source, steps: tuple[str | int, ...], offset: int | None, at_key: bool
) -> Place:
    start = find(source.parsed.node, steps, key=at_key)
    if offset is None:
        return start
    value = source.parsed.value
    for step in steps:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return start
    return within(source.text, start, value, offset) if isinstance(value, str) else start


def _source(files: Files, path: str) -> _Source | None:
    from closeout.load.encoding import decoded
    from closeout.load.parse import NoLibyaml, parsed

    if not path.endswith(".yaml"):
        return None
    try:
        text, _problems = decoded(files.read(path))
        return None if text is None else _Source(text, parsed(text))
    except (OSError, NoLibyaml):
        return None
