"""What changed between two states, for a terminal: verdicts, then margins and why, then items."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator

from closeout.compare.worse import is_worse
from closeout.model.changes import (
    ADDED,
    REMOVED,
    Cause,
    Changes,
    Factor,
    FieldChange,
    ItemChange,
    MarginChange,
    VerdictChange,
)
from closeout.model.dossier import Dossier
from closeout.render import words
from closeout.render.numbers import show_margin
from closeout.render.plain import count, flow, safe
from closeout.render.terminal import Paint, wrap

METHOD = (
    "Each part is the mean of what its cause adds over all orders in which the causes can be"
    " changed (Shapley value); so the parts add up to the change."
)
SAMPLED = " Parts with +/- are means of sampled orders, with their standard error."
SINGULAR = {
    "requirements": "requirement",
    "parameters": "parameter",
    "records": "record",
    "nonconformances": "nonconformance",
    "waivers": "waiver or deviation",
    "articles": "article",
    "analyses": "file of analyses",
}
_WORD = re.compile(r"\S+|\s+")


def changes_text(changes: Changes, *, colour: bool, width: int) -> str:
    """Return what changed, for a terminal of so many columns."""
    paint = Paint(colour)
    lines = [paint.strong(line) for line in wrap(answer(changes), width)]
    lines += [line for text in heading(changes) for line in wrap(text, width)]
    for title, part in (
        ("Verdicts", _verdicts(changes, paint, width)),
        ("Margins", _margins(changes, paint, width)),
        ("What the files say", _items(changes, width)),
    ):
        found = list(part)
        if found:
            lines += ["", paint.strong(title), *found]
    return "\n".join([*lines, "", words.CAUTION_LINE]) + "\n"


def answer(changes: Changes) -> str:
    """Return the answer in one sentence: what got worse, what got better."""
    if not (changes.verdicts or changes.margins or changes.items):
        return "Nothing changed: no wording, no value, no verdict, no margin."
    worse = [one.now.id for one in changes.verdicts if is_worse(one)]
    better = len(changes.verdicts) - len(worse)
    fell = sum(one.change < 0 for one in changes.margins)
    rose = len(changes.margins) - fell
    names = ", ".join(map(safe, worse[:6])) + (f" and {len(worse) - 6} more" if worse[6:] else "")
    parts = [
        f"{count(len(worse), 'verdict')} got worse ({names})" if worse else "no verdict got worse",
        f"{better} got better" if better else "",
        f"{count(fell, 'margin')} fell, {rose} rose" if changes.margins else "no margin moved",
        count(len(changes.items), "item") + " of the files changed" if changes.items else "",
    ]
    text = "; ".join(part for part in parts if part)
    return f"{text[0].upper()}{text[1:]}."


def heading(changes: Changes) -> Iterator[str]:
    """Yield which states were compared, and what is to be known of them."""
    review = f", both for {safe(changes.now.review)}" if changes.now.review else ""
    states = f"from {state(changes.was)} to {state(changes.now)}"
    yield f"{safe(changes.now.project)}: {states}{review}"
    for dossier in (changes.was, changes.now):
        if dossier.review != changes.now.review:
            yield f"the earlier state has no review {safe(changes.now.review or '')}"
        if (text := words.incomplete(dossier)) is not None:
            yield f"{state(dossier)}: {text}"


def state(dossier: Dossier) -> str:
    """Return which state was judged: ``commit 1b2c3d4e5f60 of 2026-11-02``."""
    one = dossier.snapshot
    name = {"tree": "the working tree", "index": "the index"}.get(one.kind, "commit")
    commit = f" {one.commit[:12]}" if one.commit and one.kind == "commit" else ""
    return f"{name}{commit} of {one.date}" if one.date else f"{name}{commit}"


def _verdicts(changes: Changes, paint: Paint, width: int) -> Iterator[str]:
    for one in changes.verdicts:
        text = f"{safe(one.now.id)}{_formerly(one.formerly)}  {verdict(one)}  {safe(one.now.title)}"
        line = wrap(text, width, 2)
        yield from (paint.bad(x) for x in line) if is_worse(one) else line
        if is_worse(one) and one.now.why:
            yield from wrap(safe(one.now.why), width, 6)


def verdict(one: VerdictChange) -> str:
    """Return a verdict before and after: ``C -> NC``, and close-out or cover where they differ."""
    was, now = one.was, one.now
    texts = [
        f"{x.compliance.value}{' covered' if x.covered else ''}{' closed' if x.closed else ''}"
        for x in (was, now)
    ]
    return " -> ".join(texts)


def _formerly(name: str | None) -> str:
    return f" (formerly {safe(name)})" if name else ""


def _margins(changes: Changes, paint: Paint, width: int) -> Iterator[str]:
    split = False
    for one in changes.margins:
        line = wrap(margin(one), width, 2)
        bad = one.after < 0 <= one.before
        yield from (paint.bad(x) for x in line) if bad else line
        for text in causes(one):
            yield from wrap(text, width, 6)
        split = split or len(one.causes) > 1
    if split:
        sampled = any(c.error is not None for one in changes.margins for c in one.causes)
        yield from wrap(METHOD + (SAMPLED if sampled else ""), width, 2)


def margin(one: MarginChange) -> str:
    """Return a margin before and after, with what it is of."""
    entry = one.now
    unit = entry.margin_unit
    case = f" [{safe(entry.case)}]" if entry.case else ""
    texts = [show_margin(x, unit) for x in (one.before, one.after)]
    state = f"{one.was.state.value} -> {one.now.state.value}"
    state = one.now.state.value if one.was.state is one.now.state else state
    return (
        f"{safe(one.requirement)}  {safe(entry.quantity or '')}{case} by {entry.method}:"
        f" margin {texts[0]} -> {texts[1]} ({show_margin(one.change, unit)}), {state}"
    )


def causes(one: MarginChange) -> Iterator[str]:
    """Yield the causes of a margin's change, largest first, or why there are none."""
    yield from (f"{part}  {cause}" if part else cause for part, cause in parts(one))


