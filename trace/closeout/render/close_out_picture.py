"""The close-out curve: verifications planned by review, and those that are closed, as steps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date
from itertools import groupby

from closeout.model.dossier import Dossier
from closeout.render.picture import BAD, INK, LOW, SOFT, svg_line, svg_opening, svg_text
from closeout.render.plain import safe

LEGEND = (
    "The thin line rises at each review by the verifications that are planned for it, the thick"
    " one by those that are closed: by a record at the day of the record, by an analysis at the day"
    " of the state that is judged. Where the thin line is above the thick one at a past review,"
    " something is late."
)
_Day = Callable[[str], float]
_Count = Callable[[float], float]
WIDE, HIGH, LEFT, RIGHT, TOP, BELOW = 800, 300, 60, 60, 20, 56


def close_out_svg(dossier: Dossier, review_dates: Mapping[str, str]) -> str | None:
    """Return the curve; None where reviews with verifications have no dates, or there are none."""
    planned: dict[str, int] = {}
    closed: dict[str, int] = {}
    days = {record.id: record.date for record in dossier.records}
    today = dossier.snapshot.date
    for result in dossier.requirements:
        for _, some in groupby(result.evidence, lambda one: one.number):
            cases = list(some)
            day = review_dates.get(cases[0].review or "")
            if day is None:
                return None
            planned[day] = planned.get(day, 0) + 1
            if all(one.closed for one in cases) and today is not None:
                made = (days.get(cases[0].record or "") or today) if cases[0].record else today
                closed[min(made, today)] = closed.get(min(made, today), 0) + 1
    if not planned or today is None:
        return None
    names = {day: review for review, day in review_dates.items()}
    return "".join(_parts(planned, closed, today, names))


def _parts(
    planned: Mapping[str, int], closed: Mapping[str, int], today: str, names: Mapping[str, str]
) -> Iterator[str]:
    total = sum(planned.values())
    places = [date.fromisoformat(day).toordinal() for day in (*planned, *closed, *names, today)]
    first, last = min(places), max(places)

    def x(day: str) -> float:
        share = (date.fromisoformat(day).toordinal() - first) / max(1, last - first)
        return LEFT + share * (WIDE - LEFT - RIGHT)

    def y(count: float) -> float:
        return TOP + (HIGH - TOP - BELOW) * (1.0 - count / total)

    done = sum(closed.values())
    said = f"Close-out: {done} of {total} verifications closed on {today}"
    yield svg_opening(WIDE, HIGH, said)
    for count in sorted({0, total}):
        yield svg_line(LEFT, y(count), WIDE - RIGHT, y(count), "#e4e6e9")
        yield svg_text(LEFT - 8, y(count) + 4, str(count), "end")
    for place, day in enumerate(sorted(names)):
        yield svg_line(x(day), TOP, x(day), HIGH - BELOW, SOFT)
        # Names of reviews that are near each other stand on two levels.
        yield svg_text(x(day), HIGH - BELOW + 18 + 16 * (place % 2), safe(names[day]), "middle")
    yield _steps(planned, x, y, WIDE - RIGHT, INK, 1.2)
    yield _steps(closed, x, y, x(today), LOW, 4)
    yield svg_line(x(today), TOP, x(today), HIGH - BELOW, BAD)
    yield svg_text(x(today), HIGH - 4, f"today {today}: {done} closed", "middle")
    yield svg_text(WIDE - RIGHT + 6, y(total) + 4, "planned", "start")
    yield "</svg>"


def _steps(counts: Mapping[str, int], x: _Day, y: _Count, end: float, ink: str, wide: float) -> str:
    """Return a line that rises at each day by its count, and goes on to the end."""
    so_far, points = 0, [f"{LEFT:.1f},{y(0):.1f}"]
    for day in sorted(counts):
        points.append(f"{x(day):.1f},{y(so_far):.1f}")
        so_far += counts[day]
        points.append(f"{x(day):.1f},{y(so_far):.1f}")
    points.append(f"{end:.1f},{y(so_far):.1f}")
    drawn = " ".join(points)
    return f'<polyline points="{drawn}" fill="none" stroke="{ink}" stroke-width="{wide}"/>'
