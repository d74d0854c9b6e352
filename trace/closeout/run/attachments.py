"""Figures and files of the analyses, asked for each evaluation at its inputs."""

from __future__ import annotations

import json

from closeout.evaluate.asking import BelowOf
from closeout.evaluate.engine import Evaluator
from closeout.graph import Index
from closeout.model.attachment import Attachment, Made
from closeout.model.dossier import Dossier
from closeout.model.question import AnalysisSpec, Attached, Failure, Question


def attachments(
    dossier: Dossier, index: Index, evaluator: Evaluator, below: BelowOf
) -> tuple[Attachment, ...]:
    """Return what is attached to each evaluation that has an answer, in their order.

    ``below`` is what is asked of the analyses below each, where a what-if moves a computed input.
    """
    specs: dict[str, AnalysisSpec] = {spec.name: spec for spec in index.specs}
    asked: list[tuple[int, Attached, Question]] = []
    for number, evaluation in enumerate(dossier.evaluations):
        spec = specs[evaluation.analysis]
        inputs = tuple((used.name, used.value) for used in evaluation.inputs)
        chain = evaluation.chain
        moves = chain is not None and any(one.moved_to is not None for one in chain.linked)
        box = tuple(
            (used.name, used.low, used.high)
            for used in evaluation.inputs
            if moves and used.low is not None and used.high is not None
        )
        if evaluation.failure is None:
            for one in spec.attached:
                detail = json.dumps({"name": one.name})
                question = Question(spec.name, inputs, box, one.kind, detail, chain=chain)
                asked.append((number, one, question))
    answers = evaluator.study(Made, dict.fromkeys(question for *_, question in asked), specs, below)
    found = []
    for number, one, question in asked:
        made = answers[question]
        if isinstance(made, Failure):
            found.append(Attachment(number, one.kind, one.name, one.caption, failure=made))
        else:
            found.append(Attachment(number, one.kind, one.name, one.caption, made.files))
    return tuple(found)
