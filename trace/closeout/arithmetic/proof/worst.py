"""Worst case of every quantity over a box: proved where the formula allows it, else searched."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from closeout import Absent
from closeout.arithmetic.code.allowed import NOTHING_SHOWN, Shown
from closeout.arithmetic.proof import search
from closeout.arithmetic.proof.bound import BUDGET
from closeout.arithmetic.proof.proved import Proved
from closeout.arithmetic.proof.trust import proofs_of, trusted
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.model.answer import NOT_ASKED, Answer, Assurance, Extent, Sought


def answer(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    wanted: Collection[str] | None = None,
    limits: Iterable[Sought] | None = None,
    whole: bool = True,
    *,
    evaluations: int | None = None,
    ends: Collection[tuple[str, str]] | None = None,
    shown: Shown = NOTHING_SHOWN,
) -> Answer:
    """Return the value of each quantity at the inputs and its extremes over the box.

    ``evaluate`` takes numbers and ranges alike, and lets ranges through. What is proved are the
    ``wanted`` quantities (None: all), so that no other uses up the evaluations; the rest are
    looked at in corners. Where each is proved to the tolerance nothing is searched. ``limits`` are
    all that the verdicts are about: where it is certain that a quantity meets them with most of its
    margin nothing is searched either, and unless ``whole`` ends are wanted its proof is over; a
    shortfall is followed to its worst end, which a waiver has to reach. Whole ends say of each
    limit what the limits alone take. ``evaluations`` are those of the proof, where not the usual
    number; ``ends`` which ends of quantities (low or high) a search has to come to the bottom of
    (None: all). ``shown`` is what is known of the code (:mod:`closeout.arithmetic.proof.trust`).
    Whatever ``evaluate`` raises on numbers goes through to the caller.
    """
    if not box:
        return search.answer(evaluate, inputs, box)
    trust = trusted(evaluate, inputs, box, shown)
    evaluate = trust.evaluate
    nominal = evaluate(inputs)
    asked = [key for key in nominal if wanted is None or key[0] in wanted]
    budget = BUDGET if evaluations is None else evaluations
    proofs = proofs_of(trust, inputs, box, asked, limits=limits, whole=whole, budget=budget)
    known = proofs.proved
    loose = [key for key in asked if key not in known or not known[key].decided]
    rough = [key for key in asked if whole and key not in loose and not known[key].tight]
    extents = {key: _proved(nominal[key], known[key]) for key in nominal if key in known}
    count = proofs.evaluations + 1
    for inside, keys in _searches(loose, rough, asked, nominal):
        found = search.answer(evaluate, inputs, box, nominal, inside, ends)
        count += found.evaluations - 1
        for key in keys:
            reason = proofs.unproved.get(key) if key in asked else NOT_ASKED
            extents[key] = _joined(found.extents[key], known.get(key), reason, inside is rough)
    extents = {key: extents[key] for key in nominal}
    assurance = Assurance.SEARCHED if loose or rough else Assurance.BOUNDED
    return Answer(extents, assurance, count, of_limits=proofs.of_limits)


def _searches(
    loose: list[Key], rough: list[Key], asked: list[Key], nominal: Mapping[Key, Any]
) -> Iterator[tuple[list[Key], list[Key]]]:
    """Yield what is to be searched inside the box, and of what the ends are taken from there.

    Apart, so that what is found of the loose does not depend on whether whole ends are wanted.
    """
    if rough:
        yield rough, rough
    if loose or len(asked) < len(nominal):
        yield loose, [key for key in nominal if key not in rough]


def _proved(value: float, proof: Proved) -> Extent:
    """Return the extent of a quantity that is proved."""
    assert not isinstance(value, Absent)
    return Extent(
        value,
        proof.seen_low,
        proof.seen_high,
        proof.low_at,
        proof.high_at,
        proved_low=proof.low,
        proved_high=proof.high,
        low_tight=proof.low_tight,
        high_tight=proof.high_tight,
        low_reached=proof.seen_low - proof.low <= proof.low_rounding,
        high_reached=proof.high - proof.seen_high <= proof.high_rounding,
    )


def _joined(found: Extent, proof: Proved | None, reason: str | None, decided: bool) -> Extent:
    """Return what a search found, with what was proved of it or why nothing was.

    Where the limits are ``decided``, a tight end stays as it is: what is said of them rests on it.
    """
    if proof is None or found.value is None or found.low is None or found.high is None:
        return found._replace(unproved=reason)
    if not proof.low <= found.low <= found.high <= proof.high:
        return found._replace(unproved="a value was found outside the bounds")
    lower = found.low < proof.seen_low and not (decided and proof.low_tight)
    higher = found.high > proof.seen_high and not (decided and proof.high_tight)
    return _proved(
        found.value,
        proof._replace(
            seen_low=found.low if lower else proof.seen_low,
            seen_high=found.high if higher else proof.seen_high,
            low_at=found.low_at if lower else proof.low_at,
            high_at=found.high_at if higher else proof.high_at,
        ),
    )
