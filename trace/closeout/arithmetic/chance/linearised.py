"""Root sum square as an answer: ends of each quantity, and how far the straight lines are off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import ROUND_CEILING, Context, Decimal
from typing import Any, NamedTuple

from closeout import Absent
from closeout.arithmetic.chance.condition_points import points_of
from closeout.arithmetic.chance.rss import RootSumSquare, rss
from closeout.arithmetic.code.allowed import NOTHING_SHOWN, Shown
from closeout.arithmetic.proof.bound import BUDGET
from closeout.arithmetic.proof.proved import Proofs
from closeout.arithmetic.proof.trust import proofs_of, trusted
from closeout.arithmetic.types import At, Box, Key
from closeout.model.answer import Answer, Assurance, Extent
from closeout.model.difference_unit import difference_unit

# What was looked at of the extremes, where they are not proved.
LOOKED_AT = "the worst corner, and of each parameter both ends, the middle and its slope"
_UP_TO = Context(prec=3, rounding=ROUND_CEILING)
# No more of what is shown than the rounding of doubles.
_ROUNDING = 1.0 - 1e-12


class _Looked(NamedTuple):
    """Straight lines at one point of the conditions, and what is proved of the extremes there."""

    at: At
    lines: RootSumSquare
    proofs: Proofs


def answer(
    evaluate: Callable[[Mapping[str, Any]], Mapping[Key, Any]],
    inputs: Mapping[str, float],
    box: Box,
    detail: Mapping[str, Any],
    budget: int = BUDGET,
    *,
    shown: Shown = NOTHING_SHOWN,
) -> Answer:
    """Return the value of each quantity at the inputs and its ends by root sum square.

    A condition that is given as a pair (named in ``sides`` of the detail) is no chance: the ends
    are taken at points of it, its own ends among them, and the worst of them count. Of what a model
    may be off (in ``added`` too) the whole is added to the root. How far the straight lines are off
    follows from the extremes that can be proved, else by what is looked at.

    Args:
        evaluate: takes ranges too, and lets them through; they serve the proof.
        detail: ``groups`` of parameters that move together, by parameter: two of one group are
            refused, since root sum square holds for independent ones; ``sides``; ``added``;
            ``units`` of the quantities; and ``reach``, how far from the inputs the ends are of
            those for which the box does not say it.
        budget: evaluations for a proof.
        shown: what is known of the analysis' code (:mod:`closeout.arithmetic.proof.trust`).
    """
    count = 0

    def counted(point: Mapping[str, Any]) -> Mapping[Key, Any]:
        nonlocal count
        count += 1
        return evaluate(point)

    nominal = counted(inputs)
    fixed = set(detail["sides"]) - set(detail["added"])
    reach = detail["reach"]
    drawn = tuple(_reaching(side, inputs, reach) for side in box if side[0] not in fixed)
    sides = tuple(side for side in box if side[0] in fixed)
    found: dict[Key, list[_Looked]] = {}
    for at in points_of(sides):
        here = {**inputs, **at}
        lines = rss(counted, here, drawn, detail["groups"], detail["added"])
        known = [key for key, one in lines.items() if one.absent is None]
        trust = trusted(counted, here, drawn, shown)
        proofs = proofs_of(trust, here, drawn, known, budget=budget)
        for key, one in lines.items():
            found.setdefault(key, []).append(_Looked(tuple(at.items()), one, proofs))
    extents = {key: _extent(key, nominal[key], some, detail) for key, some in found.items()}
    return Answer(extents, Assurance.LINEARISED, count)


def _reaching(
    side: tuple[str, float, float], inputs: Mapping[str, float], reach: Mapping[str, float]
) -> tuple[str, float, float]:
    name = side[0]
    if name not in reach:
        return side
    return name, inputs[name] - reach[name], inputs[name] + reach[name]


def _extent(key: Key, value: float, found: list[_Looked], detail: Mapping[str, Any]) -> Extent:
    """Return the worst of what was found at points of the conditions, and at which of them."""
    known = None if isinstance(value, Absent) else value
    lows = [(one.lines.low, one.at) for one in found if one.lines.low]
    highs = [(one.lines.high, one.at) for one in found if one.lines.high]
    reason = next((one.lines.absent for one in found if one.lines.absent is not None), None)
    if known is None or reason is not None or not lows or not highs:
        return Extent(known, absent=reason or "no value at the inputs")
    low, low_at = min(lows, key=lambda end: end[0].bound)
    high, high_at = max(highs, key=lambda end: end[0].bound)
    off = max(_off(key, one) for one in found)
    unit = difference_unit(detail["units"].get(key[0]))
    return Extent(
        known,
        min(low.bound, known),
        max(high.bound, known),
        low_at,
        high_at,
        unproved=f"linearisation error up to {_up_to(off, unit)} ({_by_what(key, found)})",
        off=off,
    )


def _off(key: Key, looked: _Looked) -> float:
    """Return how far what straight lines say of the extremes is from them."""
    low, high = looked.lines.low, looked.lines.high
    assert low is not None
    assert high is not None
    proved = looked.proofs.proved.get(key)
    if proved is None:
        return max(low.off, high.off)
    return max(abs(proved.low - low.predicted), abs(proved.high - high.predicted))


def _by_what(key: Key, found: list[_Looked]) -> str:
    reasons = [one.proofs.unproved[key] for one in found if key in one.proofs.unproved]
    if not reasons:
        return "against the proved extremes"
    return f"checked at {LOOKED_AT}; nothing is proved: {reasons[0]}"


def _up_to(number: float, unit: str | None) -> str:
    """Return a number rounded up to three digits, with its unit."""
    text = f"{float(_UP_TO.create_decimal(Decimal(number * _ROUNDING))):g}"
    return text if unit in (None, "", "1") else f"{text} {unit}"
