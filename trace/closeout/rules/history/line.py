"""The commits of a project one after another, as far as rules ask for it.

What a blob contains is stored under the blob's name, what the commits up to one make together under
that commit's name: only a new commit has anything to be read.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Protocol

from closeout.load.file_facts import READING, Cache, version_of
from closeout.load.file_facts import key as key_of_file
from closeout.load.project import is_project_file
from closeout.model.earlier_names import Names
from closeout.rules.history import facts as keeping
from closeout.rules.history.facts import KINDS, Facts, Item
from closeout.rules.history.renamed import NONE, Beside, Renaming, beside, renamed

_READING = (*READING, "rules/history")
# A requirement's text, with the day and the number of the commit that brought it.
Row = tuple[Item, str, int]
# What a commit changed: a path, and the blob that stands there from then on, None for nothing.
Change = tuple[str, "str | None"]


class Commit(Protocol):
    """A commit: its name, its day (year-month-day), and what it changed."""

    @property
    def day(self) -> str:
        """The day of the commit."""

    @property
    def changes(self) -> tuple[Change, ...]:
        """The paths that it changed, with their blobs."""


class Past(Protocol):
    """What is asked of the earlier states of a snapshot."""

    @property
    def commits(self) -> tuple[str, ...]:
        """The commits that the snapshot follows; none where it is the first."""

    @property
    def base(self) -> str | None:
        """The commit that the snapshot is compared with."""

    @property
    def shallow(self) -> bool:
        """Whether older commits exist that are not here."""

    @property
    def prefix(self) -> str:
        """Where in the repository the project stands."""

    def line(self) -> Iterable[Commit]:
        """Return the commits along the first parents, oldest first."""

    def every(self) -> Iterable[Commit]:
        """Return all commits."""

    def tree(self, commit: str) -> Mapping[str, str]:
        """Return the files of a commit, from path to blob."""

    def contents(self, blobs: Iterable[str]) -> Iterable[tuple[str, bytes]]:
        """Return blobs with their contents."""

    def name_of(self, content: bytes, like: str) -> str:
        """Return the blob's name of a content."""


class Blobs:
    """The facts of blobs, each parsed once and stored by its name.

    ``complete`` is False once one was asked for that was not fetched.
    """

    def __init__(self, past: Past, cache: Cache) -> None:
        self._past = past
        self._cache = cache
        self._facts: dict[str, Facts] = {}
        self._renamed: dict[str, Facts] = {}
        self._renaming = NONE
        self.complete = True

    def rename(self, renaming: Renaming) -> None:
        """Tell all facts from here on with the identifiers of today."""
        self._renaming = renaming
        self._renamed.clear()

    def read(self, blobs: Iterable[str]) -> None:
        """Have the facts of blobs at hand."""
        new = []
        for blob in dict.fromkeys(blobs):
            if blob in self._facts:
                continue
            text = self._cache.get(_key("blob", blob))
            if text is None:
                new.append(blob)
            else:
                self._facts[blob] = keeping.decoded(text)
        for blob, data in self._past.contents(new) if new else ():
            known = self._cache.get(key_of_file(blake2b(data, digest_size=32).hexdigest()))
            self._facts[blob] = keeping.facts_of(data, known)
            self._cache.put(_key("blob", blob), self._facts[blob].encoded())
        self.complete = self.complete and all(blob in self._facts for blob in new)

    def of(self, blob: str) -> Facts:
        """Return the facts of a blob that was read; none where it was not fetched."""
        if not self._renaming:
            return self.raw(blob)
        if blob not in self._renamed:
            self._renamed[blob] = renamed(self.raw(blob), self._renaming)
        return self._renamed[blob]

    def raw(self, blob: str) -> Facts:
        """Return the facts of a blob with the identifiers that stand there."""
        return self._facts.get(blob) or Facts({}, [], {}, {})


def _key(*parts: str) -> str:
    return ":".join(("past", version_of(_READING), *parts))


