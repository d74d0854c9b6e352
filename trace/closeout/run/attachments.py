"""Figures and files of the analyses, asked for each evaluation at its inputs."""

from __future__ import annotations

import json
from collections.abc import Mapping

from closeout.evaluate.engine import Evaluator
from closeout.graph import Plan
from closeout.model.attachment import Attachment, Made
from closeout.model.question import Attached, Failure, Question
from closeout.model.reply import Reply


def attachments(
    plan: Plan, replies: Mapping[Question, Reply], evaluator: Evaluator
) -> tuple[Attachment, ...]:
    """Return what is attached to each evaluation that has an answer, in their order."""
    specs = {spec.name: spec for spec in plan.index.specs}
    asked: list[tuple[int, Attached, Question]] = []
    evaluated = [question for question in plan.serving() if question in replies]
    for number, question in enumerate(evaluated):
        if isinstance(replies[question].result, Failure):
            continue
        # A what-if that moves a computed input has to know its ends, and so the box.
        moves = question.chain and any(one.moved_to is not None for one in question.chain.linked)
        box = question.box if moves else ()
        for one in specs[question.analysis].attached:
            drawing = Question(
                question.analysis, question.inputs, box, one.kind,
                json.dumps({"name": one.name}), chain=question.chain,
            )  # fmt: skip
            asked.append((number, one, drawing))
    answers = evaluator.study(
        Made, dict.fromkeys(question for *_, question in asked), specs, plan.below
    )
    found = []
    for number, one, question in asked:
        made = answers[question]
        if isinstance(made, Failure):
            found.append(Attachment(number, one.kind, one.name, one.caption, failure=made))
        else:
            found.append(Attachment(number, one.kind, one.name, one.caption, made.files))
    return tuple(found)
