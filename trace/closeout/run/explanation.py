"""What stands behind an identifier: first what is known at once, then what has to be searched."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from closeout.graph import Index
from closeout.graph.links import reach_of
from closeout.judge.record_history import record_history
from closeout.judge.subjects import concerns, identifiers, subjects
from closeout.model.dossier import Dossier, RequirementResult
from closeout.model.earlier_names import Names
from closeout.model.errors import UserError
from closeout.model.study import Study
from closeout.render.explain import Explained, first_text, rest_text, result_of, suggestions
from closeout.run.pipeline import Assessment, Outcome
from closeout.run.studies import Wanted


@dataclass(frozen=True, slots=True)
class Explanation:
    """What ``closeout explain`` prints of an identifier, and what that is made of."""

    identifier: str
    text: str
    dossier: Dossier
    studies: tuple[Study, ...] = ()

    @property
    def result(self) -> RequirementResult | None:
        """The requirement's result, None where the identifier is that of something else."""
        return result_of(self.dossier, self.identifier)

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class First:
    """What is known of an identifier at once."""

    text: str
    known: Outcome
    explained: Explained


def first_part(
    assessment: Assessment, known: Outcome, identifier: str, *, colour: bool, width: int
) -> First:
    """Return what is known of an identifier at once; ``known`` are the verdicts.

    Raises:
        UserError: nothing has this identifier.
    """
    index = assessment.checked.index
    about = subjects(identifier, assessment.validity, known.dossier)
    history = record_history(identifier, assessment.validity, known.dossier)
    explained = Explained(identifier, colour, width, about, history)
    text = first_text(known.dossier, explained)
    if text is None:
        raise unknown(identifier, _known(index), _now(identifier, index.renamed))
    return First(text, known, explained)


def rest_part(
    assessment: Assessment, first: First, wanted: Wanted, *, latex: bool = False
) -> tuple[str, Outcome]:
    """Return what is found when all is followed to its end, and the outcome with its studies."""
    index, identifier = assessment.checked.index, first.explained.identifier
    searched: Collection[str] = ()
    if identifier in index.requirements:
        searched = {identifier}
    elif identifier in index.analyses:
        searched = _users(index, identifier)
    found = assessment.to_the_end(searched).outcome(wanted) if searched else first.known
    text = rest_text(
        first.known.dossier, found.dossier, first.explained, found.studies, latex=latex
    )
    return text, found


def about(identifier: str, index: Index) -> frozenset[str] | None:
    """Return the requirements whose verdicts are to be known; None for all.

    What stands above a requirement has its code from all that is derived from it.
    """
    if identifier in index.requirements:
        return None
    return frozenset(_users(index, identifier) | concerns(identifier, index))


def unknown(identifier: str, known: Iterable[str], renamed: Sequence[str] = ()) -> UserError:
    """Return the mistake that nothing has an identifier, with those that are like it."""
    near = renamed or suggestions(known, identifier)
    cure = f"did you mean {', '.join(near)}?" if near else "closeout verify lists the requirements"
    kinds = "requirement, analysis, parameter, record, waiver, nonconformance, article or document"
    return UserError(f"there is no {kinds} {identifier}", cure)


def _now(identifier: str, renamed: Names) -> list[str]:
    """Return what an earlier identifier is called by now, as far as the project says it."""
    return [
        f"{of[identifier]} (formerly {identifier})" for of in renamed.values() if identifier in of
    ]


def _users(index: Index, identifier: str) -> set[str]:
    """Return the requirements that rest on an analysis, or on one that takes a parameter."""
    found = set()
    for requirement, _, verification in index.project.verifications():
        spec = index.analyses.get(verification.analysis or "")
        if spec is None:
            continue
        reach, wanted = reach_of(spec, index), index.analyses.get(identifier)
        if identifier in reach.parameters or (wanted and wanted.name in reach.analyses):
            found.add(requirement.id)
    return found


def _known(index: Index) -> list[str]:
    """Return every identifier that can be explained."""
    return [
        *index.requirements,
        *index.analyses,
        *index.parameters,
        *index.linked,
        *identifiers(index),
    ]
