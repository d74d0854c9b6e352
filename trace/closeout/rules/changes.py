"""Rules that hold the present state of a project against its earlier ones."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from closeout.graph import Index, key_of_criterion, key_of_given
from closeout.graph.findings import warning
from closeout.measure import Units
from closeout.model.amount import Amount
from closeout.model.history import Base, History, LostRecord, Version
from closeout.model.issue import is_raised
from closeout.model.problem import Finding, Pointer
from closeout.model.records import (
    Criterion,
    Nonconformance,
    Record,
    Requirement,
    Verification,
    Waiver,
)
from closeout.rules.evidence import failing

Key = tuple[object, ...]
Criteria = dict[Key, Criterion]

_SHOWN_COMMIT = 9
_MOST_TEXT = 70


def changes(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """Yield what changed in a way that a standard does not allow, or that has to be looked at."""
    changed = _changed(index, history, units)
    yield from _issue_not_raised(index, history, changed, units)
    yield from _source_not_raised(index, history, changed, units)
    if history.base is not None:
        yield from _document_raised(index, history.base, changed)
    yield from _judged_before_change(index, history, units)
    yield from _identifier_reused(index, history)
    yield from _failed_record_deleted(index, history, units)
    yield from _record_edited(index, history, units)
    yield from _report_deleted(index, history)
    yield from _report_edited(index, history)


def _changed(index: Index, history: History, units: Units) -> dict[str, str]:
    """Return what changed of each requirement since the base, in words."""
    base = {} if history.base is None else history.base.requirements
    found = {}
    for name, was in base.items():
        now = index.requirements.get(name)
        what = None if now is None else _difference(was, now, units)
        if what is not None:
            found[name] = what
    return found


def _issue_not_raised(
    index: Index, history: History, changed: Mapping[str, str], units: Units
) -> Iterator[Finding]:
    """One issue of a requirement says one thing, in the last commit and in all before it."""
    base = history.base
    for now in index.requirements.values():
        version = history.began.get(now.id)
        if base is not None and now.id in changed:
            was = base.requirements[now.id]
            if not is_raised(was.issue, now.issue) and not _is_back(was, now, version, units):
                yield _not_raised(was, now, f"{changed[now.id]} since {_short(base)}")
        elif version is not None:
            what = _difference(version.grown, now, units, added=False)
            if what is not None:
                yield _not_raised(
                    version.requirement, now, f"{what} since its text of {version.day}"
                )


def _is_back(was: Requirement, now: Requirement, version: Version | None, units: Units) -> bool:
    """Return whether a requirement says again what its issue began with.

    What was first asked of a quantity later is part of that beginning, but brings nothing back.
    """
    if version is None:
        return False
    if _difference(version.requirement, now, units) is None:
        return True
    grown = _difference(version.grown, now, units) is None
    return grown and _difference(was, now, units, added=False) is not None


def _short(base: Base) -> str:
    return base.commit[:_SHOWN_COMMIT]


def _not_raised(was: Requirement, now: Requirement, what: str) -> Finding:
    return warning(
        "issue-not-raised",
        now.where / "issue",
        f"{now.id}: {what}, and its issue is"
        f" {'still' if was.issue == now.issue else 'now'} {now.issue}",
        f"raise issue: above {was.issue}; what was verified speaks of the old one",
    )


def _source_not_raised(
    index: Index, history: History, changed: Mapping[str, str], units: Units
) -> Iterator[Finding]:
    """A requirement of an outside document may only change with that document.

    How it is verified here is no part of that document: one quantity more is no change.
    """
    for name, version in history.followed.items():
        now = index.requirements[name]
        what = _difference(version.grown, now, units, added=False)
        document = index.documents[now.source.document or ""] if now.source else None
        if what is None or document is None:
            continue
        since = f"its text of {version.day}"
        if history.base is not None and name in changed:
            since = _short(history.base)
        yield warning(
            "source-not-raised",
            now.where / "source",
            f"{name}: {what} since {since}, but {document.id} that it comes from is still issue"
            f" {document.issue or '(none)'}",
            f"let it say what {document.id} says, or enter the new issue of {document.id}; where"
            " the old text was a slip of yours, switch this rule off for it with that reason",
        )


def _document_raised(index: Index, base: Base, changed: Collection[str]) -> Iterator[Finding]:
    """List what cites a document of which the issue changed, and did not change with it."""
    for document in index.documents.values():
        before = base.documents.get(document.id)
        if before is None or before.issue == document.issue:
            continue
        citing = [
            requirement.id
            for requirement in index.requirements.values()
            if requirement.source is not None and requirement.source.document == document.id
        ]
        left = [name for name in citing if name not in changed]
        if left:
            yield warning(
                "document-raised",
                document.where / "issue",
                f"{document.id} went from issue {before.issue or '(none)'} to"
                f" {document.issue or '(none)'}; these cite it and did not change:"
                f" {', '.join(left)}",
                "hold each against the new issue; the finding ends with the next commit",
            )


def _difference(
    was: Requirement, now: Requirement, units: Units, *, added: bool = True
) -> str | None:
    """Return what of statement and criteria differs, in words; None where nothing does.

    Line breaks, the order of keys, and an equal amount in another unit are no difference; the
    criterion of a quantity that had none, or a known limit under a further condition, is one only
    where ``added`` says so.
    """
    text = " ".join(was.statement.split()) != " ".join(now.statement.split())
    before, after = _criteria(was.verification, units), _criteria(now.verification, units)
    counted = after.keys() if added else _counted(before, after, units)
    criteria = before.keys() != counted
    if not criteria:
        return "its statement changed" if text else None
    told = _told(
        [before[key] for key in before if key not in after],
        [after[key] for key in after if key not in before],
    )
    return f"{'statement and criterion' if text else 'its criterion'} changed ({told})"


def _counted(before: Criteria, after: Criteria, units: Units) -> set[Key]:
    """Return what of later criteria is no mere addition to earlier ones."""
    limits = {key_of_criterion(one, units) for one in before.values()}
    quantities = {one.quantity for one in before.values()}
    return {
        key
        for key, one in after.items()
        if key in before
        or (one.quantity in quantities and key_of_criterion(one, units) not in limits)
    }


def _criteria(verifications: Iterable[Verification], units: Units) -> Criteria:
    found: Criteria = {}
    for verification in verifications:
        criterion = verification.criterion
        if criterion.quantity is not None:
            key = (*key_of_criterion(criterion, units), *key_of_given(criterion, units))
            found[key] = criterion
    return found


def _told(old: list[Criterion], new: list[Criterion]) -> str:
    parts = [", ".join(_shown(one) for one in some) or "nothing" for some in (old, new)]
    return " -> ".join(parts)


def _shown(criterion: Criterion) -> str:
    limits = criterion.limits
    said = [
        f"{name.replace('_', ' ')} {getattr(limits, name)}"
        for name in ("at_least", "at_most", "equal_to", "within")
        if getattr(limits, name) is not None
    ]
    given = [f"{name} = {_side(value)}" for name, value in criterion.given]
    cases = "" if criterion.cases_at_least is None else f" in {criterion.cases_at_least} cases"
    where = f" given {', '.join(given)}" if given else ""
    return f"{criterion.quantity} {' '.join(said)}{cases}{where}"


def _side(value: Amount | tuple[Amount, Amount]) -> str:
    return f"{value[0]} to {value[1]}" if isinstance(value, tuple) else str(value)


def _judged_before_change(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """A limit that was set after the result was known proves nothing."""
    for requirement, _, verification in index.project.verifications():
        for number, name in enumerate(verification.records):
            record = index.records.get(name)
            if record is None or record.date is None:
                continue
            if dict(record.judged).get(requirement.id) != requirement.issue:
                continue  # of another issue: it is open again, which is told with the verdict
            day = _changed_after(requirement, verification, record, history, units)
            if day is not None:
                yield warning(
                    "judged-before-change",
                    verification.where / "records" / number,
                    f"{name} is of {record.date}, and what it judges of {requirement.id} was"
                    f" changed {day}",
                    f"raise the issue of {requirement.id}, and judge again what was measured",
                )


def _changed_after(
    requirement: Requirement,
    verification: Verification,
    record: Record,
    history: History,
    units: Units,
) -> str | None:
    """Return when what a record judges changed after the record's day, None where it did not."""
    assert record.date is not None
    rows = history.versions.get(requirement.id, ())
    if not rows:
        return None
    newest, base = rows[-1].requirement, history.base
    if not _is_judged_alike(verification, newest, requirement, units):
        # A record that is new itself may be as young as the change.
        return "after the last commit" if base is not None and _is_known(record, base) else None
    for before, after in zip(rows[-2::-1], rows[:0:-1], strict=True):
        alike = _is_judged_alike(verification, before.requirement, after.requirement, units)
        if not alike:
            return f"on {after.day}" if after.day > record.date else None
    return None


