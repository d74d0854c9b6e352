"""The dossier: every result of one run over one state of a project, as one frozen value.

All numbers of a verification are in its criterion's unit. Only :mod:`closeout.judge` makes one,
only :mod:`closeout.render` formats one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from closeout.model.answer import Assurance
from closeout.model.compared import Compared
from closeout.model.difference_unit import difference_unit
from closeout.model.identity import SnapshotIdentity
from closeout.model.inputs_used import InputUsed
from closeout.model.probability import Chance
from closeout.model.problem import Pointer, Problem
from closeout.model.question import AnalysisSpec, Failure
from closeout.model.records import (
    Article,
    ConditionKind,
    Nonconformance,
    Record,
    RulePolicy,
    Waiver,
)
from closeout.model.validation import Tested, Validation


class Compliance(StrEnum):
    """Codes of a compliance matrix."""

    C = "C"
    PC = "PC"
    NC = "NC"
    NA = "NA"
    OPEN = "open"


class State(StrEnum):
    """State of a verification; an error counts as open."""

    MET = "met"
    NOT_MET = "not met"
    OPEN = "open"
    ERROR = "error"


@dataclass(frozen=True, slots=True)
class AsRun:
    """A condition as a record had it, beside what is required of it; all as they were written.

    ``required`` is what the criterion, or else the project, has; ``within`` the tolerance of the
    test. ``verdict`` is within, harsher or outside.
    """

    record: str
    name: str
    as_run: str
    required: str
    within: str | None
    verdict: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """One verification of a requirement, and one case of it where its quantity has cases.

    ``number`` is its place among the requirement's verifications, from 0. ``due`` says whether it
    is judged at this review. ``covered_by`` names the waiver or deviation that covers it,
    ``covered_kind`` says which of the two it is.
    ``at`` maps the inputs that spread to texts that ``--set`` reads: where they stand at the end
    that decides, met or not; ``counterexample`` is the same of a shortfall. ``given`` shows the
    conditions as they were written, ``declared`` those that hold as the project declares them,
    since the criterion gives none. ``low`` and ``high`` are the proved or searched ends.
    ``at_least`` and ``at_most`` are the limits in the unit in which they were written, rounded
    for documents and machines: the state was decided in the quantity's own unit. ``limit_text`` is
    what the author wrote, ``cases_wanted`` the N of ``cases: at least N``.
    ``model_uncertainty`` is what the analysis declares of its own model; ``judged_low``,
    ``judged_high`` and the margin have it taken off (None: the ends are judged as they are).
    ``tight`` says of proved ends whether they are within 1e-6 of the true ones, or loose,
    ``unproved`` of searched ones why they are not proved, where that is known.
    ``chance`` is what was found of a probability; the margin is then its own, without a unit.
    ``document`` is the report of the record, ``uncertainty`` what of it was used, with its k.
    ``as_run`` are the conditions of each record that was judged. ``bad_end`` are the conditions
    given as a range at the end that decides about an analysis, as texts that ``--set`` reads.
    ``rebuilt`` are the articles whose new build is all that re-opens a record that was met.
    ``validation`` says of an analysis what is known of the tests that it names, ``records`` are
    the identifiers of the records that the verification names. ``not_correlated`` says of the
    analysis, or of one that it rests on, what it is off from what was measured, where the project
    asks for less. ``measured_by`` are the records that measured inputs of the
    analysis, ``awaiting`` the inputs of which no record is in force.
    """

    number: int
    method: str
    level: str | None
    stage: str | None
    review: str | None
    due: bool
    state: State
    analysis: str | None = None
    quantity: str | None = None
    case: str | None = None
    unit: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    limit_text: str = ""
    given: tuple[tuple[str, str], ...] = ()
    declared: tuple[tuple[str, str], ...] = ()
    margin: float | None = None
    basis: str | None = None
    assurance: Assurance | None = None
    message: str | None = None
    record: str | None = None
    covered_by: str | None = None
    covered_kind: str | None = None
    counterexample: tuple[tuple[str, str], ...] = ()
    at: tuple[tuple[str, str], ...] = ()
    plan: str | None = None
    cases_wanted: int | None = None
    model_uncertainty: str | None = None
    judged_low: float | None = None
    judged_high: float | None = None
    tight: bool | None = None
    document: str | None = None
    thin: tuple[str, ...] = ()
    chance: Chance | None = None
    unproved: str | None = None
    uncertainty: str | None = None
    as_run: tuple[AsRun, ...] = ()
    bad_end: tuple[tuple[str, str], ...] = ()
    rebuilt: tuple[str, ...] = ()
    validation: Tested | None = None
    records: tuple[str, ...] = ()
    not_correlated: tuple[str, ...] = ()
    measured_by: tuple[str, ...] = ()
    awaiting: tuple[str, ...] = ()

    @property
    def margin_unit(self) -> str | None:
        """The unit of the margin: of a difference of two values, or 1 for a probability."""
        return "1" if self.chance is not None else difference_unit(self.unit)

    @property
    def closed(self) -> bool:
        """Met, or not met and covered."""
        return self.state is State.MET or (
            self.state is State.NOT_MET and self.covered_by is not None
        )


@dataclass(frozen=True, slots=True)
class RequirementResult:
    """A requirement, its code on the evidence that is due, and whether it is closed for good.

    ``due`` is False where nothing of it, nor of what is derived from it, is due at this review.
    ``early`` is True where it is closed by verifications of which none is due yet, or by such
    requirements that are derived from it; its code then is that of all its evidence.
    ``outstanding`` is True where something that is due, of it or of what is derived from it, is
    open, in error, or a shortfall that is not covered.
    ``why`` is the reason of the close-out status in one line. ``agreed`` tells what a board agreed
    as closed, ``to_be_agreed`` what it is planned to agree after the day of the state. ``budget``
    tells what is allocated of its limit and what is left. ``reported`` are its nonconformances with
    what became of each.
    """

    id: str
    issue: str
    title: str
    statement: str
    rationale: str | None
    source: str | None
    owner: str | None
    safety: str | None
    derived_from: tuple[str, ...]
    derived: tuple[str, ...]
    compliance: Compliance
    closed: bool
    covered: bool
    due: bool
    why: str
    evidence: tuple[Evidence, ...]
    outstanding: bool = False
    agreed: tuple[str, ...] = ()
    budget: str | None = None
    reported: tuple[tuple[str, str], ...] = ()
    to_be_agreed: tuple[str, ...] = ()
    early: bool = False
    where: Pointer | None = field(default=None, compare=False)

    def place_of(self, evidence: Evidence | None) -> Pointer | None:
        """Return where the project plans a piece of its evidence; where it stands for None."""
        if self.where is None or evidence is None:
            return self.where
        return self.where / "verification" / evidence.number


@dataclass(frozen=True, slots=True)
class QuantityFound:
    """A quantity (and case) that an evaluation gave, in the analysis' unit.

    ``proved`` says whether low and high are proved over the declared tolerances; ``unproved`` why
    they are not, where that is known.
    """

    name: str
    case: str | None
    unit: str
    value: float | None
    low: float | None
    high: float | None
    absent: str | None
    proved: bool = False
    unproved: str | None = None


@dataclass(frozen=True, slots=True)
class ComputedFound:
    """A computed input of an evaluation: from what it is computed, and its ends over the box.

    ``unproved`` is why the ends are searched, None where they are proved; numbers are None where it
    has no value. ``analyses`` are those that it is computed by.
    """

    name: str
    source: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    unproved: str | None
    analyses: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Evaluation:
    """One evaluation of an analysis: under which conditions, what went in, what came out.

    ``not_stored`` says why its result is computed anew each time (it started a process, say).
    ``members`` are the analyses below it, whose results are the ``computed`` inputs; ``inputs`` are
    then those below. ``read`` are the project's files that it rests on, as far as they are known.
    ``estimates`` are what analyses find of inputs whose range was agreed, each
    with the reason why nothing can rest on that range, None where it holds.
    """

    analysis: str
    basis: str
    given: tuple[tuple[str, str], ...]
    inputs: tuple[InputUsed, ...]
    found: tuple[QuantityFound, ...]
    failure: Failure | None
    assurance: Assurance | None
    evaluations: int
    serves: tuple[str, ...]
    from_store: bool
    not_stored: tuple[str, ...] = ()
    members: tuple[str, ...] = ()
    computed: tuple[ComputedFound, ...] = ()
    estimates: tuple[tuple[ComputedFound, str | None], ...] = ()
    read: tuple[str, ...] = ()

    @property
    def names(self) -> frozenset[str]:
        """The parameters that it takes, over its whole chain."""
        return frozenset(u.name for u in self.inputs) | {c.name for c in self.computed}


@dataclass(frozen=True, slots=True)
class ParameterSaid:
    """A parameter as the project has it; ``text`` and ``spread`` as they were written.

    ``computed`` is what it is found by, of which then the text is empty; ``estimate`` what an
    agreed range is held against; ``awaited`` why one has no value that a record measures.
    """

    name: str
    text: str
    spread: str
    source: str | None
    maturity: str | None
    condition: ConditionKind | None
    computed: str | None = None
    estimate: str | None = None
    awaited: str | None = None

    @property
    def id(self) -> str:
        """Its name, under which other items have their identifiers."""
        return self.name


@dataclass(frozen=True, slots=True)
class Scale:
    """How much was looked at; proves that a run was not empty."""

    files: int
    requirements: int
    verifications: int
    parameters: int
    analyses: int
    evaluated: int
    from_store: int


@dataclass(frozen=True, slots=True)
class Dossier:
    """Every result of one run. ``settings`` are the ``--set`` of a what-if, as they were given.

    ``off`` are the rules that the project's policy switches off, ``unmade`` names the studies and
    the figures and files of analyses that were wanted and failed. ``outside`` are the files that
    were read outside the project and belong to no distribution and not to Python, by their paths,
    with BLAKE2b-256 digests (None: it was only asked whether it is there, and how large).
    ``redated`` says that the state was judged at another day than its own. ``only`` is what was
    asked of the requirements that are shown, as it was written, ``of`` how many there are in all.
    ``validations`` say of each analysis what is known of the tests that it names.
    What else is on file stands as the project has it on the day: ``articles``, ``records``,
    ``nonconformances``, ``waivers``; ``renamed`` are the identifiers of today by section and old
    one. ``readable`` is False where the project could not be read at all. ``compared`` are measured
    quantities beside what analyses predict of them. ``contents`` are digests of the files that
    evaluations read, by path: of Python files as if they had no comments and no layout.
    """

    project: str
    note: str | None
    snapshot: SnapshotIdentity
    review: str | None
    reviews: tuple[str, ...]
    requirements: tuple[RequirementResult, ...]
    problems: tuple[Problem, ...]
    analyses: tuple[AnalysisSpec, ...]
    evaluations: tuple[Evaluation, ...]
    scale: Scale
    exit_status: int
    settings: tuple[tuple[str, str], ...] = ()
    parameters: tuple[ParameterSaid, ...] = ()
    totals: dict[str, int] = field(default_factory=dict)
    off: tuple[RulePolicy, ...] = ()
    unmade: tuple[str, ...] = ()
    outside: tuple[tuple[str, str | None], ...] = ()
    redated: bool = False
    only: tuple[str, ...] = ()
    of: int = 0
    validations: tuple[Validation, ...] = ()
    articles: tuple[Article, ...] = ()
    records: tuple[Record, ...] = ()
    nonconformances: tuple[Nonconformance, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    renamed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    readable: bool = True
    compared: tuple[Compared, ...] = ()
    contents: Mapping[str, str] = field(default_factory=dict)

    @property
    def draft(self) -> bool:
        """True where the state is not a clean commit, or a what-if or another day was asked."""
        return bool(self.settings) or self.redated or self.snapshot.dirty is not False

    def compared_for(self, identifier: str) -> tuple[Compared, ...]:
        """Return the comparisons of a record or analysis, or of a requirement that is about either.

        A requirement is about the records that judge it, and the analyses that verify it.
        """
        named = self._analyses_for(identifier)
        analyses = {
            spec.name
            for spec in self.analyses
            if named & {spec.name, f"{spec.module.removeprefix('analyses.')}.{spec.function}"}
        }
        return tuple(
            one
            for one in self.compared
            if one.record == identifier
            or identifier in one.requirements
            or one.analysis in analyses
        )

    def _analyses_for(self, identifier: str) -> set[str]:
        """Return an identifier, and the analyses that verify the requirement that has it."""
        verifying = (
            entry.analysis
            for result in self.requirements
            if result.id == identifier
            for entry in result.evidence
            if entry.record is None and entry.analysis is not None
        )
        return {identifier, *verifying}
