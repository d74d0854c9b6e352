"""Agreed ranges of inputs, compared with what analyses find by now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.arithmetic.chain import converted
from closeout.evaluate.chained import Ends, Results, ends_of, members_of
from closeout.graph import Request
from closeout.graph.request import Estimate
from closeout.model.dossier import ComputedFound

_ROUNDING = 1e-12  # as a share: some operations on doubles, each within 1.1e-16 (IEEE 754)


@dataclass(frozen=True, slots=True)
class Estimated:
    """An agreed range and what was found; ``wrong`` is why nothing can rest on the range."""

    estimate: Estimate
    found: ComputedFound
    wrong: str | None


def estimates_of(request: Request, results: Results) -> Iterator[Estimated]:
    """Yield each agreed range among the inputs of a verification against what analyses find."""
    for estimate in request.estimates:
        yield _held(estimate, results)


def _held(estimate: Estimate, results: Results) -> Estimated:
    computed, (linked,) = estimate.computed, estimate.chain.linked[-1:]
    found = ends_of(linked, estimate.chain, estimate.below, results)
    name, source, unit = computed.name, computed.source, computed.unit
    members = members_of(linked, estimate.chain)
    if not isinstance(found, Ends):
        shown = ComputedFound(name, source, unit, None, None, None, found.message, members)
        return Estimated(estimate, shown, f"the estimate of {name} has no value: {found.message}")
    value, least, most = (
        converted(number, estimate.conversion) for number in (found.value, found.low, found.high)
    )
    shown = ComputedFound(name, source, unit, value, least, most, found.reason or None, members)
    low, high = estimate.range
    # What is found has the rounding of its formula: an agreed end that it equals contains it.
    if low - _ROUNDING * abs(low) <= least and most <= high + _ROUNDING * abs(high):
        return Estimated(estimate, shown, None)
    text = "" if unit == "1" else f" {unit}"
    wrong = (
        f"the agreed range of {name}, {estimate.text}, does not contain what {source} finds,"
        f" {_beside(least, estimate.range)}{text} to {_beside(most, estimate.range)}{text}"
    )
    return Estimated(estimate, shown, wrong)


def _beside(number: float, ends: tuple[float, float]) -> str:
    """Return a number in as many digits as keep it on its side of both ends."""
    for digits in (6, 9, 12):
        text = f"{number:.{digits}g}"
        shown = float(text)
        if all((shown < end) == (number < end) and (shown > end) == (number > end) for end in ends):
            return text
    return repr(number)