def _is_known(record: Record, base: Base) -> bool:
    """Whether the record stood in the base with the same date, so that it is older than a change.

    A record of a file that did not change is not listed there, and is older too.
    """
    before = base.records.get(record.id)
    if before is None:
        return record.where.path not in base.paths
    return before.date == record.date


def _is_judged_alike(
    verification: Verification, before: Requirement, after: Requirement, units: Units
) -> bool:
    """Whether two states of a requirement say the same of what a verification is about."""
    quantity = verification.criterion.quantity
    alike = " ".join(before.statement.split()) == " ".join(after.statement.split())
    if quantity is None or not alike:
        return alike
    keys = [
        {
            (*key_of_criterion(v.criterion, units), *key_of_given(v.criterion, units))
            for v in one.verification
            if v.criterion.quantity == quantity and v.method is verification.method
        }
        for one in (before, after)
    ]
    return keys[0] == keys[1]


def _identifier_reused(index: Index, history: History) -> Iterator[Finding]:
    project = index.project
    kinds: Mapping[str, Iterable[Requirement | Record | Nonconformance | Waiver]] = {
        "requirement": project.requirements,
        "record": project.records,
        "nonconformance": project.nonconformances,
        "waiver": project.waivers,
    }
    places = {(kind, item.id): item.where for kind, items in kinds.items() for item in items}
    for one in history.reused:
        where = places.get((one.kind, one.id))
        if where is not None:
            yield warning(
                "identifier-reused",
                where / "id",
                f"until {one.day} the {one.kind} {one.id} stood for something else:"
                f" {_cut(one.meant)}",
                "take a new identifier; old documents still speak of the old one",
            )


