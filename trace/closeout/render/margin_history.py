"""The history of a requirement as text: since when it stands so, then its margin state by state."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from closeout.model.dossier import Evidence, State
from closeout.model.margin_history import Line, MarginHistory, Moment
from closeout.render import words
from closeout.render.numbers import show_margin
from closeout.render.plain import cut, pad, safe
from closeout.render.terminal import Paint, wrap

SCALE = 25  # columns of the small chart
LEGEND = "| the limit, : the required margin, * the margin; x not met"


def history_text(history: MarginHistory, *, colour: bool, width: int) -> str:
    """Return the history for a terminal of so many columns, the newest state last."""
    paint = Paint(colour)
    lines = [paint.strong(line) for line in wrap(answer(history), width)]
    for key in lines_of(history):
        lines += ["", *_table(history, key, paint, width)]
    if not lines_of(history):
        lines += ["", *_verdicts(history, width)]
    if not history.whole:
        lines += wrap("older commits are not in this clone: git fetch --unshallow", width)
    return "\n".join([*lines, "", words.CAUTION_LINE]) + "\n"


def answer(history: MarginHistory) -> str:
    """Return since when the present verdict holds, and the largest fall of a margin."""
    last = history.moments[-1]
    if last.result is None:
        return f"{safe(history.identifier)} cannot be judged: {safe(last.problem)}."
    code = last.result.compliance
    begin = last
    for moment in reversed(history.moments):
        if moment.result is None or moment.result.compliance is not code:
            break
        begin = moment
    since = f"since {named(begin)}" if len(history.moments) > 1 else "from the first"
    text = f"{safe(history.identifier)} is {code.value} {since}"
    falls = [fall for key in lines_of(history) for fall in _falls(history, key)]
    if falls:
        change, entry, moment = min(falls, key=lambda one: one[0] / one[3])[:3]
        shown = show_margin(change, entry.margin_unit)
        text += f"; the largest fall is {shown} of {safe(entry.quantity or '')} by {named(moment)}"
    return f"{text}."


def _falls(history: MarginHistory, key: Line) -> Iterator[tuple[float, Evidence, Moment, float]]:
    """Yield where a margin fell, by how much, and a yardstick for it."""
    known = [
        (one, entry, entry.margin)
        for one in history.moments
        if (entry := one.lines.get(key)) is not None and entry.margin is not None
    ]
    for (_, _, before), (moment, entry, after) in pairwise(known):
        if after < before:
            yield after - before, entry, moment, max(abs(before), abs(after)) or 1.0


def named(moment: Moment) -> str:
    """Return a commit in words: ``1b2c3d4e5f (2026-03-01, a cheaper cell)``."""
    if moment.commit is None:
        return "what is not committed"
    return f"{moment.commit[:10]} ({moment.day}, {safe(moment.subject)})"


def lines_of(history: MarginHistory) -> tuple[Line, ...]:
    """Return the verifications that have a margin in some state, the present ones first."""
    every = [key for one in reversed(history.moments) for key in one.lines]
    return tuple(key for key in dict.fromkeys(every) if margins_of(history, key))


def margins_of(history: MarginHistory, key: Line) -> list[float]:
    """Return the margins of a verification, the oldest first."""
    entries = (one.lines.get(key) for one in history.moments)
    return [one.margin for one in entries if one is not None and one.margin is not None]


def title(key: Line) -> str:
    """Return which verification it is: ``usable_energy by test at system qualification``."""
    method, level, stage, quantity = key
    where = " ".join(part for part in (level, stage) if part)
    return f"{safe(quantity or 'it')} by {method}{f' at {where}' if where else ''}"


def _table(history: MarginHistory, key: Line, paint: Paint, width: int) -> Iterator[str]:
    yield paint.strong(f"{title(key)}   ({LEGEND})")
    every = [*margins_of(history, key), 0.0]
    every += [one.required[key] for one in history.moments if key in one.required]
    low, high = min(every), max(every)
    before: Evidence | None = None
    for moment in history.moments:
        entry = moment.lines.get(key)
        yield from _row(moment, entry, before, _mark(moment, entry, key, low, high), width)
        before = entry or before


def _row(
    moment: Moment, entry: Evidence | None, before: Evidence | None, mark: str, width: int
) -> Iterator[str]:
    margin = "" if entry is None else _shown(entry)
    code = moment.result.compliance.value if moment.result is not None else "?"
    tags = f" [{', '.join(map(safe, moment.tags))}]" if moment.tags else ""
    commit = (moment.commit or "")[:8]
    left = f"  {moment.day or '':10}  {commit:8}  {code:4}  {pad(margin, 12)}  {mark}  "
    yield cut(f"{left}{safe(moment.subject)}{tags}".rstrip(), width)
    if moment.problem:
        yield f"      {safe(moment.problem)}"
    if entry is not None and before is not None and entry.limit_text != before.limit_text:
        yield f"      limit {safe(before.limit_text)} -> {safe(entry.limit_text)}"


def _shown(entry: Evidence) -> str:
    return "" if entry.margin is None else show_margin(entry.margin, entry.margin_unit)


def _mark(moment: Moment, entry: Evidence | None, key: Line, low: float, high: float) -> str:
    cells = ["-"] * SCALE

    def put(value: float, sign: str) -> None:
        share = (value - low) / (high - low) if high > low else 0.5
        cells[round(share * (SCALE - 1))] = sign

    put(0.0, "|")
    if key in moment.required:
        put(moment.required[key], ":")
    if entry is not None and entry.margin is not None:
        put(entry.margin, "x" if entry.state is State.NOT_MET else "*")
    return "".join(cells)


def _verdicts(history: MarginHistory, width: int) -> Iterator[str]:
    for moment in history.moments:
        yield from _row(moment, None, None, "", width)


def tags_of(moments: Sequence[Moment]) -> list[tuple[int, str]]:
    """Return the tags of the moments, each with the place of its moment."""
    return [(place, tag) for place, one in enumerate(moments) for tag in one.tags]
