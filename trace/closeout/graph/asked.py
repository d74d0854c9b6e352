"""What one verification by analysis asks."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.graph.bounds import rounded
from closeout.graph.model_uncertainty import ModelUncertainty
from closeout.graph.required import RequiredMargin
from closeout.model.answer import Bounds
from closeout.model.criterion import ExactLimits
from closeout.model.inputs import InputUsed
from closeout.model.question import AnalysisSpec, Question
from closeout.model.records import Verification

UNLIMITED = ExactLimits()


@dataclass(frozen=True, slots=True)
class Asked:
    """What one verification asks: a question, or why none can be asked (``fault``).

    ``pending`` is why a question is not asked though nothing is wrong, ``uncertainty`` that of the
    analysis' model for the quantity, where it is declared. ``margins`` are margins that a policy
    requires of a probability, each with the question whether the criterion holds with it.
    """

    verification: Verification
    spec: AnalysisSpec | None = None
    question: Question | None = None
    inputs: tuple[InputUsed, ...] = ()
    limits: ExactLimits = UNLIMITED
    fault: str | None = None
    pending: str | None = None
    uncertainty: ModelUncertainty | None = None
    margins: tuple[tuple[RequiredMargin, Question], ...] = ()

    @property
    def bounds(self) -> Bounds:
        """The limits for what is judged, as doubles in the quantity's unit."""
        return rounded(self.limits)

    @property
    def tightened(self) -> Bounds:
        """The limits for values of the analysis, its model's uncertainty taken off."""
        return self.of_values(self.limits)

    def of_values(self, limits: ExactLimits) -> Bounds:
        """Return limits of what is judged as limits for values of the analysis, rounded once.

        Raises:
            UnitError: one is beyond the doubles.
        """
        return rounded(limits if self.uncertainty is None else self.uncertainty.tightened(limits))

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is asked: the question itself, and those of its margins."""
        first = () if self.question is None else (self.question,)
        return (*first, *(question for _, question in self.margins))
