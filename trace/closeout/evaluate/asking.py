"""In which order questions over chains are asked: what is below first, what has to be run then."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from typing import Protocol

from closeout.evaluate.chained import Ends, levels, moved, runs, settled, with_runs
from closeout.model.answer import Answer, Sought
from closeout.model.question import AnalysisSpec, Below, Failure, Question
from closeout.model.reply import Reply

BelowOf = Mapping[Question, tuple[Below, ...]]
Specs = Mapping[str, AnalysisSpec]
Cut = Mapping[Question, tuple[Question, Mapping[str, Ends]]]
NOTHING_BELOW: BelowOf = {}


class LimitsOf(Protocol):
    """Called with questions; says what is to be decided about each."""

    def __call__(
        self, questions: Container[Question], /
    ) -> Mapping[Question, tuple[Sought, ...]]: ...


class Ask(Protocol):
    """Called with questions of which each stands for itself; returns the replies."""

    def __call__(
        self, questions: Iterable[Question], specs: Specs, limits: LimitsOf, whole: bool, /
    ) -> Mapping[Question, Reply]: ...


def answered(
    ask: Ask,
    questions: Iterable[Question],
    specs: Specs,
    limits: LimitsOf,
    below: BelowOf,
    *,
    whole: bool,
    beside: Iterable[Question] = (),
) -> dict[Question, Reply]:
    """Return a reply to each question, and to all that is below it, which is asked first.

    ``limits``, ``whole`` and ``beside`` as in :meth:`closeout.evaluate.engine.Evaluator.answer`;
    what is below is asked for its whole ends.
    """
    asked = list(dict.fromkeys(questions))
    known: dict[Question, Reply] = {}
    for level in levels(asked, below, beside):
        known |= _Asking(ask, specs, limits, below, known).replies(level, whole=True)
    left = [question for question in asked if question not in known]
    return known | _Asking(ask, specs, limits, below, known).replies(left, whole=whole)


def settled_alone(
    ask: Ask, questions: Iterable[Question], specs: Specs, below: BelowOf
) -> dict[Question, Question]:
    """Return how each question is asked where its chain stays whole: only moves are settled."""
    asked = list(dict.fromkeys(questions))
    in_need = [q for q in asked if q.chain and any(o.moved_to is not None for o in q.chain.linked)]
    known: dict[Question, Reply] = {}
    for level in levels(in_need, below):
        known |= _Asking(ask, specs, lambda _: {}, below, known).replies(level, whole=True)
    results = {question: reply.result for question, reply in known.items()}
    return {
        one: moved(one, below.get(one.base, ()), results) if one in in_need else one
        for one in asked
    }


class _Asking:
    """Asks questions of which all that is below is known."""

    def __init__(
        self,
        ask: Ask,
        specs: Specs,
        limits: LimitsOf,
        below: BelowOf,
        known: Mapping[Question, Reply],
    ) -> None:
        self._ask = ask
        self._specs = specs
        self._limits = limits
        self._below = below
        self._known = known
        self._results = {question: reply.result for question, reply in known.items()}

    def replies(self, questions: Iterable[Question], *, whole: bool) -> dict[Question, Reply]:
        """Return the replies; a chain that was cut is run as a whole where its bounds fail."""
        found: dict[Question, Reply] = {}
        asked: dict[Question, tuple[Question, Mapping[str, Ends]]] = {}
        for question in questions:
            one = settled(question, self._below.get(question.base, ()), self._results)
            if isinstance(one, Failure):
                found[question] = Reply(one, from_store=True)
            else:
                asked[question] = one
        origin = {one: question for question, (one, _) in asked.items()}

        def limits(some: Container[Question]) -> Mapping[Question, tuple[Sought, ...]]:
            sought = self._limits({question for one, question in origin.items() if one in some})
            return {asked[question][0]: limits for question, limits in sought.items()}

        replies = self._ask(origin, self._specs, limits, whole)
        found |= {question: replies[one] for question, (one, _) in asked.items()}
        cut = {question: one for question, one in asked.items() if one[1]}
        return found | self._whole(cut, replies) if cut else found

    def _whole(self, cut: Cut, replies: Mapping[Question, Reply]) -> dict[Question, Reply]:
        """Return the replies about chains that were cut, after runs of the whole on numbers."""
        sought = self._limits(set(cut))
        points: dict[Question, list[Question]] = {}
        for question, (one, ends) in cut.items():
            answer = replies[one].result
            if isinstance(answer, Answer):
                full = moved(question, self._below.get(question.base, ()), self._results)
                points[question] = runs(full, one, answer, ends, sought.get(question, ()))
        every = dict.fromkeys(run for some in points.values() for run in some)
        seen = self._ask(every, self._specs, lambda _: {}, True)
        found = {}
        for question, some in points.items():
            one, ends = cut[question]
            answer, pairs = replies[one].result, [(run, seen[run].result) for run in some]
            assert isinstance(answer, Answer)
            result = with_runs(answer, ends, pairs, question.inputs)
            under = [self._known[b.question] for b in self._below.get(question.base, ())]
            rests = [replies[one], *(seen[run] for run in some), *under]
            found[question] = _together(result, rests)
        return found


def _together(result: Answer | Failure, replies: list[Reply]) -> Reply:
    """Return the reply that several have made, which rests on all that each rests on."""
    reads = [one.read for one in replies]
    known = [read for read in reads if read is not None]
    return Reply(
        result,
        all(one.from_store for one in replies),
        tuple(dict.fromkeys(why for one in replies for why in one.not_stored)),
        frozenset().union(*known) if len(known) == len(reads) else None,
    )
