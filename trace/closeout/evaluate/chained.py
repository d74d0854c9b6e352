"""Questions over chains of analyses: what is asked below first, and where a chain has to be cut.

Where each analysis of a chain can be proved the chain is one formula. One that cannot be proved is
cut out: its ends, found for themselves, bound what stands above it, and the whole chain is run on
numbers where those bounds do not meet a limit, to see whether that really happens.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from math import inf, nextafter
from operator import attrgetter
from typing import NamedTuple

from closeout.arithmetic.chain import converted
from closeout.arithmetic.types import At
from closeout.model.answer import Answer, Assurance, Bounds, Cut, Extent, Sought
from closeout.model.question import (
    WORST_CASE,
    Below,
    Chain,
    Failure,
    Linked,
    Output,
    Question,
    Root,
    Take,
)

# Kinds of failures that are of an input and not of the analysis that is asked.
INPUT, CUT = "input", "cut"
Key = tuple[str, str | None]
Results = Mapping[Question, "Answer | Failure"]


class Ends(NamedTuple):
    """What is known of a linked variable from the analyses that compute it, in its own unit.

    ``value`` is at the inputs. ``low`` and ``high`` are the ends, with the points of the chain's
    inputs at which they were found; ``reason`` is why they are not proved, empty where they are.
    """

    value: float
    low: float
    high: float
    low_at: At = ()
    high_at: At = ()
    reason: str = ""


def levels(
    questions: Iterable[Question],
    below: Mapping[Question, tuple[Below, ...]],
    beside: Iterable[Question] = (),
) -> list[list[Question]]:
    """Return what is to be asked below some questions, the lowest first; not the questions.

    ``beside`` are others that are asked before them.
    """
    height: dict[Question, int] = {}

    def of(question: Question) -> int:
        if question not in height:
            under = [one.question for one in below.get(question.base, ())]
            height[question] = 1 + max(map(of, under), default=-1)
        return height[question]

    under = {b.question for q in questions if needs_ends(q) for b in below.get(q.base, ())}
    under |= set(beside)
    left = list(under)
    while left:
        more = {b.question for b in below.get(left.pop().base, ())} - under
        under |= more
        left += more
    found: dict[int, list[Question]] = {}
    for question in sorted(under, key=repr):
        found.setdefault(of(question), []).append(question)
    return [found[number] for number in sorted(found)]


def needs_ends(question: Question) -> bool:
    """Return whether the ends of what is below a question have to be known for it."""
    chain = question.chain
    if chain is None:
        return False
    is_moved = any(one.moved_to is not None for one in chain.linked)
    return is_moved or (bool(question.box) and question.kind in (WORST_CASE, "root sum square"))


def settled(
    question: Question, below: tuple[Below, ...], known: Results
) -> tuple[Question, Mapping[str, Ends]] | Failure:
    """Return a question as it is asked, and what is known of the linked variables that are cut.

    A failure where an analysis below has no answer, or no value that is taken.
    """
    chain = question.chain
    if chain is None or not needs_ends(question):
        return question, {}
    ends = _all_ends(chain, below, known)
    if isinstance(ends, Failure):
        return ends
    question = _moved(question, chain, ends)
    if not question.box or question.kind not in (WORST_CASE, "root sum square"):
        return question, {}
    cut = {name: one for name, one in ends.items() if one.reason}
    if cut and question.kind != WORST_CASE:
        name, one = next(iter(cut.items()))
        text = f"undecided: root sum square needs {name} as a formula, and {one.reason}"
        return Failure(CUT, text, "")
    return (_cut(question, cut), cut) if cut else (question, {})


def moved(question: Question, below: tuple[Below, ...], known: Results) -> Question:
    """Return a question with each input that a what-if moves moved by a known distance."""
    chain = question.chain
    ends = None if chain is None else _all_ends(chain, below, known)
    if chain is None or isinstance(ends, Failure) or ends is None:
        return question
    return _moved(question, chain, ends)


def _all_ends(chain: Chain, below: tuple[Below, ...], known: Results) -> dict[str, Ends] | Failure:
    ends: dict[str, Ends] = {}
    for linked in chain.linked:
        found = ends_of(linked, chain, below, known)
        if isinstance(found, Failure):
            return found
        ends[linked.variable] = found
    return ends


def ends_of(
    linked: Linked, chain: Chain, below: tuple[Below, ...], known: Results
) -> Ends | Failure:
    """Return what is known of a linked variable, or why nothing is."""
    found = []
    for output in linked.outputs:
        one = _of_output(output, chain, below[output.member], known)
        if isinstance(one, Failure):
            return one._replace(message=f"{linked.variable}: {one.message}")
        found.append(one)
    value = found[0].value + 0.5 * (found[-1].value - found[0].value)
    # The quantity that is named as the low end may be the higher one somewhere.
    low, high = min(found, key=attrgetter("low")), max(found, key=attrgetter("high"))
    reason = next((one.reason for one in found if one.reason), "")
    low_at, high_at = low.low_at, high.high_at
    if linked.place is not None and len(found) > 1:
        low_at = (*low_at, (linked.place, 0.0 if low is found[0] else 1.0))
        high_at = (*high_at, (linked.place, 0.0 if high is found[0] else 1.0))
    elif linked.place is not None:
        low_at, high_at = (*low_at, (linked.place, 0.0)), (*high_at, (linked.place, 1.0))
    return Ends(value, low.low, high.high, low_at, high_at, reason)


def members_of(linked: Linked, chain: Chain) -> tuple[str, ...]:
    """Return the analyses that a linked variable is computed by."""
    names = (chain.members[output.member].analysis for output in linked.outputs)
    return tuple(dict.fromkeys(names))


def _of_output(output: Output, chain: Chain, below: Below, known: Results) -> Ends | Failure:
    """Return what an analysis below found of an output, with what its model may be off."""
    name = chain.members[output.member].analysis
    result = known[below.question]
    if isinstance(result, Failure):
        message = result.message if result.kind == INPUT else f"{name}: {result.message}"
        return result._replace(kind=INPUT, message=message)
    cases = result.of(output.quantity)
    if not output.every_case:
        there = ", ".join(str(case) for case, _ in cases)
        cases = [(case, extent) for case, extent in cases if case == output.case]
        if not cases:
            text = f"{name}: {output.quantity} has no case {output.case}; it has {there}"
            return Failure(INPUT, text, "")
    for case, extent in cases:
        if extent.absent is not None or extent.value is None:
            named = output.quantity if case is None else f"{output.quantity}[{case}]"
            return Failure(INPUT, f"{name}: {named} has no value: {extent.absent}", "")
    return _joined([_in_chain(extent, output, below, name) for _, extent in cases])


def _joined(cases: list[Ends]) -> Ends:
    """Return the ends of all cases together."""
    values = [one.value for one in cases]
    value = min(values) + 0.5 * (max(values) - min(values)) if len(values) > 1 else values[0]
    low, high = min(cases, key=attrgetter("low")), max(cases, key=attrgetter("high"))
    reason = next((one.reason for one in cases if one.reason), "")
    return Ends(value, low.low, high.high, low.low_at, high.high_at, reason)


def _in_chain(extent: Extent, output: Output, below: Below, name: str) -> Ends:
    """Return the ends of a quantity as they are taken above, in the unit of the chain."""
    assert extent.value is not None
    value = converted(extent.value, output.conversion)
    low, high = _widest(extent)
    is_proved = extent.proved_low is not None and extent.proved_high is not None
    reason = f"{name} is searched: {extent.unproved or 'nothing of it is proved'}"
    roots = {root.name: root for root in below.roots}

    def above(at: At, off: float) -> At:
        known = tuple((n, _above(number, roots[n])) for n, number in at if n in roots)
        return known if output.off is None else (*known, (output.off, off))

    return Ends(
        value,
        converted(_off(low, output, -1.0), output.conversion),
        converted(_off(high, output, 1.0), output.conversion),
        above(extent.low_at, -1.0),
        above(extent.high_at, 1.0),
        "" if is_proved or extent.low is None else reason,
    )


def _above(number: float, root: Root) -> float:
    """Return a number of a root in the unit of the chain."""
    found: float = dict(root.known).get(number, converted(number, root.conversion))
    return found


def _widest(extent: Extent) -> tuple[float, float]:
    """Return the ends beyond which a quantity does not go: proved, of a cut, or seen."""
    assert extent.value is not None
    if extent.cut is not None:
        return extent.cut.low, extent.cut.high
    low, high = _box_ends(extent)
    return extent.value if low is None else low, extent.value if high is None else high


def _off(number: float, output: Output, sign: float) -> float:
    """Return an end moved outward by what the model may be off there, rounded outward."""
    if output.off is None:
        return number
    off = output.difference[0] / output.difference[1]
    off += abs(number) * (output.share[0] / output.share[1])
    return nextafter(number + sign * nextafter(off, inf), sign * inf)


def _moved(question: Question, chain: Chain, ends: Mapping[str, Ends]) -> Question:
    """Return a question in which each input that a what-if moves is moved by a known distance."""
    linked = tuple(
        one
        if one.moved_to is None
        else one._replace(moved=one.moved_to - ends[one.variable].value, moved_to=None)
        for one in chain.linked
    )
    return question._replace(chain=chain._replace(linked=linked))


def _cut(question: Question, cut: Mapping[str, Ends]) -> Question:
    """Return a question in which inputs take the place of what lies below them."""
    chain = question.chain
    assert chain is not None
    linked = {one.variable: one for one in chain.linked}
    kept, members = _reached(chain, linked, cut)
    numbers = {old: new for new, old in enumerate(members)}
    left = tuple(
        one._replace(outputs=tuple(o._replace(member=numbers[o.member]) for o in one.outputs))
        for one in chain.linked
        if one.variable in kept
    )
    rest = Chain(tuple(chain.members[number] for number in members), left, chain.takes)
    used = {take.variable for take in _all_takes(rest)} | _sides(left)
    inputs = [one for one in question.inputs if one[0] in used]
    box = [one for one in question.box if one[0] in used]
    for name, one in cut.items():
        if name in used:
            moved = linked[name].moved
            inputs.append((name, one.value + moved))
            box.append((name, one.low + moved, one.high + moved))
    return question._replace(inputs=tuple(inputs), box=tuple(box), chain=rest)


def _all_takes(chain: Chain) -> tuple[Take, ...]:
    return (*chain.takes, *(take for member in chain.members for take in member.takes))


def _sides(linked: Iterable[Linked]) -> set[str]:
    found = {one.place for one in linked if one.place is not None}
    return found | {o.off for one in linked for o in one.outputs if o.off is not None}


def _reached(
    chain: Chain, linked: Mapping[str, Linked], cut: Collection[str]
) -> tuple[set[str], list[int]]:
    """Return the linked variables and the members that are reached from above without a cut one."""
    left = [take.variable for take in chain.takes]
    kept: set[str] = set()
    members: set[int] = set()
    while left:
        name = left.pop()
        if name in cut or name in kept or name not in linked:
            continue
        kept.add(name)
        for output in linked[name].outputs:
            members.add(output.member)
            left += [take.variable for take in chain.members[output.member].takes]
    return kept, sorted(members)


def runs(
    question: Question,
    asked: Question,
    answer: Answer,
    cut: Mapping[str, Ends],
    limits: Iterable[Sought],
) -> list[Question]:
    """Return the runs of the whole chain on numbers that decide where bounds do not meet a limit.

    At the inputs, and at the points of the ends that fail; none where every limit is met.

    Args:
        question: the whole chain, with its moves; asked: the same with cuts; answer: to that.
    """
    points: list[dict[str, float]] = []
    for sought in limits:
        for _, extent in answer.of(sought.quantity) if sought.bounds else ():
            assert sought.bounds is not None
            points += _points(question, asked, extent, cut, sought.bounds)
    found = [
        question._replace(
            inputs=tuple(point.items()), box=(), kind=WORST_CASE, detail="", ends=(),
            evaluations=None,
        )
        for point in ([dict(question.inputs), *points] if points else [])
    ]  # fmt: skip
    return list(dict.fromkeys(found))


def _points(
    question: Question, asked: Question, extent: Extent, cut: Mapping[str, Ends], bounds: Bounds
) -> list[dict[str, float]]:
    low, high = _box_ends(extent)
    if low is None or high is None:
        return []
    under, over = bounds.margins(low, high)
    ends = ([extent.low_at] if under < 0.0 else []) + ([extent.high_at] if over < 0.0 else [])
    boxes = {name: (a, b) for name, a, b in asked.box}
    points = []
    for at in ends:
        above = dict(at)
        # One of the inputs that were cut at a time decides where they ask for different points.
        for first in [name for name in cut if name in boxes]:
            point = dict(question.inputs)
            for name in [*(n for n in cut if n in boxes and n != first), first]:
                a, b = boxes[name]
                value = above.get(name, cut[name].value)
                point.update(cut[name].low_at if value - a <= b - value else cut[name].high_at)
            point.update({name: value for name, value in above.items() if name in point})
            points.append(point)
    return points


def _box_ends(extent: Extent) -> tuple[float | None, float | None]:
    """Return the ends over the box: proved, or what was seen where only rounding lies beyond."""
    low, high = extent.proved_low, extent.proved_high
    if low is None or high is None:
        return extent.low, extent.high
    return extent.low if extent.low_reached else low, extent.high if extent.high_reached else high


def with_runs(
    answer: Answer,
    cut: Mapping[str, Ends],
    seen: Iterable[tuple[Question, Answer | Failure]],
    inputs: At,
) -> Answer | Failure:
    """Return the answer about a chain that was cut, with what the whole of it gave on numbers.

    A failure where the whole chain fails at the inputs.
    """
    found: list[tuple[At, Answer]] = []
    for question, result in seen:
        if isinstance(result, Answer):
            found.append((question.inputs, result))
        elif question.inputs == inputs:
            return result
    names = tuple(cut)
    reason = "; ".join(dict.fromkeys(f"{name}: {one.reason}" for name, one in cut.items()))
    extents = {
        key: _extent(key, extent, found, names, reason) for key, extent in answer.extents.items()
    }
    return Answer(extents, Assurance.SEARCHED, answer.evaluations + len(found))


def _extent(
    key: Key,
    extent: Extent,
    seen: list[tuple[At, Answer]],
    names: tuple[str, ...],
    reason: str,
) -> Extent:
    low, high = _box_ends(extent)
    # A run at one point names the inputs that were computed there (arithmetic/chain.py).
    values = [
        (one.extents[key].value, (*at, *one.extents[key].low_at))
        for at, one in seen
        if key in one.extents and one.extents[key].value is not None
    ]
    if extent.absent is not None or extent.value is None or low is None or high is None:
        return extent._replace(unproved=reason)
    numbers = [(value, at) for value, at in values if value is not None] or [(extent.value, ())]
    least, greatest = min(numbers), max(numbers)
    return Extent(
        numbers[0][0],
        least[0],
        greatest[0],
        least[1],
        greatest[1],
        unproved=reason,
        cut=Cut(names, min(low, least[0]), max(high, greatest[0]), extent.low_at, extent.high_at),
    )
