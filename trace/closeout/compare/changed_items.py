"""What the files of a project say otherwise than they did: item by item, field by field."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import groupby

from closeout.model.changes import ADDED, CHANGED, REMOVED, FieldChange, ItemChange
from closeout.model.dossier import Dossier, Evidence, ParameterSaid, RequirementResult
from closeout.model.earlier_names import Names
from closeout.model.records import Article, Nonconformance, Record, Waiver

# By field: what an item says. Fields of running text are named apart.
Said = Mapping[str, str]
RUNNING = frozenset(
    {"title", "source", "statement", "rationale", "reason", "cause", "corrective action"}
)


def changed_items(was: Dossier, now: Dossier, names: Names) -> tuple[ItemChange, ...]:
    """Return what was added, removed or changed of each section, in the order of the project.

    An item under another identifier is the same where the later state says what it was formerly.
    """
    found: list[ItemChange] = []
    for section, said in _SECTIONS:
        before = dict(said(was))
        called = names.get(section, {})
        found += _of_section(section, before, dict(said(now)), called)
    return tuple(found)


def _of_section(
    section: str, was: Mapping[str, Said], now: Mapping[str, Said], called: Mapping[str, str]
) -> Iterator[ItemChange]:
    earlier = {new: old for old, new in called.items() if old in was}
    for name, fields in now.items():
        old = earlier.get(name, name)
        if old not in was:
            yield ItemChange(section, name, ADDED, tuple(_between({}, fields)))
            continue
        changes = tuple(_between(was[old], fields))
        formerly = old if old != name else None
        if changes or formerly:
            yield ItemChange(section, name, CHANGED, changes, formerly)
    gone = [name for name in was if name not in now and called.get(name) not in now]
    for name in gone:
        yield ItemChange(section, name, REMOVED, tuple(_between(was[name], {})))


def _between(was: Said, now: Said) -> Iterator[FieldChange]:
    for name in dict.fromkeys((*now, *was)):
        before, after = was.get(name, ""), now.get(name, "")
        if before != after:
            yield FieldChange(name, before, after, running=name in RUNNING)


def _requirements(dossier: Dossier) -> Iterator[tuple[str, Said]]:
    for one in dossier.requirements:
        yield (
            one.id,
            {
                "title": one.title,
                "issue": one.issue,
                "statement": one.statement,
                "rationale": one.rationale or "",
                "derived from": ", ".join(one.derived_from),
                "source": one.source or "",
                "owner": one.owner or "",
                "safety": one.safety or "",
                **_verifications(one),
            },
        )


def _verifications(result: RequirementResult) -> dict[str, str]:
    """Return each verification in one line, by its method, level and stage."""
    found: dict[str, str] = {}
    for _, entries in groupby(result.evidence, key=lambda entry: entry.number):
        one = next(entries)
        where = " ".join(part for part in (one.level, one.stage) if part)
        name = f"verification by {one.method}{f' at {where}' if where else ''}"
        # Several of one kind stand under their quantities.
        if name in found:
            name = f"{name}, {one.quantity or one.number + 1}"
        found[name] = _criterion(one)
    return found


def _criterion(one: Evidence) -> str:
    given = ", ".join(f"{name} {text}" for name, text in one.given)
    parts = [
        f"{one.quantity} {one.limit_text}".strip() if one.quantity else "",
        f"by {one.analysis}" if one.analysis else "",
        f"given {given}" if given else "",
        f"in at least {one.cases_wanted} cases" if one.cases_wanted is not None else "",
        one.basis or "",
        f"due at {one.review}" if one.review else "",
        f"records {', '.join(one.records)}" if one.records else "",
    ]
    return ", ".join(part for part in parts if part)


def _parameters(dossier: Dossier) -> Iterator[tuple[str, Said]]:
    for one in dossier.parameters:
        yield (
            one.name,
            {
                "value": parameter_text(one),
                "source": one.source or "",
                "maturity": one.maturity or "",
                "condition": one.condition or "",
                "estimate": one.estimate or "",
            },
        )


def parameter_text(one: ParameterSaid) -> str:
    """Return value and spread of a parameter as they were written, or what it is found by."""
    if one.computed is not None:
        return f"from {one.computed}"
    if not one.spread:
        return one.text
    return f"{one.text}{' ' if one.spread.startswith('+/-') else ', '}{one.spread}"


def _records(dossier: Dossier) -> Iterator[tuple[str, Said]]:
    for one in dossier.records:
        yield one.id, _record(one)


def _record(one: Record) -> Said:
    return {
        "title": one.title or "",
        "date": one.date or (f"planned {one.planned}" if one.planned else ""),
        "document": one.document or "",
        "article": ", ".join(f"{name} {build}" for name, build in one.article),
        "conditions": ", ".join(f"{name} {given}" for name, given in one.conditions),
        "measured": ", ".join(f"{name} {measured.text}" for name, measured in one.measured),
        "outcome": one.outcome or "",
        "judged": ", ".join(f"{name} issue {issue}" for name, issue in one.judged),
        "data": " ".join(part for part in (one.data, (one.data_sha256 or "")[:12]) if part),
        "replaces": one.replaces or "",
    }


def _waivers(dossier: Dossier) -> Iterator[tuple[str, Said]]:
    for one in dossier.waivers:
        yield one.id, _waiver(one)


def _waiver(one: Waiver) -> Said:
    accepts = f"{one.quantity or ''} {one.limits}".strip()
    return {
        "kind": one.kind,
        "requirement": one.requirement,
        "accepts": accepts + (f" in {', '.join(one.cases)}" if one.cases else ""),
        "reason": one.reason or "",
        "approved by": one.approved_by or "",
        "date": one.date or (f"planned {one.planned}" if one.planned else ""),
        "document": one.document or "",
        "expires": one.expires or "",
    }


def _nonconformances(dossier: Dossier) -> Iterator[tuple[str, Said]]:
    for one in dossier.nonconformances:
        yield one.id, _nonconformance(one)


def _nonconformance(one: Nonconformance) -> Said:
    return {
        "requirements": ", ".join(one.requirements),
        "article": ", ".join(f"{name} {build}" for name, build in one.article),
        "found by": one.found_by or "",
        "class": one.klass or "",
        "disposition": one.disposition or "",
        "cause": one.cause or "",
        "corrective action": one.corrective_action or "",
        "retest": ", ".join(one.retest),
        "closed by": one.closed_by or "",
    }


def _articles(dossier: Dossier) -> Iterator[tuple[str, Said]]:
    for one in dossier.articles:
        yield one.id, _article(one)


def _article(one: Article) -> Said:
    return {
        "title": one.title,
        "model": one.model,
        "build": one.build or "",
        "date": one.date or "",
    }


_SECTIONS: tuple[tuple[str, Callable[[Dossier], Iterable[tuple[str, Said]]]], ...] = (
    ("requirements", _requirements),
    ("parameters", _parameters),
    ("records", _records),
    ("nonconformances", _nonconformances),
    ("waivers", _waivers),
    ("articles", _articles),
)
