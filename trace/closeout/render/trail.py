"""The trail through a dossier: from a verdict to its evaluation, from an analysis to its users."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable, Mapping
from typing import TypeVar

from closeout.model.answer import NOT_ASKED, Assurance
from closeout.model.dossier import Dossier, Evaluation, Evidence
from closeout.model.question import AnalysisSpec
from closeout.render import words
from closeout.render.plain import count, flow, safe

T = TypeVar("T")


def is_named(name: str, analysis: str | None) -> bool:
    """Return whether a verification's text (``function`` or ``module.function``) names it."""
    return analysis is not None and (analysis == name or name.endswith("." + analysis))


def full_name(spec: AnalysisSpec) -> str:
    """Return ``module.function`` of an analysis, also where the function's name is enough."""
    return f"{spec.module.removeprefix('analyses.')}.{spec.function}"


def names(dossier: Dossier, values: Mapping[str, T]) -> dict[str, T]:
    """Return the values of analyses also under the function's name, where that is unambiguous."""
    short: dict[str, list[str]] = {}
    for spec in dossier.analyses:
        short.setdefault(spec.function, []).append(spec.name)
    found = {name: values[full[0]] for name, full in short.items() if len(full) == 1}
    return {**found, **values}


def evaluation_of(
    evaluations: Iterable[Evaluation], requirement: str, evidence: Evidence
) -> Evaluation | None:
    """Return the evaluation that a verdict rests on; None where there is none, or no clear one.

    A question that several verifications share keeps the words of the first of them, so the same
    conditions may stand there in another order or in another unit: the likest evaluation is meant,
    and where two are equally like, neither is named.
    """
    ranked = [
        (_likeness(evaluation, evidence), evaluation)
        for evaluation in evaluations
        if is_named(evaluation.analysis, evidence.analysis) and requirement in evaluation.serves
    ]
    best = max((rank for rank, _ in ranked), default=None)
    likest = [evaluation for rank, evaluation in ranked if rank == best]
    return likest[0] if len(likest) == 1 else None


def _likeness(evaluation: Evaluation, evidence: Evidence) -> tuple[int, bool]:
    """Return how many conditions agree, less those that do not, and whether the basis does."""
    given, used = set(evidence.given), set(evaluation.given)
    return len(given & used) - len(given ^ used), evaluation.basis == evidence.basis


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


def loose(dossier: Dossier) -> frozenset[str]:
    """Return what is due and open though no evidence of its own is, nor what is below it.

    It has none, or something else keeps it open, as a nonconformance.
    """
    outstanding = {result.id for result in dossier.requirements if result.outstanding}
    return frozenset(
        result.id
        for result in dossier.requirements
        if result.outstanding
        and outstanding.isdisjoint(result.derived)
        and not any(entry.due and not entry.closed for entry in result.evidence)
    )


def about(evaluation: Evaluation) -> str:
    """Return how an evaluation was made, in one sentence."""
    if evaluation.assurance is None:
        return "No result."
    sure = words.ASSURANCE[evaluation.assurance]
    proved = sum(found.proved for found in evaluation.found)
    ranged = (Assurance.SEARCHED, Assurance.BOUNDED)
    if evaluation.assurance in ranged and 0 < proved < len(evaluation.found):
        some = f"{proved} of {count(len(evaluation.found), 'value')}"
        sure = f"{words.ASSURANCE[Assurance.BOUNDED]} for {some}, searched for the rest"
    times = count(evaluation.evaluations, "evaluation")
    return f"{sure[0].upper()}{sure[1:]}; {times} of the function."


def unproved(evaluation: Evaluation) -> list[str]:
    """Return why quantities of an evaluation that were searched are not proved, each reason once.

    What no verification asks for is left out.
    """
    found: dict[str, list[str]] = {}
    for one in () if evaluation.assurance is Assurance.LINEARISED else evaluation.found:
        if one.unproved is not None and one.unproved != NOT_ASKED:
            name = safe(one.name) if one.case is None else f"{safe(one.name)} [{safe(one.case)}]"
            found.setdefault(one.unproved, []).append(name)
    return [f"{', '.join(names)}: {flow(reason)}" for reason, names in found.items()]


def doc_parts(doc: str) -> tuple[str, str, str]:
    """Return a docstring's first paragraph, the rest, and the paragraphs that are cautions."""
    blocks = re.split(r"\n[ \t]*\n", inspect.cleandoc(doc.expandtabs(4)))
    warns = [b for b in blocks[1:] if re.match(r"[\s*]*(caution|warning)s?\b", b, re.IGNORECASE)]
    rest = [block for block in blocks[1:] if block not in warns]
    return blocks[0].strip(), "\n\n".join(rest), "\n\n".join(warns)
