"""Analyses whose results are inputs of others, composed into one function of the inputs below them.

What is composed is evaluated like any analysis, on numbers, ranges, arrays and symbols: an input
that several members take is one variable, so that a range of it moves all of them together. A
conversion between units is an operation in each arithmetic, exact on numbers and enclosed on
ranges.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf, nextafter
from typing import TYPE_CHECKING, Any, cast

from closeout import Absent
from closeout import math as elementary
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.types import At, Evaluate, Key
from closeout.arithmetic.undecided import Guarded, OneNumber
from closeout.model.answer import Answer
from closeout.model.question import Chain, Conversion, Linked, Output, Question, Take

if TYPE_CHECKING:
    from closeout.model.study import StudyFound

# The largest whole numbers up to which each is a double.
_EXACT = 2**53
_SAME = Conversion()
_UNITY = (1, 1)
_ZERO = (0, 1)


class InputFailed(Exception):
    """A member of a chain failed on numbers, or gave no value; the cause is its own error.

    ``analysis`` is the member, ``reason`` why there is no value where it raised nothing;
    ``variable`` the computed input that has no value for it.
    """

    def __init__(self, analysis: str, reason: str = "") -> None:
        super().__init__(f"{analysis}: {reason}")
        self.analysis = analysis
        self.reason = reason
        self.variable = ""


def composed(chain: Chain, members: Sequence[Evaluate], top: Evaluate) -> Evaluate:
    """Return the analysis on top of a chain as a function of the inputs of the whole chain.

    Args:
        members: the analyses of the chain, in its order, each by its own arguments.
        top: the analysis that is asked, by its own arguments.

    Whatever is evaluated raises :class:`InputFailed` where a member fails on numbers, or has no
    value that is taken.
    """

    def evaluate(point: Mapping[str, Any]) -> Mapping[Key, Any]:
        return top(arguments(chain, members, point))

    return evaluate


def arguments(
    chain: Chain, members: Sequence[Evaluate], point: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the arguments of the analysis on top at a point of the chain's inputs."""
    return _taken(chain.takes, variables(chain, members, point))


def variables(
    chain: Chain, members: Sequence[Evaluate], point: Mapping[str, Any]
) -> dict[str, Any]:
    """Return every variable of a chain at a point of its inputs: these, and what is computed."""
    return _Evaluation(chain, members, point).variables()


def completed(found: Any, question: Question, members: Sequence[Evaluate]) -> tuple[Any, ...]:
    """Return what was found, with what computed inputs are at its points, where it has points.

    Args:
        found: an Answer, a StudyFound or another reply to the question.
    """
    if question.kind == "study":
        return _with_arguments(found, question, members)
    if question.chain is None or not isinstance(found, Answer):
        return cast("tuple[Any, ...]", found)
    return _with_computed(found, question, members)


def _with_computed(answer: Answer, question: Question, members: Sequence[Evaluate]) -> Answer:
    """Return an answer whose points name computed inputs too, where no inputs below say all.

    Where between two ends an input is, or what a model is off, cannot be set; so the inputs that
    come of it are part of the point. Of an answer at one point alone they are its ``low_at``.
    """
    chain, inputs = question.chain, dict(question.inputs)
    if chain is None or not _has_sides(chain):
        return answer
    known: dict[At, At] = {}

    def whole(at: At) -> At:
        if at and at not in known:
            found = variables(chain, members, {**inputs, **dict(at)})
            known[at] = (*at, *((one.variable, found[one.variable]) for one in chain.linked))
        return known.get(at, at)

    if not question.box:
        found = variables(chain, members, inputs)
        here = tuple((one.variable, found[one.variable]) for one in chain.linked)
        extents = {key: one._replace(low_at=here) for key, one in answer.extents.items()}
        return answer._replace(extents=extents)
    extents = {
        key: one._replace(low_at=whole(one.low_at), high_at=whole(one.high_at))
        for key, one in answer.extents.items()
    }
    return answer._replace(extents=extents)


def _with_arguments(
    found: StudyFound, question: Question, members: Sequence[Evaluate]
) -> StudyFound:
    """Return a study with the arguments of the analysis itself, at its inputs and where it decides.

    An argument that an analysis below computes has no value of its own in either point.
    """

    def at(point: At) -> At:
        whole = {**dict(question.inputs), **dict(point)}
        if question.chain is not None:
            whole = arguments(question.chain, members, whole)
        return tuple(whole.items())

    worst = found.worst
    if worst is not None:
        worst = worst._replace(arguments=at(worst.at))
    return found._replace(arguments=at(()), worst=worst)


