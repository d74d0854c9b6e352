"""Whether what ranges say of an analysis may pass for proved: a look before the proof, one after.

Before, the analysis is evaluated once on ranges over the whole box, ahead of any number, so that
what it stores from then on is a range, which a number never is; the code that is reached meanwhile
has to be allowed (:mod:`.code.allowed`). After, corners on numbers have to lie inside
of what was proved, and nothing that the code stores may have changed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from itertools import product
from typing import Any, NamedTuple

from closeout.arithmetic.code.allowed import Shown
from closeout.arithmetic.code.module_state import ModuleState
from closeout.arithmetic.code.reached import NotAllowed, Watch, watched_by
from closeout.arithmetic.gradient.gradient import seed
from closeout.arithmetic.interval import interval
from closeout.arithmetic.interval.interval import Interval, TooLong
from closeout.arithmetic.proof.bound import prove
from closeout.arithmetic.proof.field import MOST_OPERATIONS
from closeout.arithmetic.proof.proved import Proofs
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.arithmetic.undecided import Guarded, Undecided, watched

# Corners on numbers after a proof, as a power of two: where all code is known that a range can
# reach, and where a part of the box might take another way.
FEW_CORNERS = 4
MANY_CORNERS = 8


class Trust(NamedTuple):
    """How an analysis is to be evaluated, and why nothing of it can be proved (None: it may be).

    ``certain`` is whether all code is known that any range over a part of the box can reach.
    """

    evaluate: Evaluate
    reason: str | None
    state: ModuleState
    certain: bool


def trusted(evaluate: Evaluate, inputs: Mapping[str, float], box: Box, shown: Shown) -> Trust:
    """Return what a first evaluation on ranges, over the whole box, says of an analysis.

    Args:
        evaluate: the analysis; nothing has been evaluated by it so far.
        inputs, box: as for :func:`closeout.arithmetic.proof.bound.prove`.
        shown: what is known of its code.
    """
    state = ModuleState(shown.places)
    point = {**inputs, **{name: low for name, low, high in box if low == high}}
    sides = [side for side in box if side[1] < side[2]]
    for i, (name, low, high) in enumerate(sides):
        point[name] = seed(Interval(low, high), i)  # type: ignore[assignment]
    on_ranges = evaluate if shown.pure else watched_by(Watch(), evaluate)
    reason, settled = _first_look(on_ranges, point)
    if reason is None:
        reason = state.of_range()
    state.look()
    certain = settled or shown.pure
    return Trust(evaluate if certain else _on(evaluate, on_ranges), reason, state, certain)


def _first_look(evaluate: Evaluate, point: Mapping[str, Any]) -> tuple[str | None, bool]:
    """Return why nothing can be proved, and whether all of the box takes one way through the code.

    It does where every comparison was certain: then no part of the box takes another.
    """
    try:
        with interval.limited(MOST_OPERATIONS), watched() as dropped:
            evaluate(point)
    except MemoryError:
        raise
    except NotAllowed as error:
        return str(error), False
    except TooLong as error:
        return error.reason, False
    except Undecided:
        return None, False
    except Exception as error:
        return f"it does not take ranges: {type(error).__name__}: {error}"[:300], False
    return None, not dropped


def _on(evaluate: Evaluate, on_ranges: Evaluate) -> Evaluate:
    """Return an analysis that is watched where it is evaluated on ranges."""

    def either(point: Mapping[str, Any]) -> Mapping[Key, Any]:
        ranged = any(isinstance(value, Guarded) for value in point.values())
        return (on_ranges if ranged else evaluate)(point)

    return either


def proofs_of(
    trust: Trust, inputs: Mapping[str, float], box: Box, keys: Collection[Key], **options: Any
) -> Proofs:
    """Return what is proved of quantities, as far as the analysis can be trusted on ranges.

    ``options`` as for :func:`closeout.arithmetic.proof.bound.prove`.
    """
    if trust.reason is not None:
        return Proofs({}, dict.fromkeys(keys, trust.reason), 0)
    proofs = prove(trust.evaluate, inputs, box, keys, **options)
    return doubted(proofs, trust, inputs, box)


def doubted(proofs: Proofs, trust: Trust, inputs: Mapping[str, float], box: Box) -> Proofs:
    """Return what is left of a proof after corners on numbers, and after what was stored meanwhile.

    Whatever the analysis raises on numbers goes through to the caller.
    """
    left = dict(proofs.proved)
    unproved = dict(proofs.unproved)
    count = 0
    for corner in corners(box, FEW_CORNERS if trust.certain else MANY_CORNERS) if left else ():
        count += 1
        values = trust.evaluate({**inputs, **corner})
        for key in list(left):
            if key not in values or not left[key].low <= values[key] <= left[key].high:
                del left[key]
                at = ", ".join(f"{name} = {value!r}" for name, value in corner.items())
                unproved[key] = f"a value was found outside the bounds, at {at}"
    changed = trust.state.changed()
    if changed is not None:
        unproved.update(dict.fromkeys(left, changed))
        left.clear()
    return proofs._replace(proved=left, unproved=unproved, evaluations=proofs.evaluations + count)


def corners(box: Box, power: int) -> Iterator[dict[str, float]]:
    """Yield corners of a box: all where there are no more than 2**power, else so many of them.

    Of more sides, each follows the parity of an odd number of bits of a running number, as in
    :mod:`closeout.arithmetic.proof.search`; where there are more sides than such sets of bits, some
    sides move together.
    """
    sides = [side for side in box if side[1] < side[2]]
    if len(sides) <= power:
        for ends in product(*((low, high) for _, low, high in sides)):
            yield {name: end for (name, _, _), end in zip(sides, ends, strict=True)}
        return
    masks = sorted((m for m in range(2**power) if m.bit_count() % 2), key=int.bit_count)
    for number in range(2**power):
        yield {
            name: high if (number & masks[i % len(masks)]).bit_count() % 2 else low
            for i, (name, low, high) in enumerate(sides)
        }
