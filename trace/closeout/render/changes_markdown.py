"""What changed between two states, as a page in Markdown (CommonMark with tables)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from closeout.compare.worse import is_worse
from closeout.model.changes import ADDED, REMOVED, Changes, FieldChange, ItemChange, MarginChange
from closeout.render import words
from closeout.render.changes import (
    METHOD,
    SAMPLED,
    SINGULAR,
    answer,
    heading,
    item_line,
    parts,
    pieces,
    verdict,
)
from closeout.render.numbers import show_margin
from closeout.render.plain import Markup, markdown


def changes_markdown(changes: Changes) -> str:
    """Return the changes as a page of their own."""
    head = f"# {markdown(changes.now.project)}: what changed\n\n"
    return f"{head}{changes_body(changes)}\n{markdown(words.CAUTION)}\n"


def changes_body(changes: Changes) -> Markup:
    """Return the changes as Markdown, the answer first, without a title of the page."""
    lines = [markdown(answer(changes)), ""]
    lines += [line for text in heading(changes) for line in (markdown(text), "")]
    for title, part in (
        ("Verdicts", _verdicts(changes)),
        ("Margins, and why they moved", _margins(changes)),
        ("What the files say", _items(changes)),
    ):
        found = list(part)
        if found:
            lines += [f"## {title}", "", *found, ""]
    return Markup("\n".join(lines) + "\n")


def _table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    yield f"| {' | '.join(heads)} |"
    yield f"|{' --- |' * len(heads)}"
    for row in rows:
        yield f"| {' | '.join(markdown(cell) for cell in row)} |"


def _verdicts(changes: Changes) -> Iterator[str]:
    rows = [
        (
            one.now.id if one.formerly is None else f"{one.now.id} (formerly {one.formerly})",
            one.now.title,
            verdict(one),
            one.now.why if is_worse(one) else "",
        )
        for one in changes.verdicts
    ]
    if rows:
        yield from _table(("requirement", "title", "verdict", "reason"), rows)


def _margins(changes: Changes) -> Iterator[str]:
    if not changes.margins:
        return
    yield from _table(
        ("requirement", "quantity", "before", "now", "change", "part", "cause, largest first"),
        [row for one in changes.margins for row in _rows(one)],
    )
    if any(len(one.causes) > 1 for one in changes.margins):
        sampled = any(c.error is not None for one in changes.margins for c in one.causes)
        yield ""
        yield markdown(METHOD + (SAMPLED if sampled else ""))


def _rows(one: MarginChange) -> Iterator[tuple[str, ...]]:
    """Yield a row for each cause; the first of them says which margin it is about."""
    entry = one.now
    unit = entry.margin_unit
    case = f" [{entry.case}]" if entry.case else ""
    numbers = (show_margin(x, unit) for x in (one.before, one.after, one.change))
    left = (one.requirement, f"{entry.quantity}{case} by {entry.method}", *numbers)
    for part, cause in parts(one) or [("", "")]:
        yield (*left, part, cause)
        left = ("", "", "", "", "")


def _items(changes: Changes) -> Iterator[str]:
    if any(field.running for item in changes.items for field in item.fields):
        yield "Of running text, words that went are in brackets and words that came are bold."
        yield ""
    for section in SINGULAR:
        some = [item for item in changes.items if item.section == section]
        for item in some:
            yield f"- {markdown(item_line(item))}"
            yield from (f"  - {text}" for text in _fields(item))


def _fields(item: ItemChange) -> Iterator[str]:
    if item.kind in (ADDED, REMOVED) and item.section != "analyses":
        return
    for field in item.fields:
        yield f"{field.name}: {_field(field)}"


def _field(field: FieldChange) -> str:
    if not (field.before and field.after):
        return markdown(field.after) if field.after else f"no longer {markdown(field.before)}"
    if not field.running:
        return f"{markdown(field.before)} -> {markdown(field.after)}"
    marks = {" ": "{}", "-": "\\[{}\\]", "+": "**{}**"}
    return "".join(_marked(marks[kind], text) for kind, text in pieces(field.before, field.after))


def _marked(mark: str, text: str) -> str:
    """Return a text in marks; blanks stay outside, as CommonMark wants it."""
    inner = text.strip()
    if not inner:
        return text
    before, after = text.split(inner, 1) if text.count(inner) == 1 else ("", "")
    return f"{before}{mark.format(markdown(inner))}{after}"
