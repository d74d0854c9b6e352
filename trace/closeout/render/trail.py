"""The trail through a dossier: from a verdict to its evaluation, from an analysis to its users."""

from __future__ import annotations

import inspect
import re
from collections.abc import Mapping
from typing import TypeVar

from closeout.model.dossier import Dossier, Evaluation, Evidence
from closeout.render import words

T = TypeVar("T")


def is_named(name: str, analysis: str | None) -> bool:
    """Return whether a verification's text (``function`` or ``module.function``) names it."""
    return analysis is not None and (analysis == name or name.endswith("." + analysis))


def names(dossier: Dossier, values: Mapping[str, T]) -> dict[str, T]:
    """Return the values of analyses also under the function's name, where that is unambiguous."""
    short: dict[str, list[str]] = {}
    for spec in dossier.analyses:
        short.setdefault(spec.function, []).append(spec.name)
    found = {name: values[full[0]] for name, full in short.items() if len(full) == 1}
    return {**found, **values}


def serves(evaluation: Evaluation, requirement: str, evidence: Evidence) -> bool:
    """Return whether a verdict rests on this evaluation: same analysis, conditions and basis."""
    return (
        is_named(evaluation.analysis, evidence.analysis)
        and evaluation.given == evidence.given
        and (evidence.basis is None or evaluation.basis == evidence.basis)
        and requirement in evaluation.serves
    )


def evaluation_of(dossier: Dossier, requirement: str, evidence: Evidence) -> Evaluation | None:
    """Return the evaluation that a verdict rests on; None where it is a record's."""
    return next((e for e in dossier.evaluations if serves(e, requirement, evidence)), None)


def served(dossier: Dossier) -> dict[str, list[str]]:
    """Return for each analysis the requirements that it verifies, in the order of the dossier."""
    found: dict[str, list[str]] = {spec.name: [] for spec in dossier.analyses}
    full = names(dossier, {spec.name: spec.name for spec in dossier.analyses})
    for result in dossier.requirements:
        used = (full.get(evidence.analysis or "") for evidence in result.evidence)
        for name in dict.fromkeys(used):
            if name is not None:
                found[name].append(result.id)
    return found


def about(evaluation: Evaluation) -> str:
    """Return how an evaluation was made, in one sentence."""
    if evaluation.assurance is None:
        return "No answer."
    sure = words.ASSURANCE[evaluation.assurance]
    times = words.count(evaluation.evaluations, "evaluation")
    return f"{sure[0].upper()}{sure[1:]}; {times} of the function."


def doc_parts(doc: str) -> tuple[str, str, str]:
    """Return a docstring's first paragraph, the rest, and the paragraphs that are cautions."""
    blocks = re.split(r"\n[ \t]*\n", inspect.cleandoc(doc.expandtabs(4)))
    warns = [b for b in blocks[1:] if re.match(r"\s*(caution|warning)s?\b", b, re.IGNORECASE)]
    rest = [block for block in blocks[1:] if block not in warns]
    return blocks[0].strip(), "\n\n".join(rest), "\n\n".join(warns)
