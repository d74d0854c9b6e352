"""Questions to analyses, and their answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Assurance(StrEnum):
    """How surely a judged value is known; always over the declared tolerances only."""

    BOUNDED = "bounded"
    SEARCHED = "searched"
    SAMPLED = "sampled"
    NOMINAL = "nominal"


@dataclass(frozen=True, slots=True)
class Argument:
    """An argument of an analysis: a parameter's identifier, and the unit it is wanted in."""

    name: str
    unit: str


@dataclass(frozen=True, slots=True)
class Field:
    """A field of an analysis' result: a quantity, its unit, and whether it has cases."""

    name: str
    unit: str
    by_case: bool


@dataclass(frozen=True, slots=True)
class AnalysisSpec:
    """What an analysis says of itself.

    ``name`` is ``module.function`` without the leading ``analyses.``; ``module`` is the full name
    to import; ``path`` and ``line`` are where the function is defined.
    """

    name: str
    module: str
    function: str
    path: str
    line: int
    doc: str
    arguments: tuple[Argument, ...]
    fields: tuple[Field, ...]
    validated_by: tuple[str, ...]
    time_limit: float

    def field(self, quantity: str) -> Field | None:
        """Return the field of that name, or None."""
        return next((field for field in self.fields if field.name == quantity), None)


@dataclass(frozen=True, slots=True)
class Question:
    """An analysis, the point at which it is evaluated and the box around it.

    ``inputs`` are all arguments in the order of the signature, in the analysis' own units.
    ``box`` holds the low and high end of each argument that has a spread; empty for nominal.
    """

    analysis: str
    inputs: tuple[tuple[str, float], ...]
    box: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Extent:
    """The values of one quantity and case in the analysis' own unit.

    ``value`` is at the inputs, ``low`` and ``high`` over the box, with the points of the box (the
    arguments that differ from the inputs) where they were found; a nominal question has no ends.
    ``absent`` is the reason why a case has no value (then the numbers are None), also where it has
    none at some point of the box only.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    low_at: tuple[tuple[str, float], ...] = ()
    high_at: tuple[tuple[str, float], ...] = ()
    absent: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """What an analysis answered: extents by quantity and case (None where it has no cases)."""

    extents: Mapping[tuple[str, str | None], Extent]
    assurance: Assurance
    evaluations: int

    def of(self, quantity: str) -> list[tuple[str | None, Extent]]:
        """Return the cases of a quantity, in the order in which the analysis gave them."""
        return [(case, extent) for (name, case), extent in self.extents.items() if name == quantity]


@dataclass(frozen=True, slots=True)
class Failure:
    """Why an analysis (or the import of its module) gave no answer.

    ``kind`` is raised, exited, killed, timed out, bad result or bad signature; ``traceback`` is the
    author's own, in paths of the project; ``path`` and ``line`` the place nearest to the fault.
    """

    kind: str
    message: str
    traceback: str
    path: str | None = None
    line: int | None = None
