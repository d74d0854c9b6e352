"""What every form of a sweep shares: the words of a verification at a point, and of its values."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.amount import read_amount
from closeout.model.answer import Assurance
from closeout.model.dossier import Evidence, State
from closeout.model.sweep import Followed, Found, Sweep, SweepAxis, Tried
from closeout.render import rows
from closeout.render.numbers import number, show_margin
from closeout.render.plain import flow, safe

_DIGITS = 8


@dataclass(frozen=True, slots=True)
class Cell:
    """A verification at a point: its smallest margin, and how surely it is known.

    ``margin`` is None where there is none, and the state stands in its place; ``reason`` says why.
    """

    margin: float | None
    unit: str
    assurance: Assurance | None
    state: State
    holds: bool
    covered_by: str | None
    case: str | None
    reason: str

    @property
    def text(self) -> str:
        """The margin without its unit, with ``w`` behind it where a waiver or deviation covers it.

        Where there is no margin, the state.
        """
        shown = self.state.value if self.margin is None else show_margin(self.margin, None)
        return f"{shown} w" if self.covered_by else shown


def cell_of(found: Found) -> Cell:
    """Return what is shown of a verification at a point."""
    tightest = rows.tightest_of(found.evidence)
    worst = _worst(found)
    one = tightest or worst
    lacking = worst is not None and (worst.state in (State.OPEN, State.ERROR) or tightest is None)
    return Cell(
        margin=None if tightest is None or found.state is State.ERROR else tightest.margin,
        unit="" if one is None else safe(one.margin_unit or ""),
        assurance=None if one is None else one.assurance,
        state=found.state,
        holds=found.holds,
        covered_by=found.covered_by,
        case=None if one is None else one.case,
        reason=flow(worst.message or "") if lacking and worst is not None else "",
    )


def _worst(found: Found) -> Evidence | None:
    return next((one for one in found.evidence if one.state is found.state), None)


def cells_of(sweep: Sweep) -> list[list[Cell]]:
    """Return the cells of a sweep, a row for each verification."""
    return [[cell_of(found) for found in row] for row in sweep.found]


def smallest(cells: list[Cell]) -> int | None:
    """Return the place of the smallest margin of a row, None where no point has one."""
    known = [(one.margin, place) for place, one in enumerate(cells) if one.margin is not None]
    return min(known)[1] if known else None


def named(axis: SweepAxis) -> str:
    """Return a parameter with its unit, as a heading."""
    unit = safe(axis.unit)
    return f"{safe(axis.parameter)} in {unit}" if unit not in ("", "1") else safe(axis.parameter)


def label(axis: SweepAxis, tried: Tried) -> str:
    """Return the number of a value in the unit of its axis."""
    amount = read_amount(tried.text)
    if amount.unit == axis.unit:
        return safe(tried.text.removesuffix(axis.unit).strip())
    return number(float(tried.number), _DIGITS)


def value(axis: SweepAxis, place: int) -> str:
    """Return a value that was tried, with its unit."""
    unit = safe(axis.unit)
    shown = label(axis, axis.tried[place])
    return f"{shown} {unit}" if unit not in ("", "1") else shown


def span(axis: SweepAxis, first: int, last: int, before: str = "") -> str:
    """Return values one after another: ``45 kPa to 58 kPa``, with ``before`` ahead.

    One value alone has ``at`` in the place of such a word.
    """
    if first == last:
        return f"{'at ' if before else ''}{value(axis, first)}"
    return f"{before}{value(axis, first)} to {value(axis, last)}"


def at(sweep: Sweep, point: tuple[int, ...]) -> str:
    """Return a point in words: ``45 kPa`` of one parameter, both with their names of two."""
    if len(sweep.axes) == 1:
        return value(sweep.axes[0], point[0])
    pairs = zip(sweep.axes, point, strict=True)
    return ", ".join(f"{safe(axis.parameter)} {value(axis, place)}" for axis, place in pairs)


def subject(followed: Followed) -> str:
    """Return a requirement and its quantity: ``PWR-020 usable_energy``."""
    return f"{safe(followed.requirement)} {safe(followed.quantity)}"


def nominal_only(sweep: Sweep) -> str:
    """Return which requirements hold at nominal values as far as is known; empty where none."""
    names = dict.fromkeys(safe(one.requirement) for one in sweep.followed if one.nominal)
    return f", {', '.join(names)} at nominal values only" if names else ""