def _failed_record_deleted(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """A failed record counts until another replaces it; to delete it makes no test good."""
    told: set[str] = set()
    paths = {item.where.path for item in index.project.requirements}
    paths |= {item.where.path for item in index.project.records}
    for lost in history.lost:
        record = lost.record
        why = None if record.id in told else _failure(lost, index, history, units)
        if why is None and record.data is not None and record.id not in told:
            why = f"what {record.data} shows, which nobody judges any more"
        if why is None:
            continue
        told.add(record.id)
        where = Pointer(lost.path) if lost.path in paths else index.project.charter.where
        yield warning(
            "failed-record-deleted",
            where,
            f"the record {record.id} of {record.date} found {why}, and is deleted: it stood in"
            f" {lost.path} on {lost.day}",
            "put it back; a later record says replaces:, and its nonconformance is closed",
        )


def _record_edited(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """A failed test is no slip of the pen, and what a record stands on is not what fits today."""
    told: set[str] = set()
    for earlier in history.edited:
        name = earlier.record.id
        if name in told or name not in index.records:
            continue
        why = _failure(earlier, index, history, units)
        stands_on = [one for one in earlier.changed if one != "result"]
        if why is not None:
            told.add(name)
            yield warning(
                "failed-record-edited",
                index.records[name].where,
                f"the record {name} found {why} on {earlier.day}, and says something else now",
                "bring back what it said; a later record says replaces:, once its report is closed",
            )
        elif stands_on:
            told.add(name)
            yield warning(
                "record-edited",
                index.records[name].where,
                f"the record {name} said {', '.join(stands_on)} on {earlier.day}, and does not now",
                "bring it back; what was made anew has a record of its own. If it was a slip,"
                " switch this rule off with that reason",
            )


def _report_deleted(index: Index, history: History) -> Iterator[Finding]:
    """A nonconformance is closed by a record, not by taking it out of the file."""
    for one in history.gone:
        yield warning(
            "nonconformance-deleted",
            index.project.charter.where,
            f"the nonconformance {one.id} is deleted: it stood there until {one.day}"
            f" ({_cut(one.meant)})",
            "put it back; it is closed by disposition, closed_by and retest",
        )


def _report_edited(index: Index, history: History) -> Iterator[Finding]:
    """What a nonconformance names cannot be closed; so nothing is taken out of it."""
    places = {report.id: report.where for report in index.project.nonconformances}
    for one in history.unnamed:
        yield warning(
            "nonconformance-edited",
            places[one.report],
            f"the nonconformance {one.report} named {one.requirement} on {one.day}, and does not"
            " now",
            f"name it again, and close the report; if {one.requirement} was named by mistake,"
            " switch this rule off for the report with that reason",
        )


def _failure(lost: LostRecord, index: Index, history: History, units: Units) -> str | None:
    """Return what a record found not met, None where it found nothing."""
    record = lost.record
    if record.outcome == "not met":
        names = ", ".join(name for name, _ in record.judged)
        return f"{names} not met" if names else "what it judged not met"
    for name, issue in record.judged or [(name, None) for name in index.requirements]:
        states = [version.requirement for version in history.versions.get(name, ())]
        base = None if history.base is None else history.base.requirements.get(name)
        states += [one for one in (base, index.requirements.get(name)) if one is not None]
        # Limits of another issue are not those that it spoke of.
        for requirement in (one for one in states if issue is None or one.issue == issue):
            quantity = failing(record, requirement, units)
            if quantity is not None:
                return f"{quantity} of {name} at {dict(record.measured)[quantity].text}, not met"
    return None


def _cut(text: str) -> str:
    return text if len(text) <= _MOST_TEXT else f"{text[: _MOST_TEXT - 3]}..."
