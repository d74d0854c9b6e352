"""What the hook prints: why a commit is blocked, or what it changes, on one screen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from closeout.compare.deleted import Deleted
from closeout.compare.staged import Change, Early, Hooked
from closeout.model.dossier import Evidence, RequirementResult
from closeout.model.problem import Problem
from closeout.render.changes import factor_text
from closeout.render.numbers import show_margin
from closeout.render.plain import count, safe
from closeout.render.terminal import Paint, problems_text

# So many lines of one kind; the rest is counted.
MOST = 8
# So many of what matters less.
FEW = 3


def staged_text(found: Hooked, *, colour: bool = False) -> str:
    """Return what the hook prints; empty where the commit changes no verdict."""
    lines = _lines(found, "commit blocked", colour)
    if not lines:
        return ""
    if found.verdict.exit_status == 0:
        lines.append(f"closeout: staged state: {_totals(found)}")
    return "\n".join(lines) + "\n"


def checked_text(found: Hooked, start: str, *, colour: bool = False) -> str:
    """Return what a check of a branch prints: the answer first, then what it rests on."""
    answer = {
        0: "loses no requirement and brings no error",
        1: "loses compliance",
        2: "brings errors",
    }[found.verdict.exit_status]
    lines = [f"closeout: the branch {answer}, since {start[:12]}"]
    lines += _lines(found, "branch blocked", colour)
    return "\n".join([*lines, f"closeout: HEAD: {_totals(found)}"]) + "\n"


def _totals(found: Hooked) -> str:
    return ", ".join(f"{number} {name}" for name, number in found.now.totals.items() if number)


def _lines(found: Hooked, blocked: str, colour: bool) -> list[str]:
    """Return what is to be said of a change: what blocks, then what is worse, then the rest."""
    verdict, paint = found.verdict, Paint(colour)
    parts: list[str] = []
    title = paint.bad(f"closeout: {blocked}: new errors")
    parts.extend(_problems(title, verdict.errors, colour=colour))
    if found.twice:
        names = _names(found.twice)
        parts.append(f"  both sides of the merge added {names}: give one of each a new identifier")
    news = "closeout: to be explained: measured outside of what was predicted"
    parts.extend(_problems(news, verdict.to_explain, colour=colour))
    if verdict.lost:
        parts.append(paint.bad(f"closeout: {blocked}: loss of compliance"))
        parts.extend(_changes(verdict.lost))
        parts.append(
            "  Raise the requirement's issue if it was changed on purpose, or correct what broke"
            " it."
        )
    for changes, text in (
        (verdict.inherited, "not compliant, as in the merged commit"),
        (verdict.found, "not compliant, found by a record"),
        (verdict.rebuilt, "to be verified again, new build of the article"),
        (verdict.raised, "to be verified again, new issue"),
        (verdict.covered, "no longer compliant, under waiver or deviation"),
        (verdict.uncovered, "no longer under waiver or deviation"),
        (verdict.short, "not compliant, without loss"),
        (verdict.gained, "now compliant"),
    ):
        if changes:
            parts.append(f"closeout: {text}")
            parts.extend(_changes(changes, records=changes is verdict.found))
    if verdict.early:
        parts.append("closeout: not met or open again, not yet due")
        parts.extend(_early(verdict.early))
    new = f"closeout: {count(len(verdict.warnings), 'new warning')}"
    parts.extend(_problems(new, verdict.warnings, colour=colour, most=FEW))
    parts.extend(_deleted(verdict.deleted))
    if verdict.renamed:
        pairs = (f"{old} -> {new}" for old, new in verdict.renamed)
        parts.append(f"closeout: renamed: {_names(pairs)}")
    if verdict.added:
        parts.append(f"closeout: new: {_names(verdict.added)}")
    if found.already:
        names = _names(f"{one.id} {one.compliance.value}" for one in found.already)
        parts.append(f"closeout: not compliant in HEAD already, not by this change: {names}")
    if verdict.known:
        errors = count(len(verdict.known), "error")
        parts.append(f"closeout: {errors} also in HEAD, see closeout verify")
    parts.extend(f"closeout: {safe(note)}" for note in found.notes)
    return parts


def _deleted(some: Sequence[Deleted]) -> Iterator[str]:
    """Yield what was deleted, and what went along or is left without a use."""
    if not some:
        return
    names = (one.id if one.kind == "requirement" else f"{one.kind} {one.id}" for one in some)
    yield f"closeout: deleted: {_names(names)}"
    for one in some[:FEW]:
        parts = [
            f"with {count(one.verifications, 'verification')}" if one.verifications else "",
            f"{_names(one.children)} lost the requirement above" if one.children else "",
            f"{_names(one.records)} now verify nothing" if one.records else "",
        ]
        if text := "; ".join(part for part in parts if part):
            yield f"  {safe(one.id)}: {text}"


def _problems(
    title: str, problems: Sequence[Problem], *, colour: bool, most: int = MOST
) -> Iterator[str]:
    """Yield the first of some problems under a title; nothing where there is none."""
    if problems:
        yield title
        yield problems_text(problems[:most], colour=colour).rstrip()
        yield from _rest(len(problems), most)


def _changes(changes: Sequence[Change], *, records: bool = False) -> Iterator[str]:
    for place, change in enumerate(changes[:MOST]):
        now = change.now
        yield (f"  {safe(now.id)}  {_code(change.was)} -> {_code(now)}  {safe(now.title)}")
        yield f"      {safe(now.why)}"
        if place < FEW:
            yield from _why(change)
        if records:
            yield from _found(now, (entry for entry in now.evidence if entry.due))
    yield from _rest(len(changes))


def _code(result: RequirementResult) -> str:
    return f"{result.compliance.value} covered" if result.covered else result.compliance.value


def _early(some: Sequence[Early]) -> Iterator[str]:
    for one in some[:MOST]:
        for entry in one.worse:
            what = entry.quantity or entry.analysis or "it"
            case = f" [{safe(entry.case)}]" if entry.case else ""
            yield (
                f"  {safe(one.now.id)}  {safe(what)}{case} by {entry.method}, due at"
                f" {entry.review}: {entry.state.value}  {safe(one.now.title)}"
            )
            if entry.message:
                yield f"      {safe(entry.message)}"
        yield from _found(one.now, one.worse)
    yield from _rest(len(some))


def _found(now: RequirementResult, left: Iterable[Evidence]) -> Iterator[str]:
    """Yield which records found what is not met, and what became of it."""
    unclosed = [entry for entry in left if not entry.closed]
    names = list(dict.fromkeys(filter(None, (entry.record for entry in unclosed))))
    if names:
        yield f"      found by {_names(names)}"
    measured = list(dict.fromkeys(name for entry in unclosed for name in entry.measured_by))
    if measured:
        yield f"      rests on what {_names(measured)} measured"
    for name, became in now.reported[:MOST]:
        yield f"      {safe(name)}: {safe(became)}"


def _why(change: Change) -> Iterator[str]:
    """Yield what caused a change, and the margin that is worst now, before and after."""
    if change.causes:
        causes = [factor_text(one) for one in change.causes]
        more = f" and {len(causes) - FEW} more" if len(causes) > FEW else ""
        yield f"      by {'; '.join(causes[:FEW])}{more}"
    for before, after in change.margins[:1]:
        if before.margin is not None and after.margin is not None:
            texts = (show_margin(x.margin or 0.0, x.margin_unit) for x in (before, after))
            case = f" [{safe(after.case)}]" if after.case else ""
            yield f"      margin of {safe(after.quantity or '')}{case} {' -> '.join(texts)}"
    if change.again:
        yield f"      to be verified again: {_names(change.again)}"


def _rest(number: int, most: int = MOST) -> Iterator[str]:
    if number > most:
        yield f"  and {number - most} more"


def _names(names: Iterable[str]) -> str:
    names = list(names)
    shown = ", ".join(safe(name) for name in names[:MOST])
    return f"{shown} and {len(names) - MOST} more" if len(names) > MOST else shown