def parts(one: MarginChange) -> list[tuple[str, str]]:
    """Return each part of a margin's change beside its cause, largest first."""
    unit = one.now.margin_unit
    if one.reason is not None:
        return [("", f"not split: {safe(one.reason)}")]
    found = []
    for cause in one.causes:
        error = "" if cause.error is None else f" +/- {show_margin(cause.error, None)[1:]}"
        found.append((f"{show_margin(cause.part, unit)}{error}", named(cause)))
    if one.interaction and len(one.causes) > 1:
        text = "interaction, which only several together make; it is in the parts above"
        found.append((f"({show_margin(one.interaction, unit)})", text))
    return found


def named(cause: Cause) -> str:
    """Return a cause in words: ``net_buoyancy 60 N -> 30 N``."""
    return factor_text(cause.factor)


def factor_text(one: Factor) -> str:
    """Return a factor in words: ``net_buoyancy 60 N -> 30 N``."""
    name = safe(one.name)
    if one.kind in ("parameter", "condition", "record", "limit"):
        word = {"condition": "condition ", "record": "record "}.get(one.kind, "")
        return f"{word}{name} {flow(safe(one.before))} -> {flow(safe(one.after))}"
    if one.kind == "data":
        return f"data file {name}"
    if one.kind == "code":
        return f"code of {name}"
    return f"{name} ({flow(safe(one.after))})" if one.after else name


def _items(changes: Changes, width: int) -> Iterator[str]:
    for item in changes.items:
        yield from wrap(item_line(item), width, 2)
        if item.kind in (ADDED, REMOVED) and item.section != "analyses":
            continue
        for field in item.fields:
            yield from wrap(field_text(field), width, 6)


def item_line(item: ItemChange) -> str:
    """Return what became of an item: ``parameter sleep_current changed``."""
    renamed = f", formerly {safe(item.formerly)}" if item.formerly else ""
    title = next((f.after or f.before for f in item.fields if f.name == "title"), "")
    shown = f": {safe(title)}" if title and item.kind in (ADDED, REMOVED) else ""
    return f"{SINGULAR[item.section]} {safe(item.id)} {item.kind}{renamed}{shown}"


def field_text(field: FieldChange) -> str:
    """Return what a field said and says; of running text the words that differ."""
    if not field.before:
        return f"{field.name}: {flow(safe(field.after))}"
    if not field.after:
        return f"{field.name}: no longer {flow(safe(field.before))}"
    if field.running:
        return f"{field.name}: {marked(field.before, field.after)}"
    return f"{field.name}: {flow(safe(field.before))} -> {flow(safe(field.after))}"


def marked(before: str, after: str, removed: str = "[-{}-]", added: str = "[+{}+]") -> str:
    """Return a text with the words that went and those that came marked where they stand."""
    return "".join(
        text if kind == " " else (removed if kind == "-" else added).format(text)
        for kind, text in pieces(before, after)
    )


def pieces(before: str, after: str) -> Iterator[tuple[str, str]]:
    """Yield a text in pieces, word by word: the same (" "), gone ("-") and come ("+")."""
    was, now = (_WORD.findall(flow(safe(text))) for text in (before, after))
    for kind, a, b, c, d in difflib.SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
        if kind == "equal":
            yield " ", "".join(was[a:b])
            continue
        if a < b:
            yield "-", "".join(was[a:b])
        if c < d:
            yield "+", "".join(now[c:d])
