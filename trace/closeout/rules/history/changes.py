"""Rules that hold the present state of a project against its earlier ones."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from closeout.graph import Index, key_of_criterion, key_of_given
from closeout.graph.new_findings import warning
from closeout.measure import Units
from closeout.model.earlier_names import KINDS, names_before
from closeout.model.history import Base, History, Reference
from closeout.model.issue import following, is_raised
from closeout.model.problem import Finding
from closeout.model.records import Record, Requirement, Verification
from closeout.rules.history.difference import difference
from closeout.rules.history.lost import lost

_SHOWN_COMMIT = 9


def changes(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """Yield what changed in a way that a standard does not allow, or that has to be looked at."""
    changed = _changed(index, history, units)
    yield from _issue_not_raised(index, history, changed, units)
    yield from _source_not_raised(index, history, changed, units)
    if history.base is not None:
        yield from _document_raised(index, history.base, changed)
    yield from _judged_before_change(index, history, units)
    yield from lost(index, history, units)
    yield from unborne(index, history)


def _changed(index: Index, history: History, units: Units) -> dict[str, str]:
    """Return what changed of each requirement since the base, in words."""
    base = {} if history.base is None else history.base.requirements
    found = {}
    for name, was in base.items():
        now = index.requirements.get(name)
        what = None if now is None else difference(was, now, units)
        if what is not None:
            found[name] = what
    return found


def _issue_not_raised(
    index: Index, history: History, changed: Mapping[str, str], units: Units
) -> Iterator[Finding]:
    """One issue of a requirement says one thing, in the last commit and in all before it."""
    base = history.base
    for now in index.requirements.values():
        began = history.began.get(now.id)
        what = changed.get(now.id)
        if base is not None and what is not None:
            was = base.requirements[now.id]
            if not is_raised(was.issue, now.issue) and not _is_back(was, now, began, units):
                yield _not_raised(was, now, f"{what} since {_short(base)}")
                continue
        if began is not None and difference(began.first, now, units) is not None:
            what = difference(began.requirement, now, units, added=False)
            if what is not None:
                yield _not_raised(began.first, now, f"{what} since its text of {began.day}")


def _is_back(was: Requirement, now: Requirement, began: Reference | None, units: Units) -> bool:
    """Return whether a requirement says again what its issue said first, which it did not.

    What is merely added is new, though it is what will have been said first.
    """
    if began is None or difference(was, now, units, added=False) is None:
        return False
    if difference(began.requirement, was, units, added=False) is None:
        return False
    whole = difference(began.first, now, units) is None
    return whole or difference(began.requirement, now, units, added=False) is None


def _short(base: Base) -> str:
    return base.commit[:_SHOWN_COMMIT]


def _not_raised(was: Requirement, now: Requirement, what: str) -> Finding:
    return warning(
        "issue-not-raised",
        now.where / "issue",
        f"{now.id}: {what}, and its issue is"
        f" {'still' if was.issue == now.issue else 'now'} {now.issue}",
        f"raise to issue {following(was.issue) or f'above {was.issue}'}; existing evidence refers"
        " to"
        f" issue {was.issue}",
    )


def _source_not_raised(
    index: Index, history: History, changed: Mapping[str, str], units: Units
) -> Iterator[Finding]:
    """A requirement of an outside document may only change with that document.

    How it is verified here is no part of that document: one quantity more is no change.
    """
    for name, reference in history.followed.items():
        now = index.requirements[name]
        what = difference(reference.requirement, now, units, added=False)
        document = index.documents[now.source.document or ""] if now.source else None
        if what is None or document is None:
            continue
        since = f"its text of {reference.day}"
        if history.base is not None and name in changed:
            since = _short(history.base)
        yield warning(
            "source-not-raised",
            now.where / "source",
            f"{name}: {what} since {since}, but its source {document.id} is still issue"
            f" {document.issue or '(none)'}",
            f"write it as in {document.id}, or enter the new issue of {document.id}; if"
            f" the old text was a mistake, switch this rule off for: [{name} issue"
            f" {now.issue}], with that reason",
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
            if requirement.source is not None
            and requirement.source.document == document.id
            and requirement.source.issue != document.issue
        ]
        left = [name for name in citing if name not in changed]
        if left:
            yield warning(
                "document-raised",
                document.where / "issue",
                f"{document.id} went from issue {before.issue or '(none)'} to"
                f" {document.issue or '(none)'}; these cite it and did not change:"
                f" {', '.join(left)}",
                f"check each against the new issue, then write issue: {document.issue} in its"
                " source; this warning ends with the next commit",
            )


def _judged_before_change(index: Index, history: History, units: Units) -> Iterator[Finding]:
    """A limit that was set after the result was known proves nothing."""
    for requirement, _, verification in index.project.verifications():
        for number, name in enumerate(verification.records):
            record = index.records.get(name)
            if record is None or record.date is None:
                continue
            if dict(record.judged).get(requirement.id) != requirement.issue:
                continue  # of another issue: it is open again, which is reported with the verdict
            day = _changed_after(requirement, verification, record, history, units)
            if day is not None:
                yield warning(
                    "judged-before-change",
                    verification.where / "records" / number,
                    f"{name} judged {requirement.id} on {record.day_of(requirement.id)}, and the"
                    f" criterion was changed {day}",
                    f"raise the issue of {requirement.id}, judge the measurement again, and write"
                    f" judged: {{{requirement.id}: {{issue: ..., date: ...}}}} with that day",
                )


def _changed_after(
    requirement: Requirement,
    verification: Verification,
    record: Record,
    history: History,
    units: Units,
) -> str | None:
    """Return when what a record judges changed after the record's day, None where it did not."""
    judged = record.day_of(requirement.id)
    assert judged is not None
    rows = history.versions.get(requirement.id, ())
    if not rows:
        return None
    newest, base = rows[-1].requirement, history.base
    if not _is_judged_alike(verification, newest, requirement, units):
        return f"since {_short(base)}" if base is not None and base.day > judged else None
    for before, after in zip(rows[-2::-1], rows[:0:-1], strict=True):
        alike = _is_judged_alike(verification, before.requirement, after.requirement, units)
        if not alike:
            return f"on {after.day}" if after.day > judged else None
    return None


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


def unborne(index: Index, history: History) -> Iterator[Finding]:
    """Yield each ``formerly`` of which the whole history knows nothing, or knows better."""
    places = {
        (section, item.id, old): item.where / "formerly"
        for section, item, old in (names_before(index.project) if history.not_renamed else ())
    }
    for one in history.not_renamed:
        kind, where = KINDS[one.section], places[one.section, one.id, one.formerly]
        if one.day:
            yield warning(
                "formerly-beside",
                where,
                f"{one.id} is formerly {one.formerly}, which existed beside {one.other} on"
                f" {one.day}:"
                " these were two items, so formerly has no effect",
                f"remove formerly; the {kind} {one.formerly} is reported separately",
            )
        elif not history.cut_off:
            yield warning(
                "formerly-unknown",
                where,
                f"{one.id} is formerly {one.formerly}, and no commit has a {kind} of that name",
                "correct the spelling, or remove it; if another repository has it, switch this"
                " rule off with that reason",
            )