def _has_sides(chain: Chain) -> bool:
    return any(
        one.place is not None
        or one.moved  # by what the inputs are at their values, and not at the point
        or any(output.off is not None for output in one.outputs)
        for one in chain.linked
    )


def _taken(takes: Sequence[Take], known: Mapping[str, Any]) -> dict[str, Any]:
    return {one.argument: converted(known[one.variable], one.conversion) for one in takes}


class _Evaluation:
    """One evaluation of a chain: each member and each variable once."""

    def __init__(self, chain: Chain, members: Sequence[Evaluate], point: Mapping[str, Any]) -> None:
        self._chain = chain
        self._members = members
        self._known = dict(point)
        self._linked = {one.variable: one for one in chain.linked}
        self._values: dict[int, Mapping[Key, Any]] = {}

    def variables(self) -> dict[str, Any]:
        """Return the inputs, and all that is computed from them."""
        for one in self._chain.linked:
            self._variable(one.variable)
        return self._known

    def _variable(self, name: str) -> Any:
        if name not in self._known:
            self._known[name] = self._computed(self._linked[name])
        return self._known[name]

    def _computed(self, linked: Linked) -> Any:
        try:
            ends = [end for output in linked.outputs for end in self._ends(output)]
        except InputFailed as failed:
            failed.variable = failed.variable or linked.variable
            raise
        low, high = ends[0], ends[-1]
        value = low
        if linked.place is not None:
            value = low + self._known[linked.place] * (high - low)
        return value + linked.moved if linked.moved else value

    def _ends(self, output: Output) -> list[Any]:
        """Return the value of an output; the least and the greatest where every case counts."""
        values = self._of(output.member)
        cases = [key for key in values if key[0] == output.quantity]
        if not output.every_case:
            cases = [key for key in cases if key[1] == output.case]
        if not cases:
            self._lacks(output, values)
        found = [self._with_model(self._present(values[key], key, output), output) for key in cases]
        low = high = found[0]
        for one in found[1:]:
            low, high = elementary.minimum(low, one), elementary.maximum(high, one)
        return [low, high] if output.every_case else [low]

    def _with_model(self, value: Any, output: Output) -> Any:
        if output.off is None:
            return converted(value, output.conversion)
        off = constant(output.difference, value)
        if output.share != _ZERO:
            off = off + abs(value) * constant(output.share, value)
        return converted(value + self._known[output.off] * off, output.conversion)

    def _present(self, value: Any, key: Key, output: Output) -> Any:
        if isinstance(value, Absent):
            named = key[0] if key[1] is None else f"{key[0]}[{key[1]}]"
            member = self._chain.members[output.member]
            raise InputFailed(member.analysis, f"{named} has no value: {value.reason}")
        return value

    def _lacks(self, output: Output, values: Mapping[Key, Any]) -> None:
        member = self._chain.members[output.member]
        cases = [case for name, case in values if name == output.quantity and case is not None]
        there = f"it has {', '.join(cases)}" if cases else "it has no cases"
        reason = f"{output.quantity} has no case {output.case}; {there}"
        raise InputFailed(member.analysis, reason)

    def _of(self, number: int) -> Mapping[Key, Any]:
        """Return the values of a member, from what is below it."""
        if number not in self._values:
            member = self._chain.members[number]
            for take in member.takes:
                self._variable(take.variable)
            point = _taken(member.takes, self._known)
            try:
                self._values[number] = self._members[number](point)
            except InputFailed:
                raise
            except Exception as error:
                if any(isinstance(value, Guarded) for value in point.values()):
                    raise
                raise InputFailed(member.analysis) from error
        return self._values[number]


def converted(value: Any, conversion: Conversion) -> Any:
    """Return a value in another unit: on a number exact and rounded once, on a range enclosed."""
    if conversion == _SAME:
        return value
    (up, down), (add, by) = conversion
    if isinstance(value, (float, int)):
        over, under = value.as_integer_ratio()
        # Division of whole numbers is rounded correctly, however large they are.
        return (over * up * by + add * under * down) / (under * down * by)
    if up != 1 or down != 1:
        if max(abs(up), down) <= _EXACT:
            value = value * float(up) if up != 1 else value
            value = value / float(down) if down != 1 else value
        else:
            value = value * constant((up, down), value)
    return value + constant((add, by), value) if add else value


def constant(fraction: tuple[int, int], beside: Any) -> Any:
    """Return a fraction as it goes with a value: a range that holds it beside ranges, a number."""
    number = fraction[0] / fraction[1]
    over, under = number.as_integer_ratio()
    if over * fraction[1] == fraction[0] * under or not isinstance(beside, OneNumber):
        return number
    return Interval(nextafter(number, -inf), nextafter(number, inf))