@dataclass(slots=True)
class Line:
    """What the commits up to one make together.

    ``gone`` are identifiers that are not there any more, ``returned`` those that came back with
    another meaning, each with what it stood for and the day on which it went. ``versions`` are the
    different texts of each requirement that has several or is gone, with the day and the number of
    their commit, ``issues`` those of each document with their number. ``since`` is the number of
    the one text of each other requirement that cites a document of several issues. ``records`` are
    the texts of each dated record with path and the first day, oldest first. ``reports`` are the
    nonconformances that the last commit holds, with what they stand for and its day, ``named`` the
    requirements that a nonconformance ever named, with the day. ``unknown`` are old identifiers,
    as the present state says, that never stood anywhere, by section; ``beside`` those that stood
    beside another of the same item, so that they are no old ones.
    """

    gone: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    returned: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    versions: dict[str, list[Row]] = field(default_factory=dict)
    issues: dict[str, list[tuple[str | None, int]]] = field(default_factory=dict)
    since: dict[str, int] = field(default_factory=dict)
    records: dict[str, list[tuple[Item, str, str]]] = field(default_factory=dict)
    reports: dict[str, tuple[str, str]] = field(default_factory=dict)
    named: dict[str, dict[str, str]] = field(default_factory=dict)
    unknown: list[tuple[str, str]] = field(default_factory=list)
    beside: list[Beside] = field(default_factory=list)

    def encoded(self) -> str:
        """Return it as text."""
        gone, returned = ([[*k, *v] for k, v in d.items()] for d in (self.gone, self.returned))
        rest = (self.versions, self.issues, self.since, self.records, self.reports, self.named)
        of_names = (self.unknown, self.beside)
        return json.dumps([gone, returned, *rest, *of_names], separators=(",", ":"))


def claims_of(past: Past, blobs: Blobs, cache: Cache) -> Names:
    """Return what the commits say of old identifiers: by section what each was renamed to.

    Where several say it of one, the youngest commit is believed.
    """
    key = _key("claims", *past.commits, past.prefix)
    text = cache.get(key)
    if text is not None:
        return dict(json.loads(text))
    found: dict[str, dict[str, str]] = {}
    every = list(past.every())
    blobs.read(blob for commit in every for _, blob in _changes(commit) if blob)
    for commit in every:  # which come youngest first
        for _, blob in _changes(commit):
            for section, said in (blobs.raw(blob).formerly if blob else {}).items():
                for new, olds in said.items():
                    for old in olds:
                        found.setdefault(section, {}).setdefault(old, new)
    if blobs.complete and not past.shallow:
        cache.put(key, json.dumps(found, separators=(",", ":")))
    return found


def line_of(past: Past, blobs: Blobs, cache: Cache, renaming: Renaming = NONE) -> Line:
    """Return what the commits up to the last one make together, stored where all of them are here.

    It speaks the identifiers of today, and so do the blobs from here on.
    """
    key = _key("line", *past.commits, past.prefix, *([renaming.key()] if renaming else ()))
    text = cache.get(key)
    if text is not None:
        gone, returned, *rest, unknown, apart = json.loads(text)
        line = Line(_by_identifier(gone), _by_identifier(returned), *rest)
        line.unknown, line.beside = [tuple(one) for one in unknown], [tuple(one) for one in apart]
        blobs.rename(renaming.without(line.beside))
        return line
    commits, every = list(past.line()), list(past.every())
    blobs.read(blob for c in (*commits, *every) for path, blob in _changes(c) if blob)
    unknown, apart = _no_renames(blobs, renaming, commits, every) if renaming else ([], [])
    blobs.rename(renaming.without(apart))
    found = _Walk(blobs).walked(commits)
    found.unknown, found.beside = unknown, apart
    seen: set[str] = set()
    for commit in reversed(every):  # which come youngest first
        for path, blob in _changes(commit):
            if blob is not None and blob not in seen:
                seen.add(blob)
                _add_records(found, blobs.of(blob), path, commit.day)
    if blobs.complete and not past.shallow:
        cache.put(key, found.encoded())
    return found


def _no_renames(
    blobs: Blobs, renaming: Renaming, commits: Sequence[Commit], every: Sequence[Commit]
) -> tuple[list[tuple[str, str]], list[Beside]]:
    """Return which old identifiers never stood anywhere, and which stood beside another."""
    stood: set[tuple[str, str]] = set()
    for blob in {blob for c in (*commits, *every) for _, blob in _changes(c) if blob}:
        facts = blobs.raw(blob)
        stood.update(facts.identifiers())
        stood.update((section, name) for name in facts.left_out for section in renaming.names)
    olds = [(section, old) for section, of in renaming.names.items() for old in of]
    unknown = [one for one in olds if one not in stood]
    return unknown, beside(_states(blobs, commits), renaming.names)


