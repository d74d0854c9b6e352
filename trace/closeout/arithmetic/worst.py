"""Worst case of every quantity over a box: proved where the formula allows it, else searched."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from closeout import Absent
from closeout.arithmetic import search
from closeout.arithmetic.bound import Proved, prove
from closeout.arithmetic.search import Box, Key
from closeout.model.answer import Answer, Assurance, Extent, Limit

NOT_ASKED = "no verification asks for it"


def answer(
    evaluate: Callable[[Mapping[str, Any]], Mapping[Key, Any]],
    inputs: Mapping[str, float],
    box: Box,
    wanted: Collection[str] | None = None,
    limits: Iterable[Limit] | None = None,
) -> Answer:
    """Return the value of each quantity at the inputs and its extremes over the box.

    ``evaluate`` takes numbers and ranges alike, and lets ranges through. What is proved are the
    ``wanted`` quantities (None: all), so that no other uses up the evaluations; the others are
    looked at in corners. Where each is proved to the tolerance nothing is searched. With ``limits``
    (all that the verdicts are about) a proof ends as soon as it is certain that a quantity meets
    them with most of its margin; one that does not is followed to its worst end, which a waiver has
    to reach. Whatever ``evaluate`` raises on numbers goes through to the caller.
    """
    if not box:
        return search.answer(evaluate, inputs, box)
    nominal = evaluate(inputs)
    asked = [key for key in nominal if wanted is None or key[0] in wanted]
    proofs = prove(evaluate, inputs, box, asked, limits=limits)
    enough = {key for key, proof in proofs.proved.items() if proof.tight or proof.certain}
    of_limits = proofs.of_limits
    if len(enough) == len(nominal):
        extents = {key: _proved(value, proofs.proved[key]) for key, value in nominal.items()}
        return Answer(extents, Assurance.BOUNDED, proofs.evaluations + 1, of_limits=of_limits)
    loose = [key for key in asked if key not in enough]
    found = search.answer(evaluate, inputs, box, nominal, loose)
    reasons = {**dict.fromkeys(nominal, NOT_ASKED), **dict.fromkeys(asked), **proofs.unproved}
    extents = {
        key: _joined(extent, proofs.proved.get(key), reasons.get(key))
        for key, extent in found.extents.items()
    }
    assurance = Assurance.SEARCHED if loose else Assurance.BOUNDED
    evaluations = proofs.evaluations + found.evaluations
    return Answer(extents, assurance, evaluations, of_limits=of_limits)


def _proved(value: float, proof: Proved) -> Extent:
    """Return the extent of a quantity that is proved.

    A bound that is no farther from a number that was seen than rounding reaches is that number: a
    limit that is met exactly is met.
    """
    assert not isinstance(value, Absent)
    low_reached = proof.seen_low - proof.low <= proof.low_rounding
    high_reached = proof.high - proof.seen_high <= proof.high_rounding
    return Extent(
        value,
        proof.seen_low,
        proof.seen_high,
        proof.low_at,
        proof.high_at,
        proved_low=proof.seen_low if low_reached else proof.low,
        proved_high=proof.seen_high if high_reached else proof.high,
        tight=proof.tight,
    )


def _joined(found: Extent, proof: Proved | None, reason: str | None) -> Extent:
    """Return what a search found, with what was proved of it or why nothing was."""
    if proof is None or found.value is None or found.low is None or found.high is None:
        return found._replace(unproved=reason)
    if not proof.low <= found.low <= found.high <= proof.high:
        return found._replace(unproved="a number was seen outside of the bounds")
    lower = found.low < proof.seen_low
    higher = found.high > proof.seen_high
    return _proved(
        found.value,
        proof._replace(
            seen_low=found.low if lower else proof.seen_low,
            seen_high=found.high if higher else proof.seen_high,
            low_at=found.low_at if lower else proof.low_at,
            high_at=found.high_at if higher else proof.high_at,
        ),
    )
