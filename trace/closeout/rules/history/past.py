"""From the commits of a project to its history, as far as rules ask for it."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from closeout.load.file_facts import Cache
from closeout.load.project import Files, is_project_file
from closeout.model.amount import Amount
from closeout.model.criterion import Condition
from closeout.model.earlier_names import identifiers, names_before, renames
from closeout.model.history import (
    ANEW,
    Base,
    History,
    LostRecord,
    NotRenamed,
    Reused,
    Unnamed,
)
from closeout.model.issue import is_raised
from closeout.model.records import Project, Record, build_text
from closeout.rules.history import facts as keeping
from closeout.rules.history.facts import KINDS
from closeout.rules.history.line import Blobs, Line, Past, claims_of, line_of
from closeout.rules.history.renamed import NONE, Renaming, quoted, with_earlier
from closeout.rules.history.texts import began, followed, versions


def history_of(
    past: Past, files: Files, project: Project, left_out: Iterable[str], cache: Cache, day: str
) -> History:
    """Return what the earlier states tell of the present project.

    Args:
        left_out: identifiers of items that are there, with something wrong.
        day: that of the present state, year-month-day.
    """
    blobs = Blobs(past, cache)
    renaming = _renaming(past, blobs, cache, project, set(left_out))
    line = line_of(past, blobs, cache, renaming)
    present = _present(project)
    there = {name for _, name in present} | set(left_out)
    earlier = {
        name: [
            LostRecord(keeping.typed("records", item, path), path, day) for item, path, day in rows
        ]
        for name, rows in line.records.items()
    }
    lost = tuple(one for name, some in earlier.items() if name not in there for one in some)
    now = {record.id: record for record in project.records}
    edited = tuple(
        replace(one, changed=changed)
        for name, some in earlier.items()
        for one in some
        if name in now and (changed := _edited(one, some, now[name]))
    )
    judged = {name for record in project.records if record.date for name, _ in record.judged}
    judged |= {name for one in (*lost, *edited) for name, _ in one.record.judged}
    base = _base(past, files, blobs, day)
    # What a record speaks of that does not say so is what named it.
    silent = {record.id for record in project.records if record.date and not record.judged}
    judged |= set(_naming(silent, line, base)) if silent else set()
    return History(
        base=base,
        versions={name: versions(line.versions.get(name, []), base, name) for name in judged},
        began=dict(began(line, project, base)),
        followed=dict(followed(line, project, base)),
        reused=tuple(_reused(line, present)),
        lost=lost,
        edited=edited,
        gone=tuple(_gone_reports(line, there)),
        unnamed=tuple(_unnamed(line, project)),
        not_renamed=tuple(_not_renamed(line, project)),
        cut_off=past.shallow or not blobs.complete,
    )


def _renaming(
    past: Past, blobs: Blobs, cache: Cache, project: Project, left_out: set[str]
) -> Renaming:
    """Return under which names the earlier states are looked at."""
    said = renames(project, left_out)
    if not said:
        return NONE
    there = {section: identifiers(project, section) | left_out for section in said}
    names = with_earlier(said, claims_of(past, blobs, cache), there)
    texts = [requirement.statement for requirement in project.requirements]
    texts += [text for record in project.records for text in record.differs]
    return Renaming(names, quoted(names, texts))


def _not_renamed(line: Line, project: Project) -> Iterator[NotRenamed]:
    """Yield the old identifiers that the present state names and git does not bear out."""
    unknown = set(line.unknown)
    apart = {(section, name): (other, day) for section, name, other, day in line.beside}
    for section, item, old in names_before(project):
        if (section, old) in unknown:
            yield NotRenamed(section, item.id, old)
        elif (section, old) in apart:
            yield NotRenamed(section, item.id, old, *apart[section, old])


def _naming(records: Container[str], line: Line, base: Base | None) -> Iterator[str]:
    """Yield the requirements of which a verification ever named one of some records."""
    for name, rows in line.versions.items():
        parts = (part for item, _, _ in rows for part in item.get("verification", ()))
        if any(record in records for part in parts for record in part.get("records", ())):
            yield name
    for name, requirement in base.requirements.items() if base is not None else ():
        if any(record in records for one in requirement.verification for record in one.records):
            yield name


def _edited(one: LostRecord, some: Sequence[LostRecord], now: Record) -> tuple[str, ...]:
    """Return what a version of a record said, ``some`` being all of them, and does not now."""
    first = one is some[0]
    changed = _changed(one.record, now, first=first)
    return (*changed, *_moved(some, now)) if first else changed


def _changed(was: Record, now: Record, *, first: bool) -> tuple[str, ...]:
    """Return what a record said and does not say any more, "result" where it is what came out.

    How it is written is no matter, nor what it says beside that by now. A date is the one that it
    had ``first``: one that was moved has to be brought back, and that must be possible. What is
    judged anew, with its day, against a raised issue stands as ANEW.
    """
    found = ["result"] if _result(was) != _result(now) else []
    found += _judged_before(was, now)
    for word, of in (
        ("article", _article),
        ("conditions", _conditions),
        ("differs", _differs),
    ):
        found += [f"{word} {one}" for one in of(was) if one not in of(now)]
    if first and now.date is not None and was.date != now.date:
        found.append(f"date {was.date}")  # it decides on what is planned, and on what came first
    if was.data_sha256 is not None and was.data_sha256 != now.data_sha256:
        found.append(f"data_sha256 {was.data_sha256[:12]}...")
    return tuple(found)


def _gone_reports(line: Line, there: Container[str]) -> Iterator[Reused]:
    """Yield the nonconformances that stood in the project and do not any more."""
    kind = KINDS["nonconformances"]
    gone = {name: said for (of, name), said in line.gone.items() if of == kind}
    for name, (meant, day) in {**line.reports, **gone}.items():
        if name not in there:
            yield Reused(kind, name, meant, day)


def _result(record: Record) -> tuple[object, ...]:
    measured = tuple(
        (name, one.value, one.uncertainty, one.k, one.exact is None)
        for name, one in record.measured
    )
    return record.outcome, measured, record.date is None


def _judged_before(was: Record, now: Record) -> list[str]:
    """Return which issues a record judged and does not now, ANEW where it says since when."""
    issues, days = dict(now.judged), dict(now.judged_on)
    found = []
    for name, issue in was.judged:
        by_now = issues.get(name)
        if by_now is None or by_now != issue:
            anew = name in days and is_raised(issue or "", by_now or "")
            found.append(ANEW if anew else f"judged {name} issue {issue}")
    return found


def _moved(some: Sequence[LostRecord], now: Record) -> list[str]:
    """Return on which days a record judged anew, by what it said first, where that was moved."""
    first: dict[tuple[str, str | None], str] = {}
    for one in some:
        issues = dict(one.record.judged)
        for name, day in one.record.judged_on:
            first.setdefault((name, issues.get(name)), day)
    issues, days = dict(now.judged), dict(now.judged_on)
    return [
        f"judged {name} on {day}"
        for (name, issue), day in first.items()
        if issues.get(name) == issue and days.get(name) != day
    ]


def _article(record: Record) -> list[str]:
    return [f"{name} {build_text(build)}" for name, build in record.article]


def _differs(record: Record) -> list[str]:
    return [" ".join(one.split()) for one in record.differs]


def _conditions(record: Record) -> list[str]:
    return [f"{name} = {_as_run(at)}" for name, at in record.conditions]


def _as_run(at: Condition) -> str:
    text, measured = " to ".join(map(_number, at.ends)), at.measured
    if measured is None or measured.uncertainty is None or measured.k is None:
        return text
    return f"{text} +/- {_number(measured.uncertainty)} (k = {float(measured.k):.12g})"


def _number(amount: Amount) -> str:
    return f"{float(amount.number):.12g} {amount.unit}"


def _unnamed(line: Line, project: Project) -> Iterator[Unnamed]:
    """Yield what a nonconformance named once and does not name any more."""
    there = {requirement.id for requirement in project.requirements}
    for report in project.nonconformances:
        for name, day in line.named.get(report.id, {}).items():
            if name in there and name not in report.requirements:
                yield Unnamed(report.id, name, day)


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


def _reused(line: Line, present: Mapping[tuple[str, str], str]) -> Iterator[Reused]:
    """Yield the identifiers that were gone and stand for something else now."""
    for key, (meant, day) in line.gone.items():
        if key in present and present[key] != meant:
            yield Reused(*key, meant, day)
    for key, (meant, day) in line.returned.items():
        if key in present:
            yield Reused(*key, meant, day)


def _base(past: Past, files: Files, blobs: Blobs, day: str) -> Base | None:
    """Return what the base has in the files that differ from the present ones."""
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
    return Base(past.base, day, frozenset(changed), **items)


def _is_same(past: Past, files: Files, path: str, blob: str | None) -> bool:
    if blob is None:
        return False
    try:
        return past.name_of(files.read(path), blob) == blob
    except OSError:
        return False
