"""The close-out curve: verifications planned by review, and those that are closed, as steps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import accumulate, groupby

from closeout.model.dossier import Dossier, Evidence
from closeout.render import rows
from closeout.render.picture import (
    BAD,
    CHARACTER,
    FAINT,
    INK,
    LOW,
    SOFT,
    round_ticks,
    svg_line,
    svg_opening,
    svg_text,
)
from closeout.render.plain import count, safe

LEGEND = (
    "The thin line rises at each review by the verifications that are planned for it; below each"
    " review stands how many of them are closed. A red bar at a past review is what is late there."
    " The thick line rises by what is closed, each at the date of its last record or waiver; what"
    " analyses close has no date, and is the dashed rise up to the dot at the state that is judged."
    " Where a review has no date, the reviews stand at equal distances, and what is closed is the"
    " dot alone. Closed before its review counts in the thick line, so that it may hide what is"
    " late."
)
WIDE, LEFT, RIGHT, TOP, HIGH, ROW = 860, 50, 120, 34, 200, 15
# Texts of a review that are nearer than this stand on different levels.
_APART = 11 * CHARACTER
_Place = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class _Step:
    """A review: where it stands on the axis, what is planned for it and closed, and if it is past.

    ``at`` is a day as a number, or its place among the reviews.
    """

    name: str
    day: str | None
    at: float
    planned: int
    closed: int
    past: bool

    @property
    def lines(self) -> list[tuple[str, str]]:
        """What stands below it, each line with its colour."""
        said = [(self.name, INK)]
        if self.day is not None:
            said.append((self.day, INK))
        if self.planned:
            said.append((f"{self.closed} of {self.planned}", INK))
            left = self.planned - self.closed
            if left:
                said.append((f"{left} late", BAD) if self.past else (f"{left} open", INK))
        return said


@dataclass(frozen=True, slots=True)
class _Curve:
    """All that is drawn: the reviews, the state that is judged, and what is closed by then.

    ``dated`` has the closures with a date, by day as a number; None where the axis has no dates.
    ``closed`` is their number with those that have none.
    """

    steps: Sequence[_Step]
    today: float
    state: str
    dated: Mapping[float, int] | None
    closed: int

    @property
    def planned(self) -> int:
        return sum(step.planned for step in self.steps)

    @property
    def title(self) -> str:
        verifications = count(self.planned, "verification")
        return f"Close-out: {self.closed} of {verifications} closed, {self.state}"


def close_out_svg(dossier: Dossier, review_dates: Mapping[str, str]) -> str | None:
    """Return planned and actual close-out over the reviews; None where nothing is planned.

    ``review_dates`` are those that are known, as 2026-12-10.
    """
    curve = _curve(dossier, review_dates)
    if curve is None:
        return None
    left_out = [row for row in rows.by_review(dossier) if row.review == rows.NO_REVIEW]
    return "".join(_picture(curve, left_out))


def _curve(dossier: Dossier, dates: Mapping[str, str]) -> _Curve | None:
    planned = {row.review: row for row in rows.by_review(dossier) if row.review != rows.NO_REVIEW}
    if not planned:
        return None
    today = dossier.snapshot.date
    names = list(dict.fromkeys((*map(safe, dossier.reviews), *planned)))
    known = {safe(name): day for name, day in dates.items()}
    judged = names.index(safe(dossier.review)) if dossier.review in dossier.reviews else len(names)
    dated = today is not None and planned.keys() <= known.keys()
    steps = []
    for place, name in enumerate(names):
        day = known.get(name)
        if day is None and dated:
            continue  # nothing is planned for it, and it has no place on the axis
        row = planned.get(name, rows.ByReview(name, 0, 0))
        past = place < judged if day is None or today is None else day < today
        at = _number(day) if dated and day is not None else float(place)
        steps.append(_Step(name, day, at, row.planned, row.closed, past))
    days = _closures(dossier, today) if dated and today is not None else None
    return _Curve(
        steps=sorted(steps, key=lambda step: step.at),
        today=_number(today) if dated and today is not None else judged - 0.5,
        state=f"state of {today}" if today is not None else "as judged",
        dated=days,
        closed=sum(row.closed for row in planned.values()),
    )


def _number(day: str) -> float:
    return float(date.fromisoformat(day).toordinal())


def _closures(dossier: Dossier, today: str) -> Mapping[float, int]:
    """Return how many verifications were closed on each day, of those of which a day is known."""
    records = {record.id: record for record in dossier.records}
    waivers = {waiver.id: waiver.date for waiver in dossier.waivers}

    def day_of(requirement: str, one: Evidence) -> str | None:
        record = records.get(one.record or "")
        made = None if record is None else record.day_of(requirement)
        covered = one.covered_by and waivers.get(one.covered_by)
        # What an analysis finds has no date, whatever covers it.
        return None if made is None else max(made, covered or made)

    found: Counter[float] = Counter()
    for result in dossier.requirements:
        for _, some in groupby(result.evidence, lambda one: one.number):
            cases = list(some)
            days = [day_of(result.id, one) for one in cases]
            known = [day for day in days if day is not None]
            if cases[0].review and len(known) == len(cases) and all(one.closed for one in cases):
                found[_number(min(max(known), today))] += 1
    return found


def _picture(curve: _Curve, left_out: Sequence[rows.ByReview]) -> Iterator[str]:
    first = min(curve.today, *(step.at for step in curve.steps), *(curve.dated or ()))
    last = max(curve.today, *(step.at for step in curve.steps))

    def x(at: float) -> float:
        share = (at - first) / (last - first) if last > first else 0.5
        return LEFT + 20 + share * (WIDE - LEFT - RIGHT - 40)

    def y(number: float) -> float:
        return TOP + HIGH * (1.0 - number / curve.planned)

    levels = _levels([x(step.at) for step in curve.steps])
    deep = max(len(step.lines) for step in curve.steps) * ROW + 6
    said = [
        f"Not drawn: {row.planned} planned for no review, {row.closed} of them closed."
        for row in left_out
    ]
    high = TOP + HIGH + 10 + deep * (max(levels) + 1) + ROW * len(said)
    yield svg_opening(WIDE, high, curve.title, _told(curve, said))
    for tick in round_ticks(0.0, float(curve.planned)):
        if tick.is_integer():
            yield svg_line(LEFT, y(tick), WIDE - RIGHT, y(tick), FAINT)
            yield svg_text(LEFT - 8, y(tick) + 4, f"{tick:.0f}", "end")
    for step, level in zip(curve.steps, levels, strict=True):
        yield svg_line(x(step.at), TOP, x(step.at), y(0) + 6 + deep * level, SOFT)
        for place, (text, colour) in enumerate(step.lines):
            shown = svg_text(x(step.at), y(0) + 18 + deep * level + ROW * place, text, "middle")
            yield shown if colour == INK else f'<g fill="{colour}" font-weight="600">{shown}</g>'
    yield from _planned(curve, x, y)
    yield from _actual(curve, x, y)
    for place, text in enumerate(said, 1):
        yield svg_text(LEFT, high - ROW * (len(said) - place) - 5, text, "start")
    yield "</svg>"


def _levels(places: Sequence[float]) -> list[int]:
    """Return for each place the first level on which its text does not touch one before it."""
    ends: list[float] = []
    found = []
    for place in places:
        free = (n for n, end in enumerate(ends) if place - end >= _APART)
        level = next(free, len(ends))
        ends[level : level + 1] = [place]
        found.append(level)
    return found


def _planned(curve: _Curve, x: _Place, y: _Place) -> Iterator[str]:
    counts = {step.at: 0 for step in curve.steps}
    for step in curve.steps:
        counts[step.at] += step.planned
    yield _steps(counts, x, y, WIDE - RIGHT, f'stroke="{INK}" stroke-width="1.2"')
    yield svg_text(WIDE - RIGHT + 6, y(curve.planned) + 4, f"{curve.planned} planned", "start")
    sums = accumulate(step.planned for step in curve.steps)
    for step, so_far in zip(curve.steps, sums, strict=True):
        late = step.planned - step.closed
        if step.past and late:
            at = x(step.at)
            yield svg_line(at, y(so_far), at, y(so_far - late), BAD, 6.0)


def _actual(curve: _Curve, x: _Place, y: _Place) -> Iterator[str]:
    """Yield what is closed: steps of dated evidence, the rest as a dashed rise, and the dot."""
    today, dated = x(curve.today), sum((curve.dated or {}).values())
    if curve.dated:
        yield _steps(curve.dated, x, y, today, f'stroke="{LOW}" stroke-width="3"')
    if curve.closed > dated:
        yield svg_line(today, y(dated), today, y(curve.closed), LOW, 3.0, "5 3")
    yield f'<circle cx="{today:.1f}" cy="{y(curve.closed):.1f}" r="5" fill="{INK}"/>'
    yield svg_line(today, TOP - 12, today, y(curve.closed), INK, 1.0, "2 3")
    text = f"{curve.state}: {curve.closed} of {curve.planned} closed"
    half = CHARACTER * len(text) / 2
    yield svg_text(min(max(today, half), WIDE - half), TOP - 18, text, "middle")


def _steps(counts: Mapping[float, int], x: _Place, y: _Place, end: float, stroke: str) -> str:
    """Return a line that rises at each place by its count, and goes on to the end."""
    so_far, points = 0, []
    for at in sorted(counts):
        points.append(f"{x(at):.1f},{y(so_far):.1f}")
        so_far += counts[at]
        points.append(f"{x(at):.1f},{y(so_far):.1f}")
    points.append(f"{end:.1f},{y(so_far):.1f}")
    return f'<polyline points="{" ".join(points)}" fill="none" {stroke}/>'


def _told(curve: _Curve, said: Sequence[str]) -> str:
    """Return the numbers of the picture in words, review by review."""
    parts = []
    for step in curve.steps:
        if step.planned:
            left = step.planned - step.closed
            rest = f", {left} {'late' if step.past else 'open'}" if left else ""
            day = f" ({step.day})" if step.day is not None else ""
            parts.append(f"{step.name}{day}: {step.planned} planned, {step.closed} closed{rest}.")
    return " ".join([*parts, *said])
