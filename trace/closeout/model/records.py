"""What a project says: the typed form of its YAML files.

Every record knows where it stands (``where``). ``formerly`` are the identifiers that an item
had before. Amounts keep their text; whether their units fit is checked by :mod:`closeout.graph`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from closeout.model.amount import Amount, Measured
from closeout.model.criterion import Condition, Criterion, Limits
from closeout.model.probability import probability_text
from closeout.model.problem import Pointer


class Method(StrEnum):
    """Verification methods, ECSS-E-ST-10-02C Rev.1, 5.2.2.1."""

    TEST = "test"
    ANALYSIS = "analysis"
    REVIEW_OF_DESIGN = "review of design"
    INSPECTION = "inspection"


SIMILARITY = "similarity"
_NO_LIMITS = Limits()
_NO_CRITERION = Criterion()


@dataclass(frozen=True, slots=True)
class Source:
    """Where a requirement comes from: a document of the register and its clause, or plain text.

    ``issue`` is that of the document against which the clause was held last.
    """

    document: str | None
    clause: str | None
    text: str | None
    issue: str | None = None

    def __str__(self) -> str:
        """Return ``LSA 4.3 (issue 2)``."""
        issue = f"(issue {self.issue})" if self.issue else None
        return self.text or " ".join(part for part in (self.document, self.clause, issue) if part)


class BasisKind(StrEnum):
    """What a verdict rests on; worst case and root sum square: ECSS-Q-HB-30-01A."""

    WORST_CASE = "worst case"
    ROOT_SUM_SQUARE = "root sum square"
    NOMINAL = "nominal"
    PROBABILITY = "probability"


@dataclass(frozen=True, slots=True)
class Basis:
    """The kind, and for a probability the two numbers that are asked for."""

    kind: BasisKind = BasisKind.WORST_CASE
    probability: Fraction | None = None
    confidence: Fraction | None = None

    def __str__(self) -> str:
        if self.kind is not BasisKind.PROBABILITY:
            return self.kind.value
        assert self.probability is not None
        assert self.confidence is not None
        share, sure = probability_text(float(self.probability)), float(self.confidence)
        return f"probability {share}, confidence {probability_text(sure)}"


@dataclass(frozen=True, slots=True)
class Leeway:
    """How a test may differ from the conditions that are required of it, by parameter.

    ``within`` is how far it may be from them, ``harsher`` the side (higher or lower) on which it
    may be farther, ``at`` the point of a range at which it is tested, for the ``reason``.
    """

    within: tuple[tuple[str, Amount], ...] = ()
    harsher: tuple[tuple[str, str], ...] = ()
    at: tuple[tuple[str, Amount], ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Verification:
    """One planned verification of a requirement."""

    where: Pointer
    method: Method
    level: str | None = None
    stage: str | None = None
    review: str | None = None
    analysis: str | None = None
    criterion: Criterion = _NO_CRITERION
    basis: Basis = Basis()
    records: tuple[str, ...] = ()
    plan: str | None = None
    risk: str | None = None
    leeway: Leeway = Leeway()


@dataclass(frozen=True, slots=True)
class NotApplicable:
    """Why a requirement does not apply, and who agreed to that by which document.

    ``planned`` is the day of that document where it is later than the state that is judged.
    """

    reason: str
    agreed_by: str | None
    document: str | None
    planned: str | None = None


@dataclass(frozen=True, slots=True)
class Allocation:
    """How the limits of the derived requirements make up this one's: the rule for a quantity.

    ``shares`` is the name of the quantity in the derived ones, where it is another.
    """

    quantity: str
    rule: str
    shares: str | None = None


@dataclass(frozen=True, slots=True)
class Requirement:
    """A requirement, ISO/IEC/IEEE 29148 5.2.8 attributes.

    ``report`` is the verification report where several methods serve it (ECSS-E-ST-10-02C Rev.1,
    5.3.2.5).
    """

    where: Pointer
    id: str
    title: str
    statement: str
    issue: str = "A"
    rationale: str | None = None
    source: Source | None = None
    derived_from: tuple[str, ...] = ()
    owner: str | None = None
    type: str | None = None
    safety: str | None = None
    verification: tuple[Verification, ...] = ()
    not_applicable: NotApplicable | None = None
    allocates: Allocation | None = None
    report: str | None = None
    formerly: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Spread:
    """How far a parameter may lie from its value: exactly one of the fields is set, or none.

    tolerance: named parts (``{"": Amount}`` where it is not composed); range: low and high end;
    sigma: standard deviation of a normal distribution, of which the worst case takes three.
    """

    tolerance: tuple[tuple[str, Amount], ...] = ()
    range: tuple[Amount, Amount] | None = None
    sigma: Amount | None = None

    def __bool__(self) -> bool:
        return bool(self.tolerance) or self.range is not None or self.sigma is not None


class ConditionKind(StrEnum):
    """A parameter of environment, duration or mode, which ``given`` may set.

    GIVEN: each criterion whose analysis takes it must give it. DECLARED: the declared value and
    spread hold where a criterion gives none.
    """

    GIVEN = "true"
    DECLARED = "declared"


@dataclass(frozen=True, slots=True)
class Link:
    """Where a number is found: one quantity, or two that are its low and its high end.

    ``quantities`` are as they were written: ``pad_hold_energy.usable_energy`` of an analysis,
    ``TR-PWR-002.sleep_drain`` of a record, ``PWR-020.usable_energy.at_least`` of a criterion.
    ``case`` is one of a quantity with several; ``every_case`` stands for the least to the greatest
    of them all.
    """

    where: Pointer
    quantities: tuple[str, ...]
    case: str | None = None
    every_case: bool = False

    def __str__(self) -> str:
        of = f" ({self.case})" if self.case is not None else ""
        return " to ".join(self.quantities) + (" (all cases)" if self.every_case else of)


@dataclass(frozen=True, slots=True)
class LinkedParameter:
    """A parameter whose value and spread are found: a computed or a measured input, or a limit.

    ``beside`` are keys that were written and that such a one does not take.
    """

    where: Pointer
    id: str
    link: Link
    source: str | None = None
    formerly: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Parameter:
    """A named input of analyses; ``condition`` is None for a design value.

    ``estimate`` is what the agreed range has to contain. ``record`` is the one that the source
    names as such. ``link`` is where value and spread were found that the project does not state:
    in a record or a criterion; ``coverage`` is then the k of the expanded uncertainty that its
    tolerance is, None where it is none.
    """

    where: Pointer
    id: str
    value: Amount
    spread: Spread = Spread()
    condition: ConditionKind | None = None
    source: str | None = None
    maturity: str | None = None
    distribution: str | None = None
    group: str | None = None
    formerly: tuple[str, ...] = ()
    estimate: Link | None = None
    record: str | None = None
    link: Link | None = None
    coverage: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Explained:
    """Why what was measured is not what was predicted, in which document, and who says so."""

    text: str
    document: str
    by: str


@dataclass(frozen=True, slots=True)
class Record:
    """A verification record: evidence of a test, an inspection or a review of design.

    ``similarity`` marks one that argues by likeness: a kind of analysis (ECSS-E-ST-10-02C Rev.1,
    5.2.2.1a), for which ``method`` is analysis.

    Without a date it is planned: no evidence yet; ``planned`` is a date that is later than the
    state that is judged (:mod:`closeout.model.as_of`). ``same_design`` and ``differs`` say how what
    was on the bench stands to the flight article, ``good_for`` how long the evidence holds.

    ``judged`` are the issues of the requirements that it speaks of; None where one is judged anew
    on a day that is later than the state. ``judged_on`` are the days on which an older measurement
    was judged anew. ``explained`` is why it measured something else than was predicted.
    """

    where: Pointer
    id: str
    method: Method
    title: str | None = None
    document: str | None = None
    date: str | None = None
    article: tuple[tuple[str, str], ...] = ()
    conditions: tuple[tuple[str, Condition], ...] = ()
    judged: tuple[tuple[str, str | None], ...] = ()
    measured: tuple[tuple[str, Measured], ...] = ()
    outcome: str | None = None
    data: str | None = None
    replaces: str | None = None
    same_design: str | None = None
    differs: tuple[str, ...] = ()
    good_for: Amount | None = None
    data_sha256: str | None = None
    similarity: bool = False
    planned: str | None = None
    judged_on: tuple[tuple[str, str], ...] = ()
    formerly: tuple[str, ...] = ()
    explained: Explained | None = None

    def day_of(self, requirement: str) -> str | None:
        """Return the day on which a requirement was judged by it: its own, or a later one."""
        return dict(self.judged_on).get(requirement, self.date)


@dataclass(frozen=True, slots=True)
class Waiver:
    """A waiver or deviation: a shortfall that an authority accepts, until a review.

    ``planned`` is a date that is later than the state that is judged; ``date`` is None then.
    """

    where: Pointer
    id: str
    kind: str
    requirement: str
    quantity: str | None = None
    limits: Limits = _NO_LIMITS
    cases: tuple[str, ...] | None = None
    approved_by: str | None = None
    date: str | None = None
    document: str | None = None
    expires: str | None = None
    reason: str | None = None
    formerly: tuple[str, ...] = ()
    planned: str | None = None


@dataclass(frozen=True, slots=True)
class Document:
    """An outside document that requirements cite."""

    where: Pointer
    id: str
    title: str
    issue: str | None = None
    date: str | None = None


@dataclass(frozen=True, slots=True)
class Article:
    """A piece of hardware that stands for a model philosophy's model, in its present build.

    ``date`` is the day from which the article exists, in its first build.
    """

    where: Pointer
    id: str
    title: str
    model: str
    build: str | None = None
    date: str | None = None
    formerly: tuple[str, ...] = ()


def build_text(build: str) -> str:
    """Return ``build FM-3``; a text that names serial and build itself, as ``FM-1 build 3``."""
    return build if "build" in build.lower().split() else f"build {build}"


@dataclass(frozen=True, slots=True)
class MarginPolicy:
    """The margin that a quantity must have at a review; ``of`` says of what it is a share."""

    quantity: str
    of: str
    required: tuple[tuple[str, Amount], ...]
    enforce: bool = False


@dataclass(frozen=True, slots=True)
class Contingency:
    """What is added to the value of immature parameters, by maturity; a measured one gets none.

    ``parameters`` are identifiers, also as patterns with *; ``direction`` is up or down.
    """

    parameters: tuple[str, ...]
    by_maturity: tuple[tuple[str, Amount], ...]
    direction: str = "up"


@dataclass(frozen=True, slots=True)
class RulePolicy:
    """What a project does with a rule: off, warning or error, and why.

    ``items`` are identifiers of what it is for: requirements, records, parameters, ...; without
    any, it is for the whole project.
    """

    rule: str
    severity: str
    reason: str
    items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Policy:
    """What a project holds itself to, where there is a choice.

    ``acceptance`` is the decision rule for measured values (JCGM 106:2012): guarded or simple.
    ``coverage_factor`` is the least k of an expanded uncertainty; a lesser one is raised to it.
    ``test_tolerances`` are how far a test may be from a condition, by parameter, also by a pattern
    with *, where its verification does not say it.
    ``open_terms_until`` is the last review at which TBD and TBC may stand. ``evaluations`` is how
    many a proof of a worst case may take, None for the usual number. ``test_time`` is how many
    seconds of processor time a test may take that validates an analysis.
    """

    acceptance: str = "guarded"
    open_terms_until: str | None = None
    contingency: tuple[Contingency, ...] = ()
    rules: tuple[RulePolicy, ...] = ()
    coverage_factor: Fraction = Fraction(2)
    test_tolerances: tuple[tuple[str, Amount], ...] = ()
    evaluations: int | None = None
    test_time: float | None = None


@dataclass(frozen=True, slots=True)
class Correlation:
    """How near a model has to come to what was measured of a quantity, from a review on.

    ``within`` is a difference, ``at`` the first review at which it has to (None: at each).
    """

    quantity: str
    within: Amount
    at: str | None = None
    source: str | None = None


@dataclass(frozen=True, slots=True)
class PackageIdentity:
    """How the documents of a review are known: one number and issue for all of them.

    ``date`` is that of the issue. ``author`` and ``approver`` are named; neither has signed.
    """

    number: str
    issue: str | None = None
    date: str | None = None
    author: str | None = None
    approver: str | None = None


@dataclass(frozen=True, slots=True)
class Charter:
    """project.yaml: name, reviews in order, the review that is being prepared, and policy.

    ``reports`` are verification reports by the owner of the requirements that each is about.
    ``package`` is the identity of the review's documents, None where the project gives none.
    """

    where: Pointer
    name: str
    reviews: tuple[str, ...] = ()
    next_review: str | None = None
    authorities: Mapping[str, str] = field(default_factory=dict)
    margins: tuple[MarginPolicy, ...] = ()
    note: str | None = None
    policy: Policy = Policy()
    review_dates: Mapping[str, str] = field(default_factory=dict)
    reports: Mapping[str, str] = field(default_factory=dict)
    correlation: tuple[Correlation, ...] = ()
    package: PackageIdentity | None = None


@dataclass(frozen=True, slots=True)
class Nonconformance:
    """A nonconformance report: what failed, what was done about it."""

    where: Pointer
    id: str
    requirements: tuple[str, ...] = ()
    article: tuple[tuple[str, str], ...] = ()
    found_by: str | None = None
    klass: str | None = None
    disposition: str | None = None
    cause: str | None = None
    corrective_action: str | None = None
    closed_by: str | None = None
    retest: tuple[str, ...] = ()
    formerly: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Agreement:
    """What a control board agreed as closed at a review.

    ``planned`` is a date that is later than the state that is judged; ``date`` is None then.
    """

    where: Pointer
    review: str
    date: str | None
    by: str | None
    document: str | None
    requirements: tuple[str, ...]
    planned: str | None = None


@dataclass(frozen=True, slots=True)
class Project:
    """Everything that the files of one snapshot say, in the order of the files' paths.

    Where an identifier is given twice the first holds, and a finding says so.
    """

    charter: Charter
    documents: tuple[Document, ...] = ()
    articles: tuple[Article, ...] = ()
    requirements: tuple[Requirement, ...] = ()
    records: tuple[Record, ...] = ()
    nonconformances: tuple[Nonconformance, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    agreements: tuple[Agreement, ...] = ()
    parameters: tuple[Parameter, ...] = ()
    linked: tuple[LinkedParameter, ...] = ()

    def verifications(self) -> Iterator[tuple[Requirement, int, Verification]]:
        """Yield each verification with its requirement and its number there, from 0."""
        for requirement in self.requirements:
            for number, verification in enumerate(requirement.verification):
                yield requirement, number, verification
