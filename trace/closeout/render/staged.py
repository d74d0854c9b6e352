"""What the hook prints: why a commit is blocked, or what it changes, on one screen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from closeout.compare.staged import Change, Early, Verdict
from closeout.model.dossier import Dossier, Evidence, RequirementResult
from closeout.model.problem import Problem
from closeout.render.plain import count, safe
from closeout.render.terminal import Paint, problems_text

# So many lines of one kind; the rest is counted.
MOST = 8


def staged_text(
    verdict: Verdict, staged: Dossier, notes: Sequence[str], *, colour: bool = False
) -> str:
    """Return what the hook prints; empty where the commit changes no verdict."""
    paint = Paint(colour)
    parts: list[str] = []
    blocked = paint.bad("closeout: commit blocked: new errors")
    parts.extend(_problems(blocked, verdict.errors, colour=colour))
    news = "closeout: to be explained: measured outside of what was predicted"
    parts.extend(_problems(news, verdict.to_explain, colour=colour))
    if verdict.lost:
        parts.append(paint.bad("closeout: commit blocked: loss of compliance"))
        parts.extend(_changes(verdict.lost))
        parts.append(
            "  Raise the requirement's issue if it was changed on purpose, or correct what broke"
            " it."
        )
    for changes, text in (
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
    if verdict.renamed:
        pairs = (f"{old} -> {new}" for old, new in verdict.renamed)
        parts.append(f"closeout: renamed: {_names(pairs)}")
    for names, text in ((verdict.deleted, "deleted"), (verdict.added, "new")):
        if names:
            parts.append(f"closeout: {text}: {_names(names)}")
    if verdict.known:
        errors = count(len(verdict.known), "error")
        parts.append(f"closeout: {errors} also in HEAD, see closeout verify")
    parts.extend(f"closeout: {safe(note)}" for note in notes)
    if not parts:
        return ""
    if verdict.exit_status == 0:
        totals = ", ".join(f"{number} {name}" for name, number in staged.totals.items() if number)
        parts.append(f"closeout: staged state: {totals}")
    return "\n".join(parts) + "\n"


def _problems(title: str, problems: Sequence[Problem], *, colour: bool) -> Iterator[str]:
    """Yield the first of some problems under a title; nothing where there is none."""
    if problems:
        yield title
        yield problems_text(problems[:MOST], colour=colour).rstrip()
        yield from _rest(len(problems))


def _changes(changes: Sequence[Change], *, records: bool = False) -> Iterator[str]:
    for change in changes[:MOST]:
        now = change.now
        yield (f"  {safe(now.id)}  {_code(change.was)} -> {_code(now)}  {safe(now.title)}")
        yield f"      {safe(now.why)}"
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


def _rest(number: int) -> Iterator[str]:
    if number > MOST:
        yield f"  and {number - MOST} more"


def _names(names: Iterable[str]) -> str:
    names = list(names)
    shown = ", ".join(safe(name) for name in names[:MOST])
    return f"{shown} and {len(names) - MOST} more" if len(names) > MOST else shown
