"""Worst case with proof: bounds of each quantity that hold at every point of a box.

Branch and bound on interval arithmetic (R. E. Moore, R. B. Kearfott, M. J. Cloud, Introduction to
Interval Analysis, SIAM 2009, chapters 6 and 11; E. Hansen, G. W. Walster, Global Optimization Using
Interval Analysis, 2004). For each end of each quantity:

- monotonicity: a side of the box along which the derivative has one sign is fixed at the end where
  the extreme lies; a side without influence at the inputs;
- bound: the smaller one of the natural interval extension and of the centred form (mean value
  theorem) with interval derivatives;
- best first: the part of the box with the worst bound is halved, along the side that matters most,
  until the bound and the worst number that was seen are within the tolerance and no limit lies
  between them, or, where limits are given, the bounds meet all of them with most of the margin that
  there is;
- where that takes long, inputs that act through one value move together (``bundles``).

Nothing here is random, and no clock is read: the same question has the same answer.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from closeout.arithmetic.proof.end import End, Found
from closeout.arithmetic.proof.field import Field, Unprovable
from closeout.arithmetic.proof.numbers_agree import agree
from closeout.arithmetic.proof.proved import Proofs, Proved, result_of
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.model.answer import Sought

# Evaluations of the analysis for one call of `prove`, on numbers and on ranges together.
BUDGET = 4000


def prove(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    keys: Collection[Key],
    *,
    limits: Iterable[Sought] | None = None,
    whole: bool = False,
    tolerance: float = 1e-6,
    budget: int = BUDGET,
) -> Proofs:
    """Return bounds of each quantity and case over the whole box, or why there are none.

    The arithmetic is used only where it agrees with the number: at the inputs and at eight points
    of the box, its result has to hold the number's.

    Args:
        evaluate: returns the values by quantity and case; is called with numbers, intervals and
            gradients as arguments, and has to let them through.
        inputs: every argument, at its nominal value.
        box: name, low and high of the arguments that vary.
        keys: the quantities and cases to bound.
        limits: all that is to be decided, so that the search for an end is over where it is certain
            that it meets them, by nine tenths of the margin that was seen or more; None where the
            ends themselves are wanted.
        whole: go on to the ends of what the limits decide, with as many evaluations again, where
            their bounds are loose. What is known of the rest, and of ends that are tight, stays
            as a search for the limits alone leaves it, so that both say the same of each limit.
        tolerance: how far a bound may be from what was seen, as a share of the end's value.
        budget: evaluations, over all keys; what one has left over, the rest get.
    """
    field = Field(evaluate, inputs, box, keys)
    ends: list[End] = []
    try:
        ends += _opened(field, tolerance, None if limits is None else list(limits))
        _search(ends, field, budget)
        decided = {end.key for end in ends} - {end.key for end in ends if not end.done}
        found = [end.found for end in ends]
        if limits is not None and whole:
            loose = [end for end in ends if end.key in decided and not end.tight]
            for end in loose:
                end.follow()
            _search(loose, field, field.evaluations + budget)
            found = [end.found if end in loose else found[i] for i, end in enumerate(ends)]
    except Unprovable as stop:
        reasons = dict.fromkeys(field.keys, str(stop))
        return Proofs({}, reasons, field.evaluations, _of_limits(ends))
    return _proofs(field, ends, found, decided)


def _proofs(field: Field, ends: list[End], found: list[Found], decided: Collection[Key]) -> Proofs:
    """Return what the searches for all ends came to."""
    pairs = zip(ends[::2], found[::2], found[1::2], strict=True)
    results: dict[Key, Proved | str] = {
        end.key: result_of(field, low, high, end.key in decided) for end, low, high in pairs
    }
    outcomes = {key: field.failed.get(key) or results[key] for key in field.keys}
    return Proofs(
        {key: one for key, one in outcomes.items() if isinstance(one, Proved)},
        {key: one for key, one in outcomes.items() if isinstance(one, str)},
        field.evaluations,
        _of_limits(ends),
    )


def _search(ends: list[End], field: Field, last: int) -> None:
    """Search for each end with its share of the evaluations that are left."""
    for _ in range(2):  # what the first have left over, the last get; then the other way
        todo = [end for end in ends if not end.done]
        for i, end in enumerate(todo):
            end.run((last - field.evaluations) // (len(todo) - i))


def _of_limits(ends: Iterable[End]) -> bool:
    """Return whether a limit might have ended a search that was begun."""
    return any(end.begun and not end.at_once for end in ends)


def _opened(field: Field, tolerance: float, limits: list[Sought] | None) -> list[End]:
    """Return the ends of each quantity for which ranges agree with numbers: low, high, low, ..."""
    agree(field)
    ends = []
    for key in field.alive:
        about = None if limits is None else [b for name, b in limits if name == key[0]]
        ends += [End(field, key, sign, tolerance, about) for sign in (-1.0, 1.0)]
    return ends
