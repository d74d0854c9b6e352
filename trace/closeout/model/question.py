"""What analyses say of themselves, questions to them, and why one was not answered.

Named tuples, since workers load it (``evaluate/forking.py``).
"""

from __future__ import annotations

from typing import NamedTuple

from closeout.model.answer import Sought

WORST_CASE = "worst case"


class Argument(NamedTuple):
    """An argument of an analysis: a parameter's identifier, and the unit it is wanted in."""

    name: str
    unit: str


class Field(NamedTuple):
    """A field of an analysis' result: a quantity, its unit, and whether it has cases."""

    name: str
    unit: str
    by_case: bool


class Attached(NamedTuple):
    """A figure or a set of files that hangs on an analysis, by the name of its function.

    ``kind`` is figure or artifact; ``caption`` the first paragraph of its docstring.
    """

    kind: str
    name: str
    caption: str


class AnalysisSpec(NamedTuple):
    """What an analysis says of itself.

    ``name`` is ``module.function`` without the leading ``analyses.``; ``module`` is the full name
    to import; ``path`` and ``line`` are where the function is defined. ``model_uncertainty`` is how
    far the model itself may be off, by quantity, as it was written. ``attached`` are its figures
    and files; ``evaluations`` is how many a proof of it may take, where it says so.
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
    model_uncertainty: tuple[tuple[str, str], ...] = ()
    attached: tuple[Attached, ...] = ()
    evaluations: int | None = None

    def field(self, quantity: str) -> Field | None:
        """Return the field of that name, or None."""
        for field in self.fields:
            if field.name == quantity:
                return field
        return None


class Question(NamedTuple):
    """An analysis, the point at which it is evaluated and the box around it.

    ``inputs`` are all arguments in the order of the signature, in the analysis' own units.
    ``box`` holds the low and high end of each argument that has a spread; empty for nominal.
    ``kind`` is what is asked (worst case, nominal where there is no box; root sum square,
    probability, study, solve, figure, artifact), ``detail`` the rest of the question as JSON text
    where the kind has one; of a worst case, the quantities that are to be proved. ``ends`` are
    those of quantities (low or high) that some verification limits, and ``evaluations`` how many a
    proof may take, None for the usual number; both of a worst case only.
    """

    analysis: str
    inputs: tuple[tuple[str, float], ...]
    box: tuple[tuple[str, float, float], ...] = ()
    kind: str = WORST_CASE
    detail: str = ""
    ends: tuple[tuple[str, str], ...] = ()
    evaluations: int | None = None


class Request(NamedTuple):
    """A question as it goes to a worker.

    ``function`` is the analysis' name in its module; ``limits`` are all that the verdicts are about
    (None where none are given), and ``whole`` tells whether the ends of what meets them are wanted
    too. ``time_limit`` is the processor time in s that the answer may take.
    """

    function: str
    question: Question
    limits: tuple[Sought, ...] | None
    whole: bool
    time_limit: float


class Failure(NamedTuple):
    """Why an analysis (or the import of its module) gave no answer.

    ``kind`` is raised, exited, killed, timed out, bad result or bad signature; ``traceback`` is the
    author's own, in paths of the project; ``path`` and ``line`` the place nearest to the fault.
    """

    kind: str
    message: str
    traceback: str
    path: str | None = None
    line: int | None = None


class Described(NamedTuple):
    """An analysis of a module by its function's name: what it says of itself, or why not."""

    function: str
    spec: AnalysisSpec | None = None
    failure: Failure | None = None
