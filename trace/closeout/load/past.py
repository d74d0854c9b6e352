"""From the commits of a project to its history, as far as rules ask for it.

What a blob holds is kept by the blob's name, what the commits up to one make together by that
commit's name: only a new commit has anything to be read.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import blake2b
from typing import Any, Protocol

from closeout.load import facts as keeping
from closeout.load.facts import KINDS, Facts, Item
from closeout.load.kept import Cache
from closeout.load.kept import key as key_of_file
from closeout.load.project import Files, is_project_file
from closeout.model.history import Base, History, LostRecord, Reused, Version
from closeout.model.records import Project, Record

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
    def commit(self) -> str:
        """The last commit."""

    @property
    def base(self) -> str | None:
        """The commit that the snapshot is held against."""

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


def history_of(
    past: Past, files: Files, project: Project, left_out: Iterable[str], cache: Cache
) -> History:
    """Return what the earlier states tell of the present project.

    Args:
        left_out: identifiers of items that are there, with a fault.
    """
    blobs = _Blobs(past, cache)
    line = _line(past, blobs, cache)
    present = _present(project)
    there = {name for _, name in present} | set(left_out)
    held = {
        name: [
            LostRecord(keeping.typed("records", item, path), path, day) for item, path, day in rows
        ]
        for name, rows in line.records.items()
    }
    lost = tuple(one for name, some in held.items() if name not in there for one in some)
    now = {record.id: record for record in project.records}
    edited = tuple(
        replace(one, changed=changed)
        for name, some in held.items()
        for one in some
        if name in now and (changed := _changed(one.record, now[name]))
    )
    judged = {name for record in project.records if record.date for name, _ in record.judged}
    judged |= {name for one in (*lost, *edited) for name, _ in one.record.judged}
    base = _base(past, files, blobs)
    return History(
        base=base,
        versions={name: _versions(line.versions.get(name, []), base, name) for name in judged},
        reused=tuple(_reused(line, present)),
        lost=lost,
        edited=edited,
        gone=tuple(_gone_reports(line, there)),
    )


def _changed(was: Record, now: Record) -> tuple[str, ...]:
    """Return what a record said and does not say any more, "result" where it is what came out.

    How it is written is no matter, nor what it says beside that by now.
    """
    found = ["result"] if _result(was) != _result(now) else []
    for word, of in (("judged", _judged), ("article", _article), ("conditions", _conditions)):
        found += [f"{word} {one}" for one in of(was) if one not in of(now)]
    if was.data_sha256 is not None and was.data_sha256 != now.data_sha256:
        found.append(f"data_sha256 {was.data_sha256[:12]}...")
    return tuple(found)


def _gone_reports(line: _Line, there: Container[str]) -> Iterator[Reused]:
    """Yield the nonconformances that stood in the project and do not any more."""
    kind = KINDS["nonconformances"]
    gone = {name: said for (of, name), said in line.gone.items() if of == kind}
    for name, (meant, day) in {**line.reports, **gone}.items():
        if name not in there:
            yield Reused(kind, name, meant, day)


def _result(record: Record) -> tuple[object, ...]:
    measured = tuple((name, one.value, one.uncertainty) for name, one in record.measured)
    return record.outcome, measured, record.date is None


def _judged(record: Record) -> list[str]:
    return [f"{name} issue {issue}" for name, issue in record.judged]


def _article(record: Record) -> list[str]:
    return [f"{name} {build}" for name, build in record.article]


def _conditions(record: Record) -> list[str]:
    return [f"{name} = {float(a.number):.12g} {a.unit}" for name, a in record.conditions]


def _versions(rows: list[tuple[Item, str]], base: Base | None, name: str) -> tuple[Version, ...]:
    """Return the texts of a requirement; where it never changed in a commit, that of the base."""
    if not rows and base is not None and name in base.requirements:
        return (Version("", base.requirements[name]),)
    return tuple(Version(day, keeping.typed("requirements", item, "")) for item, day in rows)


def _present(project: Project) -> dict[tuple[str, str], str]:
    """Return what each identifier of the present state stands for."""
    found: dict[tuple[str, str], str] = {}
    for one in project.requirements:
        found["requirement", one.id] = keeping.meaning("requirement", {"statement": one.statement})
    for record in project.records:
        said = {"method": record.method.value, "title": record.title, "document": record.document}
        found["record", record.id] = _meaning("record", said)
    for report in project.nonconformances:
        about = list(report.requirements) or None
        of_report = {"found_by": report.found_by, "requirements": about, "cause": report.cause}
        found["nonconformance", report.id] = _meaning("nonconformance", of_report)
    for waiver in project.waivers:
        said = {"kind": waiver.kind, "requirement": waiver.requirement, "document": waiver.document}
        found["waiver", waiver.id] = _meaning("waiver", said)
    return found


def _meaning(kind: str, said: Mapping[str, Any]) -> str:
    return keeping.meaning(kind, {key: value for key, value in said.items() if value is not None})


def _reused(line: _Line, present: Mapping[tuple[str, str], str]) -> Iterator[Reused]:
    """Yield the identifiers that were gone and stand for something else now."""
    for key, (meant, day) in line.gone.items():
        if key in present and present[key] != meant:
            yield Reused(*key, meant, day)
    for key, (meant, day) in line.returned.items():
        if key in present:
            yield Reused(*key, meant, day)


class _Blobs:
    """The facts of blobs, each parsed once and kept by its name."""

    def __init__(self, past: Past, cache: Cache) -> None:
        self._past = past
        self._cache = cache
        self._facts: dict[str, Facts] = {}

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

    def of(self, blob: str) -> Facts:
        """Return the facts of a blob that was read; none where it was not fetched."""
        return self._facts.get(blob) or Facts({}, [])


def _key(*parts: str) -> str:
    return key_of_file(":".join(("past", *parts)))


@dataclass(slots=True)
class _Line:
    """What the commits up to one make together.

    ``gone`` are identifiers that are not there any more, ``returned`` those that came back with
    another meaning, each with what it stood for and the day on which it went. ``versions`` are the
    different texts of each requirement that has several or is gone, with their days, ``records``
    those of each dated record with path and day. ``reports`` are the nonconformances that the last
    commit holds, with what they stand for and its day.
    """

    gone: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    returned: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    versions: dict[str, list[tuple[Item, str]]] = field(default_factory=dict)
    records: dict[str, list[tuple[Item, str, str]]] = field(default_factory=dict)
    reports: dict[str, tuple[str, str]] = field(default_factory=dict)

    def encoded(self) -> str:
        """Return it as text."""
        gone, returned = ([[*k, *v] for k, v in d.items()] for d in (self.gone, self.returned))
        rows = [gone, returned, self.versions, self.records, self.reports]
        return json.dumps(rows, separators=(",", ":"))


def _line(past: Past, blobs: _Blobs, cache: Cache) -> _Line:
    key = _key("line", past.commit, past.prefix)
    text = cache.get(key)
    if text is not None:
        gone, returned, *rest = json.loads(text)
        return _Line(_by_identifier(gone), _by_identifier(returned), *rest)
    commits, every = list(past.line()), list(past.every())
    blobs.read(blob for c in (*commits, *every) for path, blob in _changes(c) if blob)
    found = _Walk(blobs).walked(commits)
    seen: set[str] = set()
    for commit in every:
        for path, blob in _changes(commit):
            if blob is not None and blob not in seen:
                seen.add(blob)
                _add_records(found, blobs.of(blob), path, commit.day)
    if not past.shallow:
        cache.put(key, found.encoded())
    return found


def _by_identifier(rows: list[list[str]]) -> dict[tuple[str, str], tuple[str, str]]:
    return {(kind, name): (meant, day) for kind, name, meant, day in rows}


def _changes(commit: Commit) -> Iterator[Change]:
    return ((path, blob) for path, blob in commit.changes if is_project_file(path))


def _add_records(line: _Line, facts: Facts, path: str, day: str) -> None:
    """Add the dated records of a file, each version once."""
    for item in facts.sections.get("records", ()):
        if "date" in item:
            rows = line.records.setdefault(item["id"], [])
            if all(item != other for other, _, _ in rows):
                rows.append((item, path, day))


class _Walk:
    """The states of a project one after another, as far as identifiers and texts go."""

    def __init__(self, blobs: _Blobs) -> None:
        self._blobs = blobs
        self._line = _Line()
        self._files: dict[str, Facts] = {}
        self._count: Counter[tuple[str, str]] = Counter()
        self._meant: dict[tuple[str, str], str] = {}

    def walked(self, commits: Sequence[Commit]) -> _Line:
        """Return what the commits make together; they come oldest first."""
        for commit in commits:
            self._step(list(_changes(commit)), commit.day)
        day = commits[-1].day if commits else ""
        self._line.reports = {
            name: (meant, day)
            for (of, name), meant in self._meant.items()
            if of == KINDS["nonconformances"] and self._count[of, name]
        }
        kind = KINDS["requirements"]
        self._line.versions = {
            name: rows
            for name, rows in self._line.versions.items()
            if len(rows) > 1 or (kind, name) in self._line.gone
        }
        return self._line

    def _step(self, changes: list[Change], day: str) -> None:
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
                self._version(name, item, day)

    def _came(self, key: tuple[str, str], item: Item) -> None:
        """Take in what an identifier stands for in the newest state so far."""
        meant = keeping.meaning(key[0], item)
        gone = self._line.gone.pop(key, None)
        if gone is not None and gone[0] != meant:
            self._line.returned[key] = gone
        self._meant[key] = meant

    def _version(self, name: str, item: Item, day: str) -> None:
        rows = self._line.versions.setdefault(name, [])
        if not rows or rows[-1][0] != item:
            rows.append((item, day))


def _names(facts: Facts) -> Iterator[tuple[str, str]]:
    """Yield every identifier that a file holds, also of an item that could not be read."""
    yield from (key for key, _ in facts.identified())
    for name in facts.left_out:
        yield from ((kind, name) for kind in KINDS.values())


def _base(past: Past, files: Files, blobs: _Blobs) -> Base | None:
    """Return what the base held in the files that differ from the present ones."""
    if past.base is None:
        return None
    then = past.tree(past.base)
    now = [path for path in files.files() if is_project_file(path)]
    changed = {path for path in now if not _is_same(past, files, path, then.get(path))}
    old = {p: b for p, b in then.items() if is_project_file(p) and (p in changed or p not in now)}
    blobs.read(old.values())
    items = {
        section: {
            item["id"]: keeping.typed(section, item, path)
            for path, blob in old.items()
            for item in blobs.of(blob).sections.get(section, ())
        }
        for section in ("requirements", "documents", "records")
    }
    return Base(past.base, frozenset(changed), **items)


def _is_same(past: Past, files: Files, path: str, blob: str | None) -> bool:
    if blob is None:
        return False
    try:
        return past.name_of(files.read(path), blob) == blob
    except OSError:
        return False
