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


class Conversion(NamedTuple):
    """From one unit to another: numerator and denominator of the factor, and of what is added."""

    factor: tuple[int, int] = (1, 1)
    offset: tuple[int, int] = (0, 1)


class Take(NamedTuple):
    """An argument of an analysis in a chain, and the variable of the chain that it is."""

    argument: str
    variable: str
    conversion: Conversion = Conversion()


class Member(NamedTuple):
    """An analysis of a chain below the one that is asked, and what it takes."""

    analysis: str
    module: str
    function: str
    takes: tuple[Take, ...]


class Output(NamedTuple):
    """A quantity of a member of a chain, in the unit of the variable that it makes.

    ``case`` is the one that is taken of several; with ``every_case`` the least and the greatest of
    them are. ``off`` is the variable, from -1 to 1, of what the model may be off, by ``difference``
    and by ``share`` of the value in the quantity's own unit (each a numerator and a denominator);
    None where it declares nothing.
    """

    member: int
    quantity: str
    case: str | None = None
    every_case: bool = False
    conversion: Conversion = Conversion()
    off: str | None = None
    difference: tuple[int, int] = (0, 1)
    share: tuple[int, int] = (0, 1)


class Linked(NamedTuple):
    """A variable of a chain that analyses compute, from one output or from its low to its high one.

    ``place`` is the variable, from 0 to 1, that says where between the two it is. ``moved`` is what
    is added where a what-if moves it, ``moved_to`` what it is to be at the inputs instead.
    """

    variable: str
    outputs: tuple[Output, ...]
    place: str | None = None
    moved: float = 0.0
    moved_to: float | None = None


class Chain(NamedTuple):
    """Analyses that compute inputs of an analysis, in an order in which each can be evaluated.

    ``takes`` are the arguments of the analysis itself. The variables are the inputs of the question
    and those that are ``linked``.
    """

    members: tuple[Member, ...]
    linked: tuple[Linked, ...]
    takes: tuple[Take, ...]


class Question(NamedTuple):
    """An analysis, the point at which it is evaluated and the box around it.

    ``inputs`` are all arguments in the order of the signature, in the analysis' own units.
    ``box`` holds the low and high end of each argument that has a spread; empty for nominal.
    ``kind`` is what is asked (worst case, nominal where there is no box; root sum square,
    probability, study, solve, figure, artifact), ``detail`` the rest of the question as JSON text
    where the kind has one; of a worst case, the quantities that are to be proved. ``ends`` are
    those of quantities (low or high) that some verification limits, and ``evaluations`` how many a
    proof may take, None for the usual number; both of a worst case only.
    ``chain`` are the analyses below it, where some of its arguments are computed; then ``inputs``
    and ``box`` are those of the whole chain.
    """

    analysis: str
    inputs: tuple[tuple[str, float], ...]
    box: tuple[tuple[str, float, float], ...] = ()
    kind: str = WORST_CASE
    detail: str = ""
    ends: tuple[tuple[str, str], ...] = ()
    evaluations: int | None = None
    chain: Chain | None = None

    @property
    def base(self) -> Question:
        """What is common to all that is asked of an analysis at its inputs and over its box."""
        return Question(self.analysis, self.inputs, self.box, chain=self.chain)


def analyses_of(question: Question) -> tuple[str, ...]:
    """Return the analysis that is asked, and each below it."""
    members = () if question.chain is None else question.chain.members
    return (question.analysis, *(one.analysis for one in members))


class Root(NamedTuple):
    """An input of a member that is asked for itself, and how it is turned into the chain's unit.

    ``known`` are its value and its ends beside those that the chain has. Converted there and back a
    number has other last bits, and is shown as 9.999999999999977 degC.
    """

    name: str
    conversion: Conversion
    known: tuple[tuple[float, float], ...] = ()


class Below(NamedTuple):
    """What the ends of a member of a chain are asked with, where it is asked for itself."""

    question: Question
    roots: tuple[Root, ...]


class Request(NamedTuple):
    """A question as it goes to a worker.

    ``function`` is the analysis' full name; ``limits`` are all that the verdicts are about
    (None where none are given), and ``whole`` tells whether the ends of what meets them are wanted
    too. ``time_limit`` is the processor time in s that the answer may take.
    """

    function: str
    question: Question
    limits: tuple[Sought, ...] | None
    whole: bool
    time_limit: float


def functions_of(request: Request) -> tuple[str, ...]:
    """Return the full name of the analysis that is asked, and of each below it in its chain."""
    chain = request.question.chain
    members = () if chain is None else chain.members
    return (request.function, *(f"{one.module}.{one.function}" for one in members))


class Failure(NamedTuple):
    """Why an analysis (or the import of its module) gave no answer.

    ``kind`` is raised, exited, killed, timed out, bad result, bad signature, input (it was of an
    analysis below) or cut (what is below is no formula, and one is needed); ``traceback`` is the
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
