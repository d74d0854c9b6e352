"""What one verification by analysis asks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from closeout.graph.acceptance import Acceptance
from closeout.graph.required import RequiredMargin
from closeout.model.answer import Bounds
from closeout.model.awaited import Awaited
from closeout.model.inputs_used import InputUsed
from closeout.model.question import AnalysisSpec, Below, Chain, Conversion, Question
from closeout.model.records import Verification

_UNLIMITED = Acceptance()


@dataclass(frozen=True, slots=True)
class ComputedInput:
    """An input that analyses compute: its unit, from what, and the file in which that is said."""

    name: str
    unit: str
    source: str
    path: str = ""


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the agreed range of an input is compared with, in the unit of ``computed``.

    ``chain`` has one linked variable, the input, of which ``conversion`` leads to that unit;
    ``below`` is what is asked of its members, and ``range`` what was agreed, as doubles and as it
    was written.
    """

    computed: ComputedInput
    chain: Chain
    below: tuple[Below, ...]
    conversion: Conversion
    range: tuple[float, float]
    text: str


@dataclass(frozen=True, slots=True)
class Request:
    """What one verification requests: a question, or why none can be asked (``fault``).

    ``acceptance`` are the limits as values of the analysis are compared with them. ``pending`` is
    why no question is asked though nothing is wrong. ``margins`` are margins that a policy
    requires of a probability, each with the question whether the criterion holds with it.
    ``computed`` are the inputs that analyses below compute, ``below`` what is asked of these, and
    ``estimates`` what agreed ranges among the inputs are compared with. ``awaited`` are measured
    inputs without a number, of which ``pending`` tells.
    """

    verification: Verification
    spec: AnalysisSpec | None = None
    question: Question | None = None
    inputs: tuple[InputUsed, ...] = ()
    acceptance: Acceptance = _UNLIMITED
    fault: str | None = None
    pending: str | None = None
    margins: tuple[tuple[RequiredMargin, Question], ...] = ()
    computed: tuple[ComputedInput, ...] = ()
    below: tuple[Below, ...] = ()
    estimates: tuple[Estimate, ...] = ()
    awaited: tuple[Awaited, ...] = ()

    @property
    def tightened(self) -> Bounds:
        """The limits for values of the analysis, its model's uncertainty taken off."""
        return self.acceptance.bounds

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is asked: the question itself, and those of its margins."""
        first = () if self.question is None else (self.question,)
        return (*first, *(question for _, question in self.margins))


def waiting_for(
    verification: Verification, spec: AnalysisSpec, awaited: Iterable[Awaited]
) -> Request:
    """Return the request of a verification of which measured inputs have no number."""
    each = tuple(dict.fromkeys(awaited))
    reasons = "; ".join(one.reason for one in each)
    return Request(verification, spec, pending=reasons, awaited=each)
