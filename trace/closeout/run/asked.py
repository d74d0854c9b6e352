"""What several plans ask, asked as one list."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence

from closeout.evaluate.engine import Evaluator
from closeout.graph import Plan
from closeout.model.answer import Sought
from closeout.model.question import AnalysisSpec, Question
from closeout.model.reply import Reply


def answers_to(
    plans: Sequence[Plan], evaluator: Evaluator, specs: Iterable[AnalysisSpec]
) -> dict[Question, Reply]:
    """Return the answers, with whole ends, to all that some plans over one state ask."""
    asked = dict.fromkeys(question for plan in plans for question in plan.questions)

    def limits(questions: Container[Question]) -> Mapping[Question, tuple[Sought, ...]]:
        found: dict[Question, tuple[Sought, ...]] = {}
        for plan in plans:
            found.update(plan.limits(questions))
        return found

    below = {question: some for plan in plans for question, some in plan.below.items()}
    beside = dict.fromkeys(question for plan in plans for question in plan.estimates)
    by_name = {spec.name: spec for spec in specs}
    return evaluator.answer(asked, by_name, limits, whole=True, below=below, beside=tuple(beside))
