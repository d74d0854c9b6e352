"""What the hook prints: why a commit is blocked, or what it changes, on one screen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from closeout.compare.staged import Change, Verdict
from closeout.model.dossier import Dossier
from closeout.render.plain import safe
from closeout.render.terminal import Paint, problems_text

# So many lines of one kind; the rest is counted.
MOST = 8


def staged_text(
    verdict: Verdict, staged: Dossier, notes: Sequence[str], *, colour: bool = False
) -> str:
    """Return what the hook prints; empty where the commit changes no verdict."""
    paint = Paint(colour)
    parts: list[str] = []
    if verdict.errors:
        parts.append(paint.bad("closeout: this commit is blocked, the staged state has errors"))
        parts.append(problems_text(verdict.errors[:MOST], colour=colour).rstrip())
        parts.extend(_rest(len(verdict.errors)))
    if verdict.lost:
        parts.append(paint.bad("closeout: this commit is blocked, it loses compliance"))
        parts.extend(_changes(verdict.lost))
        parts.append(
            "  Raise the requirement's issue if it was changed on purpose, or mend what broke it."
        )
    for changes, text in (
        (verdict.raised, "to be verified again, its issue was raised"),
        (verdict.covered, "no longer compliant, covered"),
        (verdict.gained, "now compliant"),
    ):
        if changes:
            parts.append(f"closeout: {text}")
            parts.extend(_changes(changes))
    for names, text in ((verdict.deleted, "deleted"), (verdict.added, "new")):
        if names:
            parts.append(f"closeout: {text}: {_names(names)}")
    parts.extend(f"closeout: {safe(note)}" for note in notes)
    if not parts:
        return ""
    if verdict.exit_status == 0:
        totals = ", ".join(f"{count} {name}" for name, count in staged.totals.items() if count)
        parts.append(f"closeout: staged state judged: {totals}")
    return "\n".join(parts) + "\n"


def _changes(changes: Sequence[Change]) -> Iterator[str]:
    for change in changes[:MOST]:
        now = change.now
        yield (
            f"  {safe(now.id)}  {change.was.compliance.value} -> {now.compliance.value}"
            f"  {safe(now.title)}"
        )
        yield f"      {safe(now.why)}"
    yield from _rest(len(changes))


def _rest(count: int) -> Iterator[str]:
    if count > MOST:
        yield f"  and {count - MOST} more"


def _names(names: Iterable[str]) -> str:
    names = list(names)
    shown = ", ".join(safe(name) for name in names[:MOST])
    return f"{shown} and {len(names) - MOST} more" if len(names) > MOST else shown
