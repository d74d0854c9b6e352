"""Criteria as lines of a picture: how far their values lie from the limit that decides."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from closeout.model.criterion import TBD
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.on_file import RequiredText
from closeout.render import rows, words
from closeout.render.marks import MEASURED
from closeout.render.plain import safe

Required = Mapping[tuple[str, int], tuple[RequiredText, ...]]

PROBABILITY = "probability"
NO_LIMIT = "limit not decided"
NO_RESULT = "could not be evaluated"
NO_VALUE = "no value yet"


@dataclass(frozen=True, slots=True)
class MarginLine:
    """A criterion, with distances from its own limit, positive where the limit is kept.

    ``group`` is the unit that lines share an axis by; a number without one has the unit 1, and
    probabilities stand apart from it. ``low`` and ``high`` are the ends of what was found, ``low``
    the nearer to the limit or beyond it. ``other`` is the distance of the second limit, beyond
    which nothing is kept either. ``required`` is the margin that the project's policy requires.
    ``margin`` is what ``text`` shows, ``remark`` what is to be said of the state. ``mark`` is the
    assurance, or MEASURED. ``id`` is the requirement's, ``of`` quantity and case.
    """

    id: str
    of: str
    group: str
    low: float
    high: float
    margin: float
    text: str
    mark: str
    nominal: float | None = None
    other: float | None = None
    required: float | None = None
    remark: str = ""

    @property
    def name(self) -> str:
        """``COM-040 link_margin [Razorbill], not met``."""
        return ", ".join(filter(None, (f"{self.id} {self.of}", self.remark)))


def margin_lines(dossier: Dossier, required: Required) -> list[MarginLine]:
    """Return a line for each criterion with a margin: by unit, in each the least margin first.

    Of cases, the one that decides has the line.
    """
    lines = [
        _line(name, one, required.get((name, one.number), ()))
        for name, one in _criteria(dossier)
        if one.margin is not None
    ]
    return sorted(lines, key=lambda one: (one.group, one.margin, one.id, one.of))


def without_margin(dossier: Dossier) -> dict[str, list[str]]:
    """Return the criteria that have no margin, by the reason."""
    found: dict[str, list[str]] = {}
    for name, one in _criteria(dossier):
        if one.margin is None:
            found.setdefault(_reason(one), []).append(f"{safe(name)} {rows.subject(one)}")
    return found


def _criteria(dossier: Dossier) -> Iterator[tuple[str, Evidence]]:
    for result in dossier.requirements:
        for _, cases in groupby(result.evidence, lambda one: one.number):
            one = rows.deciding(list(cases))
            if one.quantity is not None:
                yield result.id, one


def _reason(one: Evidence) -> str:
    if one.state is State.ERROR:
        return NO_RESULT
    decided = one.at_least is not None or one.at_most is not None
    return NO_VALUE if decided or TBD not in one.limit_text else NO_LIMIT


def _line(name: str, one: Evidence, asked: Sequence[RequiredText]) -> MarginLine:
    assert one.margin is not None
    low, high, nominal = _extent(one, one.margin)
    other = None
    if one.chance is None and one.at_least is not None and one.at_most is not None:
        other = one.at_most - one.at_least
    group = PROBABILITY if one.chance is not None else one.margin_unit or "1"
    return MarginLine(
        id=safe(name),
        of=rows.subject(one),
        group=safe(group),
        low=low,
        high=high,
        margin=one.margin,
        text=rows.margin(one),
        mark=MEASURED if one.assurance is None else one.assurance.value,
        nominal=nominal,
        other=other,
        required=_required(one, asked),
        remark=_remark(one, low),
    )


def _extent(one: Evidence, margin: float) -> tuple[float, float, float | None]:
    """Return the distances of both ends, and of the nominal value.

    Of a probability these are the bounds that hold with the confidence, and the estimate.
    """
    chance = one.chance
    if chance is not None:
        wanted = chance.required
        return margin, max(margin, chance.at_most - wanted), chance.estimate - wanted
    low = one.judged_low if one.judged_low is not None else one.low
    high = one.judged_high if one.judged_high is not None else one.high
    found = [_inside(one, end) for end in (low, high, one.value) if end is not None]
    nominal = None if one.value is None else _inside(one, one.value)
    if low is None and high is None and nominal is None:
        found = [margin]
    return min(found), max(found), nominal


def _lower_decides(one: Evidence) -> bool:
    """Return whether values are held to ``at_least``: of two limits, to the nearer one."""
    end = rows.judged_end(one)
    if one.at_least is None or one.at_most is None or end is None:
        return one.at_least is not None
    return end - one.at_least <= one.at_most - end


def _inside(one: Evidence, value: float) -> float:
    """Return how far a value lies inside the limit that decides."""
    if _lower_decides(one):
        return value - (one.at_least or 0.0)
    return (one.at_most or 0.0) - value


def _required(one: Evidence, asked: Sequence[RequiredText]) -> float | None:
    """Return the largest margin that is required at the limit that decides; None of none.

    It is required of the quantity, so that no axis of a probability can show it.
    """
    if one.chance is not None:
        return None
    lower = _lower_decides(one)
    ends = [margin.at_least if lower else margin.at_most for margin in asked]
    return max((_inside(one, end) for end in ends if end is not None), default=None)


def _remark(one: Evidence, low: float) -> str:
    if one.state is State.NOT_MET:
        # A margin that is enforced decides as a limit does, and is counted from.
        short = one.chance is None and low >= 0.0 and (one.margin or 0.0) < 0.0
        parts = ["not met", "short of the required margin" if short else "", words.cover(one)]
        return ", ".join(filter(None, parts))
    if one.state is not State.MET:
        return f"open, a limit is {TBD}" if TBD in one.limit_text else "open"
    return "below the required margin" if one.thin else ""
