"""The one entry: a question to an analysis, and its answer by the arithmetic that the kind asks.

Each kind is imported where it is asked: a worker's process has loaded no more than it needs.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import TYPE_CHECKING, Any

from closeout.arithmetic.code.allowed import NOTHING_SHOWN, Shown
from closeout.arithmetic.proof import worst
from closeout.arithmetic.types import Evaluate
from closeout.model.answer import Answer, Sought

if TYPE_CHECKING:
    from closeout.model.question import Question
    from closeout.model.solved import SolveFound
    from closeout.model.study import StudyFound


def answer(
    evaluate: Evaluate,
    question: Question,
    limits: Collection[Sought] | None = None,
    whole: bool = True,
    *,
    shown: Shown = NOTHING_SHOWN,
) -> Answer | StudyFound | SolveFound:
    """Return the answer to a question, in the units of the analysis.

    Whatever the analysis raises goes through to the caller.

    Args:
        evaluate: the analysis on numbers and on values of the other arithmetics, which it has to
            let through.
        question: its kind chooses the answer: a worst case, a nominal value (where there is no
            box), root sum square or a probability have an Answer, a study a StudyFound, a formula
            to be solved a SolveFound.
        limits, whole: of a worst case; see :func:`closeout.arithmetic.proof.worst.answer`.
        shown: what is known of the code (:mod:`closeout.arithmetic.proof.trust`).
    """
    inputs, box = dict(question.inputs), question.box
    detail: Any = json.loads(question.detail) if question.detail else None
    if question.kind == "probability":
        from closeout.arithmetic.chance import trials

        return trials.answer(evaluate, inputs, box, detail)
    if question.kind == "study":
        from closeout.arithmetic.study.quantity import study

        return study(evaluate, inputs, box, detail)
    if question.kind == "solve":
        from closeout.arithmetic.symbol.solve import solve

        return solve(evaluate, inputs, box, detail)
    if question.kind == "root sum square":
        from closeout.arithmetic.chance import linearised

        return linearised.answer(evaluate, inputs, box, detail, shown=shown)
    return worst.answer(
        evaluate, inputs, box, detail, limits, whole,
        evaluations=question.evaluations, ends=question.ends, shown=shown,
    )  # fmt: skip