def _states(
    blobs: Blobs, commits: Iterable[Commit]
) -> Iterator[tuple[str, list[Facts], list[Facts]]]:
    """Yield the day of each commit, what the files that it changed had before, and have then."""
    files: dict[str, Facts] = {}
    for commit in commits:
        changes = list(_changes(commit))
        gone = [files.pop(path) for path, _ in changes if path in files]
        come = {path: blobs.raw(blob) for path, blob in changes if blob is not None}
        files |= come
        yield commit.day, gone, list(come.values())


def _by_identifier(rows: list[list[str]]) -> dict[tuple[str, str], tuple[str, str]]:
    return {(kind, name): (meant, day) for kind, name, meant, day in rows}


def _changes(commit: Commit) -> Iterator[Change]:
    return ((path, blob) for path, blob in commit.changes if is_project_file(path))


def _add_records(line: Line, facts: Facts, path: str, day: str) -> None:
    """Add the dated records of a file, each version once."""
    for item in facts.sections.get("records", ()):
        if "date" in item:
            rows = line.records.setdefault(item["id"], [])
            if all(item != other for other, _, _ in rows):
                rows.append((item, path, day))


class _Walk:
    """The states of a project one after another, as far as identifiers and texts go."""

    def __init__(self, blobs: Blobs) -> None:
        self._blobs = blobs
        self._line = Line()
        self._files: dict[str, Facts] = {}
        self._count: Counter[tuple[str, str]] = Counter()
        self._meant: dict[tuple[str, str], str] = {}

    def walked(self, commits: Sequence[Commit]) -> Line:
        """Return what the commits make together; they come oldest first."""
        for number, commit in enumerate(commits):
            self._step(list(_changes(commit)), commit.day, number)
        day = commits[-1].day if commits else ""
        self._line.reports = {
            name: (meant, day)
            for (of, name), meant in self._meant.items()
            if of == KINDS["nonconformances"] and self._count[of, name]
        }
        kind, versions = KINDS["requirements"], self._line.versions
        self._line.versions = {
            name: rows
            for name, rows in versions.items()
            if len(rows) > 1 or (kind, name) in self._line.gone
        }
        self._line.since = {
            name: number
            for name, ((item, _, number), *more) in versions.items()
            if not more and len(self._line.issues.get(document_of(item) or "", ())) > 1
        }
        return self._line

    def _step(self, changes: list[Change], day: str, number: int) -> None:
        old = [self._files.pop(path) for path, _ in changes if path in self._files]
        new = {path: self._blobs.of(blob) for path, blob in changes if blob is not None}
        self._files |= new
        before = Counter(key for facts in old for key in _names(facts))
        after = Counter(key for facts in new.values() for key in _names(facts))
        items = {key: item for facts in new.values() for key, item in facts.identified()}
        for key in before.keys() | after.keys():
            was = self._count[key]
            self._count[key] += after[key] - before[key]
            if was and not self._count[key] and key in self._meant:
                self._line.gone[key] = (self._meant[key], day)
            elif key in items:
                self._came(key, items[key])
        for (kind, name), item in items.items():
            if kind == KINDS["requirements"]:
                self._version(name, item, day, number)
        for facts in new.values():
            for item in facts.sections.get("nonconformances", ()):
                named = self._line.named.setdefault(item["id"], {})
                named.update(dict.fromkeys(item.get("requirements", ()), day))
            for item in facts.sections.get("documents", ()):
                issues = self._line.issues.setdefault(item["id"], [])
                if not issues or issues[-1][0] != item.get("issue"):
                    issues.append((item.get("issue"), number))

    def _came(self, key: tuple[str, str], item: Item) -> None:
        """Take in what an identifier stands for in the newest state so far."""
        meant = keeping.meaning(key[0], item)
        gone = self._line.gone.pop(key, None)
        if gone is not None and gone[0] != meant:
            self._line.returned[key] = gone
        self._meant[key] = meant

    def _version(self, name: str, item: Item, day: str, number: int) -> None:
        rows = self._line.versions.setdefault(name, [])
        if not rows or rows[-1][0] != item:
            rows.append((item, day, number))


def _names(facts: Facts) -> Iterator[tuple[str, str]]:
    """Yield every identifier that a file holds, also of an item that could not be read."""
    yield from (key for key, _ in facts.identified())
    for name in facts.left_out:
        yield from ((kind, name) for kind in KINDS.values())


def document_of(item: Item) -> str | None:
    """Return the document that a requirement comes from, None where it is none or plain text."""
    source = item.get("source")
    return source.get("document") if isinstance(source, Mapping) else None
