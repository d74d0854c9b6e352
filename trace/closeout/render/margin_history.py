"""The history of a requirement as text: since when it stands so, then its margin state by state."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from closeout.model.dossier import Evidence, State
from closeout.model.margin_history import Line, MarginHistory, Moment
from closeout.render import words
from closeout.render.numbers import show_margin
from closeout.render.plain import cut, pad, safe
from closeout.render.terminal import Paint, wrap

# Columns of the small chart, on a terminal of so many columns and below.
WIDE, NARROW, WIDE_FROM = 25, 13, 100
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
    falls = [fall for key in lines_of(history) if (fall := _largest_fall(history, key))]
    if falls:
        change, entry, moment, _ = min(falls, key=lambda one: one[0] / one[3])
        shown = show_margin(change, entry.margin_unit)
        text += (
            f"; its margin fell most by {named(moment)}: {shown} of {safe(entry.quantity or '')}"
        )
    return f"{text}."


def _largest_fall(
    history: MarginHistory, key: Line
) -> tuple[float, Evidence, Moment, float] | None:
    """Return where a margin fell most, by how much, and its largest size as a yardstick."""
    known = [
        (one, entry, entry.margin)
        for one in history.moments
        if (entry := one.lines.get(key)) is not None and entry.margin is not None
    ]
    most = max((abs(margin) for _, _, margin in known), default=0.0) or 1.0
    falls = [
        (after - before, entry, moment, most)
        for (_, _, before), (moment, entry, after) in pairwise(known)
        if after < before
    ]
    return min(falls, key=lambda one: one[0], default=None)


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
    yield from (paint.strong(line) for line in wrap(title(key), width))
    yield from wrap(LEGEND, width, 2)
    every = [*margins_of(history, key), 0.0]
    every += [one.required[key] for one in history.moments if key in one.required]
    scale = _Scale(min(every), max(every), WIDE if width >= WIDE_FROM else NARROW)
    before: tuple[Moment, Evidence] | None = None
    for moment in history.moments:
        entry = moment.lines.get(key)
        yield _row(moment, entry, scale.mark(moment, entry, key), width)
        yield from (f"      {text}" for text in _news(moment, entry, before))
        before = before if entry is None else (moment, entry)


def _row(moment: Moment, entry: Evidence | None, mark: str, width: int) -> str:
    margin = "" if entry is None else _shown(entry)
    code = moment.result.compliance.value if moment.result is not None else "?"
    tags = f"[{', '.join(map(safe, moment.tags))}] " if moment.tags else ""
    commit = (moment.commit or "")[:8]
    left = f"  {moment.day or '':10}  {commit:8}  {code:4}  {pad(margin, 12)}  {mark}  "
    return cut(f"{left}{tags}{safe(moment.subject)}".rstrip(), width)


def _news(
    moment: Moment, entry: Evidence | None, before: tuple[Moment, Evidence] | None
) -> Iterator[str]:
    """Yield the limit and the verdict where they are not as before, and why one is not known."""
    if moment.problem:
        yield safe(moment.problem)
    if entry is None:
        return
    if before is None:
        yield f"limit {safe(entry.limit_text)}"
        return
    earlier, said = before
    codes = [x.result.compliance.value for x in (earlier, moment) if x.result is not None]
    if len(set(codes)) > 1:
        yield f"verdict {' -> '.join(codes)}"
    if entry.limit_text != said.limit_text:
        yield f"limit {safe(said.limit_text)} -> {safe(entry.limit_text)}"


def _shown(entry: Evidence) -> str:
    return "" if entry.margin is None else show_margin(entry.margin, entry.margin_unit)


@dataclass(frozen=True, slots=True)
class _Scale:
    """The small chart: the least and the greatest that it shows, and its columns."""

    low: float
    high: float
    columns: int

    def mark(self, moment: Moment, entry: Evidence | None, key: Line) -> str:
        """Return a row of it."""
        cells = ["-"] * self.columns
        cells[self._at(0.0)] = "|"
        if key in moment.required:
            cells[self._at(moment.required[key])] = ":"
        if entry is not None and entry.margin is not None:
            cells[self._at(entry.margin)] = "x" if entry.state is State.NOT_MET else "*"
        return "".join(cells)

    def _at(self, value: float) -> int:
        share = (value - self.low) / (self.high - self.low) if self.high > self.low else 0.5
        return round(share * (self.columns - 1))


def _verdicts(history: MarginHistory, width: int) -> Iterator[str]:
    for moment in history.moments:
        yield _row(moment, None, "", width)
        yield from (f"      {text}" for text in _news(moment, None, None))


def tags_of(moments: Sequence[Moment]) -> list[tuple[int, str]]:
    """Return the tags of the moments, each with the place of its moment."""
    return [(place, tag) for place, one in enumerate(moments) for tag in one.tags]
