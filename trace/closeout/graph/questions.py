"""From verifications to questions: which analysis, with which inputs, over which box."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Mapping
from copy import copy
from dataclasses import dataclass, field, replace

from closeout.graph.acceptance import UNLIMITED, Acceptance, acceptance
from closeout.graph.amounts import limits_in
from closeout.graph.bounds import crossed, exact_in, rounded
from closeout.graph.chances import chances_of, group_of, groups_of
from closeout.graph.collected import Collected
from closeout.graph.index import Index
from closeout.graph.inputs import Settings
from closeout.graph.model_uncertainty import model_uncertainty
from closeout.graph.new_findings import Spelling
from closeout.graph.request import Request, waiting_for
from closeout.graph.required import required_margins
from closeout.graph.set_ups import SetUps, below_of
from closeout.graph.sought_limits import limits_of
from closeout.graph.temperatures import refusal
from closeout.measure import UnitError, Units
from closeout.model.answer import Sought
from closeout.model.criterion import ExactLimits
from closeout.model.problem import Finding
from closeout.model.question import AnalysisSpec, Below, Field, Question
from closeout.model.records import BasisKind, Spread, Verification

NO_SPREAD = Spread()


@dataclass(frozen=True, slots=True)
class Plan:
    """What each verification by analysis asks, by requirement and number, and what is wrong.

    ``below`` is what is asked of the analyses below a question, in the order of its chain; it is
    found under the question's base.
    """

    index: Index
    requests: Mapping[tuple[str, int], Request]
    findings: tuple[Finding, ...]
    units: Units
    review: str | None = None
    below: Mapping[Question, tuple[Below, ...]] = field(default_factory=dict)

    @property
    def questions(self) -> tuple[Question, ...]:
        """The questions, each once, in the order of the project."""
        found = (question for request in self.requests.values() for question in request.questions)
        return tuple(dict.fromkeys(found))

    @property
    def estimates(self) -> tuple[Question, ...]:
        """What is asked of the analyses that agreed ranges are compared with, each once."""
        every = (one for request in self.requests.values() for one in request.estimates)
        return tuple(dict.fromkeys(below.question for one in every for below in one.below))

    def serving(self) -> dict[Question, tuple[Request, tuple[str, ...]]]:
        """Return each question with a request that asks it, and the requirements that it serves."""
        found: dict[Question, tuple[Request, list[str]]] = {}
        for (requirement, _), request in self.requests.items():
            if request.question is not None:
                found.setdefault(request.question, (request, []))[1].append(requirement)
        return {
            question: (request, tuple(dict.fromkeys(names)))
            for question, (request, names) in found.items()
        }

    def of(self, requirements: Collection[str] | None) -> Plan:
        """Return the part of the plan that serves some requirements; None takes it whole."""
        if requirements is None:
            return self
        part = {key: request for key, request in self.requests.items() if key[0] in requirements}
        return replace(self, requests=part)

    def limits(self, questions: Container[Question]) -> Mapping[Question, tuple[Sought, ...]]:
        """Return the limits of all verdicts that the answers to some questions serve."""
        return limits_of(questions, self.requests, self.index, self.units, self.review)


def plan(
    index: Index, units: Units, settings: Settings | None = None, review: str | None = None
) -> Plan:
    """Return the questions of every verification by analysis, at a review (None: the last one).

    A requirement whose identifier is taken already is looked at, but nothing is asked for it.
    """
    planner = _Planner(index, units, settings or {}, review)
    requests: dict[tuple[str, int], Request] = {}
    for requirement, number, verification in index.project.verifications():
        if verification.analysis is None:
            planner.set_ups.conditions(verification)
            continue
        one = planner.ask(verification, requirement.id)
        if index.requirements[requirement.id] is requirement:
            requests[requirement.id, number] = one
    below = below_of(requests.values(), planner.set_ups.below)
    return Plan(index, requests, planner.findings, units, review, below)


def plan_of(
    wanted: Mapping[tuple[str, int], Verification],
    index: Index,
    units: Units,
    settings: Settings,
    review: str | None,
) -> Plan:
    """Return what some verifications ask, as the project plans them or on another basis.

    ``wanted`` are by requirement and number, as in a :class:`Plan`.
    """
    planner = _Planner(index, units, settings, review)
    asked = {key: planner.ask(one, key[0]) for key, one in wanted.items()}
    below = below_of(asked.values(), planner.set_ups.below)
    return Plan(index, asked, planner.findings, units, review, below)


def ask(
    verification: Verification, index: Index, units: Units, settings: Settings | None = None
) -> Request:
    """Return what a verification by analysis would ask, whether or not the project plans it."""
    return _Planner(index, units, settings or {}, None).ask(verification, "")


def ask_each(
    asking: Iterable[tuple[Verification, Settings]], index: Index, units: Units
) -> tuple[list[Request], Mapping[Question, tuple[Below, ...]]]:
    """Return what each verification asks with settings of its own, and what is asked below."""
    planner = _Planner(index, units, {}, None)
    found = [planner.at(settings).ask(verification, "") for verification, settings in asking]
    return found, below_of(found, planner.set_ups.below)


class _Planner:
    """Makes questions one after another; what is wrong goes to ``findings``."""

    def __init__(self, index: Index, units: Units, settings: Settings, review: str | None) -> None:
        self._index = index
        self._review = review
        self._units = units
        self._spelling = Spelling(self._index.renamed)
        self._collected = Collected()
        self.set_ups = SetUps(index, units, settings, self._collected)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What is wrong, each once."""
        return tuple(dict.fromkeys(self._collected.findings))

    def at(self, settings: Settings) -> _Planner:
        """Return one for other settings, which knows what is known of the project."""
        other = copy(self)
        other.set_ups = self.set_ups.at(settings)
        return other

    def ask(self, verification: Verification, seed: str) -> Request:
        """Return what a verification by analysis asks; ``seed`` makes its samples repeat."""
        self._collected.begin()
        spec = self._spec(verification)
        if spec is None:
            self.set_ups.conditions(verification)
            return Request(verification, fault=self._collected.message())
        quantity = self._quantity(verification, spec)
        limits = UNLIMITED if quantity is None else self._limits(verification, quantity)
        uncertainty = None if quantity is None else model_uncertainty(spec, quantity, self._units)
        if isinstance(uncertainty, Finding):
            self._collected.found(uncertainty)
        set_up = self.set_ups.of(verification, spec)
        if set_up is None or isinstance(uncertainty, Finding) or self._collected.messages:
            fault, pending = self._collected.message(), self._collected.pending
            if not fault and pending:
                return waiting_for(verification, spec, pending)
            return Request(verification, spec, fault=fault)
        try:
            tightened = acceptance(limits, uncertainty)
            request = Request(
                verification, spec, set_up.question, set_up.inputs, tightened,
                computed=set_up.computed, below=set_up.below, estimates=set_up.estimates,
            )  # fmt: skip
            request = self._of_basis(request, set_up.question, seed)
        except UnitError as wrong:  # with the uncertainty of the model
            self._collected.wrong("unit", verification.where, wrong.message, wrong.cure)
        fault = self._collected.message()
        return Request(verification, spec, fault=fault) if fault else request

    def _check_independent(self, request: Request) -> None:
        """Root sum square holds for independent parameters only."""
        members: dict[str, list[str]] = {}
        for one in request.inputs:
            if one.low is None or one.side:
                continue
            group = group_of(one.name, self._index.parameters)
            if group:
                members.setdefault(group, []).append(one.name)
        for group, names in members.items():
            if len(names) > 1:
                self._collected.wrong(
                    "dependent-parameters", request.verification.where / "basis",
                    f"{', '.join(names)} are correlated (group {group}), and root sum square is"
                    " for independent parameters only",
                    "write basis: worst case, or a probability, which keeps the correlation",
                )  # fmt: skip

    def _of_basis(self, request: Request, question: Question, seed: str) -> Request:
        """Return what is asked of the worst case as the basis of the verification asks it."""
        verification, parameters = request.verification, self._index.parameters
        if verification.basis.kind in (BasisKind.ROOT_SUM_SQUARE, BasisKind.PROBABILITY):
            question = question._replace(ends=(), evaluations=None)
        if verification.basis.kind is BasisKind.ROOT_SUM_SQUARE:
            self._check_independent(request)
            assert request.spec is not None
            detail = groups_of(request.inputs, parameters, request.spec.fields)
            question = question._replace(kind="root sum square", detail=detail)
            return replace(request, question=question)
        if verification.basis.kind is BasisKind.PROBABILITY:
            # Of what, as long as a limit is not decided?
            undecided = request.acceptance.undecided
            asking = replace(request, question=None)
            return asking if undecided else self._chance(request, question, seed)
        return request

    def _chance(self, request: Request, question: Question, seed: str) -> Request:
        """Return what is asked of a probability: whether the criterion holds, and with margin."""
        verification, spec = request.verification, request.spec
        quantity = verification.criterion.quantity
        field = None if spec is None or quantity is None else spec.field(quantity)

        def asking(tightened: Acceptance) -> Question:
            parameters = self._index.parameters
            detail = chances_of(verification, seed, request.inputs, parameters, tightened.bounds)
            return question._replace(kind="probability", detail=detail)

        margins = []
        for margin in required_margins(quantity, self._index, self._review) if field else ():
            assert field is not None
            try:
                limits = margin.on(verification.criterion.limits, field.unit, self._units)
                tightened = acceptance(limits, request.acceptance.model)
            except UnitError as wrong:
                message = f"the margin {margin.amount} of {quantity}: {wrong.message}"
                cure = "write a share in %, or a difference"
                self._collected.wrong("unit", verification.where, message, cure)
            else:
                if limits != request.acceptance.limits:
                    margins.append((margin, asking(tightened)))
        return replace(request, question=asking(request.acceptance), margins=tuple(margins))

    def _spec(self, verification: Verification) -> AnalysisSpec | None:
        name = verification.analysis
        assert name is not None
        index, where = self._index, verification.where / "analysis"
        if name in index.analyses:
            return index.analyses[name]
        if name in index.shared:
            self._collected.wrong(
                "ambiguous-analysis", where,
                f"{name} is the name of several analyses",
                f"write one of {', '.join(index.shared[name])}",
            )  # fmt: skip
        elif name in index.left_out or not index.code:
            self._collected.messages.append(f"the analysis {name} cannot be used")
        else:
            otherwise = f"write a function {name} with @analysis, or leave the key out for now"
            self._collected.wrong(
                "unknown-analysis", where, f"there is no analysis {name} in analyses/",
                self._spelling.cure("analysis", name, index.analyses, otherwise),
            )  # fmt: skip
        return None

    def _quantity(self, verification: Verification, spec: AnalysisSpec) -> Field | None:
        criterion, where = verification.criterion, verification.where
        name, listed = criterion.quantity, ", ".join(field.name for field in spec.fields)
        if name is None:
            self._collected.wrong(
                "unknown-quantity", where / "analysis",
                f"the criterion names no quantity of {spec.function}",
                f"add quantity: and a limit; the analysis returns {listed}",
            )  # fmt: skip
            return None
        field = spec.field(name)
        if field is None:
            names = [field.name for field in spec.fields]
            self._collected.wrong(
                "unknown-quantity", where / "quantity",
                f"{spec.function} returns no quantity {name}",
                self._spelling.cure(spec.name, name, names, f"it returns {listed}"),
            )  # fmt: skip
        elif criterion.cases_at_least is not None and not field.by_case:
            self._collected.wrong(
                "unknown-quantity", where / "cases",
                f"{name} of {spec.function} has no cases", "remove the key cases",
            )  # fmt: skip
        return field

    def _limits(self, verification: Verification, field: Field) -> ExactLimits:
        limits, where = verification.criterion.limits, verification.where
        self._refuse_differences(verification, field)
        try:
            exact = exact_in(limits, field.unit, self._units)
            rounded(exact)
        except UnitError as wrong:
            found = list(limits_in(limits, field.unit, where, self._units))
            for finding in found:
                self._collected.found(finding)
            if not found:  # each end is a double, their sum or difference is none
                self._collected.wrong("unit", where / "within", wrong.message, wrong.cure)
            return UNLIMITED
        if crossed(limits, self._units) is not None:
            for finding in limits_in(limits, field.unit, where, self._units):
                self._collected.found(finding)
        return exact

    def _refuse_differences(self, verification: Verification, field: Field) -> None:
        """Refuse a difference of temperatures at a point on a scale; it is reported elsewhere."""
        for _, limit in verification.criterion.limits.amounts:
            refused = refusal(field.name, limit, field.unit, self._index, self._units)
            if refused is not None:
                self._collected.messages.append(refused)
