"""From verifications to questions: which analysis, with which inputs, over which box."""

from __future__ import annotations

import json
from collections.abc import Collection, Container, Iterable, Mapping
from dataclasses import dataclass, replace

from closeout.graph.acceptance import UNLIMITED, Acceptance, acceptance
from closeout.graph.amounts import limits_in
from closeout.graph.asked import Asked
from closeout.graph.bounds import crossed, exact_in, rounded
from closeout.graph.chances import chances_of, groups_of
from closeout.graph.findings import Spelling, comparable, error, in_order, is_unit
from closeout.graph.index import Index
from closeout.graph.inputs import Settings, input_of
from closeout.graph.limits import limits_of
from closeout.graph.model_uncertainty import model_uncertainty
from closeout.graph.required import required_margins
from closeout.graph.temperatures import refusal
from closeout.measure import UnitError, Units
from closeout.model.answer import Sought
from closeout.model.criterion import Condition, ExactLimits
from closeout.model.inputs_used import InputUsed
from closeout.model.problem import Finding, Pointer
from closeout.model.question import AnalysisSpec, Argument, Field, Question
from closeout.model.records import BasisKind, ConditionKind, Parameter, Verification


@dataclass(frozen=True, slots=True)
class Plan:
    """What each verification by analysis asks, by requirement and number, and what is wrong."""

    index: Index
    asked: Mapping[tuple[str, int], Asked]
    findings: tuple[Finding, ...]
    units: Units
    review: str | None = None

    @property
    def questions(self) -> tuple[Question, ...]:
        """The questions, each once, in the order of the project."""
        found = (question for asked in self.asked.values() for question in asked.questions)
        return tuple(dict.fromkeys(found))

    def of(self, requirements: Collection[str] | None) -> Plan:
        """Return the part of the plan that serves some requirements; None takes it whole."""
        if requirements is None:
            return self
        part = {key: asked for key, asked in self.asked.items() if key[0] in requirements}
        return replace(self, asked=part)

    def limits(self, questions: Container[Question]) -> Mapping[Question, tuple[Sought, ...]]:
        """Return the limits of all verdicts that the answers to some questions serve."""
        return limits_of(questions, self.asked, self.index, self.units, self.review)


def plan(
    index: Index, units: Units, settings: Settings | None = None, review: str | None = None
) -> Plan:
    """Return the questions of every verification by analysis, at a review (None: the last one).

    A requirement whose identifier is taken already is looked at, but nothing is asked for it.
    """
    planner = _Planner(index, units, settings or {}, review)
    asked: dict[tuple[str, int], Asked] = {}
    for requirement, number, verification in index.project.verifications():
        if verification.analysis is None:
            planner.conditions(verification)
            continue
        one = planner.ask(verification, requirement.id)
        if index.requirements[requirement.id] is requirement:
            asked[requirement.id, number] = one
    return Plan(index, asked, tuple(dict.fromkeys(planner.findings)), units, review)


def ask(
    verification: Verification, index: Index, units: Units, settings: Settings | None = None
) -> Asked:
    """Return what a verification by analysis would ask, whether or not the project plans it."""
    return _Planner(index, units, settings or {}, None).ask(verification, "")


@dataclass(frozen=True, slots=True)
class _SetUp:
    """A question, and what its inputs are made of."""

    question: Question
    inputs: tuple[InputUsed, ...]


def _wanted(index: Index) -> Mapping[str, set[str]]:
    """Return the quantities that are asked of each analysis, under whichever of its names."""
    found: dict[str, set[str]] = {}
    for _, _, verification in index.project.verifications():
        spec = index.analyses.get(verification.analysis or "")
        if spec is not None:
            found.setdefault(spec.name, set()).add(verification.criterion.quantity or "")
    return found


def _limited_ends(index: Index) -> Mapping[str, set[tuple[str, str]]]:
    """Return which ends of quantities verifications limit, by the full name of the analysis."""
    found: dict[str, set[tuple[str, str]]] = {}
    for _, _, verification in index.project.verifications():
        spec = index.analyses.get(verification.analysis or "")
        if spec is not None:
            limits = verification.criterion.limits
            both = limits.equal_to is not None
            name, ends = verification.criterion.quantity or "", found.setdefault(spec.name, set())
            ends |= {(name, "low")} if both or limits.at_least is not None else set()
            ends |= {(name, "high")} if both or limits.at_most is not None else set()
    return found


class _Planner:
    """Makes questions one after another; what is wrong goes to ``findings``.

    ``_faults`` are the messages of the verification at hand, of findings and of what was told
    elsewhere already.
    """

    def __init__(self, index: Index, units: Units, settings: Settings, review: str | None) -> None:
        self._index = index
        self._review = review
        self._units = units
        self._settings = settings
        self._spelling = Spelling(self._index.renamed)
        self._set_ups: dict[tuple[object, ...], _SetUp] = {}
        self._wanted = _wanted(index)
        self._ends = _limited_ends(index)
        self._faults: list[str] = []
        self.findings: list[Finding] = []

    def ask(self, verification: Verification, seed: str) -> Asked:
        """Return what a verification by analysis asks; ``seed`` makes its samples repeat."""
        self._faults = []
        spec = self._spec(verification)
        if spec is None:
            self.conditions(verification)
            return Asked(verification, fault=self._fault())
        quantity = self._quantity(verification, spec)
        limits = UNLIMITED if quantity is None else self._limits(verification, quantity)
        uncertainty = None if quantity is None else model_uncertainty(spec, quantity, self._units)
        if isinstance(uncertainty, Finding):
            self._found(uncertainty)
        set_up = self._set_up(verification, spec)
        if set_up is None or isinstance(uncertainty, Finding) or self._faults:
            return Asked(verification, spec, fault=self._fault())
        try:
            held = acceptance(limits, uncertainty)
            asked = Asked(verification, spec, set_up.question, set_up.inputs, held)
            asked = self._of_basis(asked, set_up.question, seed)
        except UnitError as wrong:  # with the uncertainty of the model
            self._wrong("unit", verification.where, wrong.message, wrong.cure)
        return Asked(verification, spec, fault=self._fault()) if self._faults else asked

    def _check_independent(self, asked: Asked) -> None:
        """Root sum square holds for independent parameters only."""
        members: dict[str, list[str]] = {}
        for one in asked.inputs:
            group = self._index.parameters[one.name].group
            if one.low is not None and not one.side and group:
                members.setdefault(group, []).append(one.name)
        for group, names in members.items():
            if len(names) > 1:
                self._wrong(
                    "dependent-parameters", asked.verification.where / "basis",
                    f"{', '.join(names)} are correlated (group {group}), and root sum square is"
                    " for independent parameters only",
                    "write basis: worst case, or a probability, which keeps the correlation",
                )  # fmt: skip

    def _of_basis(self, asked: Asked, question: Question, seed: str) -> Asked:
        """Return what is asked of the worst case as the basis of the verification asks it."""
        verification, parameters = asked.verification, self._index.parameters
        if verification.basis.kind in (BasisKind.ROOT_SUM_SQUARE, BasisKind.PROBABILITY):
            question = question._replace(ends=(), evaluations=None)
        if verification.basis.kind is BasisKind.ROOT_SUM_SQUARE:
            self._check_independent(asked)
            assert asked.spec is not None
            detail = groups_of(asked.inputs, parameters, asked.spec.fields)
            question = question._replace(kind="root sum square", detail=detail)
            return replace(asked, question=question)
        if verification.basis.kind is BasisKind.PROBABILITY:
            # Of what, as long as a limit is not decided?
            undecided = asked.acceptance.undecided
            asking = replace(asked, question=None)
            return asking if undecided else self._chance(asked, question, seed)
        return asked

    def _chance(self, asked: Asked, question: Question, seed: str) -> Asked:
        """Return what is asked of a probability: whether the criterion holds, and with margin."""
        verification, spec = asked.verification, asked.spec
        quantity = verification.criterion.quantity
        field = None if spec is None or quantity is None else spec.field(quantity)

        def asking(held: Acceptance) -> Question:
            parameters = self._index.parameters
            detail = chances_of(verification, seed, asked.inputs, parameters, held.bounds)
            return question._replace(kind="probability", detail=detail)

        margins = []
        for margin in required_margins(quantity, self._index, self._review) if field else ():
            assert field is not None
            try:
                limits = margin.on(verification.criterion.limits, field.unit, self._units)
                held = acceptance(limits, asked.acceptance.model)
            except UnitError as wrong:
                message = f"the margin {margin.amount} of {quantity}: {wrong.message}"
                cure = "write a share in %, or a difference"
                self._wrong("unit", verification.where, message, cure)
            else:
                if limits != asked.acceptance.limits:
                    margins.append((margin, asking(held)))
        return replace(asked, question=asking(asked.acceptance), margins=tuple(margins))

    def _fault(self) -> str:
        return "; ".join(dict.fromkeys(self._faults))

    def _found(self, finding: Finding) -> None:
        self.findings.append(finding)
        self._faults.append(finding.message)

    def _wrong(self, rule: str, where: Pointer, message: str, cure: str) -> None:
        self._found(error(rule, where, message, cure))

    def _set_up(self, verification: Verification, spec: AnalysisSpec) -> _SetUp | None:
        """Return the question under a verification's conditions; most verifications share one."""
        is_nominal = verification.basis.kind is BasisKind.NOMINAL
        key = (spec.name, verification.criterion.given, is_nominal)
        if key in self._set_ups:
            return self._set_ups[key]
        before = len(self._faults)
        self.conditions(verification, spec)
        inputs = [self._input(argument, verification, spec) for argument in spec.arguments]
        known = tuple(one for one in inputs if one is not None)
        self._not_given(verification, spec, known)
        if len(self._faults) > before:
            return None
        point = tuple((one.name, one.value) for one in known)
        box = tuple(
            (one.name, one.low, one.high)
            for one in known
            if one.low is not None and one.high is not None
        )
        question = Question(spec.name, point, box)
        if box:
            wanted = json.dumps(sorted(self._wanted[spec.name]), separators=(",", ":"))
            most = spec.evaluations or self._index.project.charter.policy.evaluations
            ends = tuple(sorted(self._ends[spec.name]))
            question = question._replace(detail=wanted, ends=ends, evaluations=most)
        self._set_ups[key] = _SetUp(question, known)
        return self._set_ups[key]

    def _spec(self, verification: Verification) -> AnalysisSpec | None:
        name = verification.analysis
        assert name is not None
        index, where = self._index, verification.where / "analysis"
        if name in index.analyses:
            return index.analyses[name]
        if name in index.shared:
            self._wrong(
                "ambiguous-analysis", where,
                f"{name} is the name of several analyses",
                f"write one of {', '.join(index.shared[name])}",
            )  # fmt: skip
        elif name in index.left_out or not index.code:
            self._faults.append(f"the analysis {name} cannot be used")
        else:
            otherwise = f"write a function {name} with @analysis, or leave the key out for now"
            self._wrong(
                "unknown-analysis", where, f"there is no analysis {name} in analyses/",
                self._spelling.cure("analysis", name, index.analyses, otherwise),
            )  # fmt: skip
        return None

    def _quantity(self, verification: Verification, spec: AnalysisSpec) -> Field | None:
        criterion, where = verification.criterion, verification.where
        name, listed = criterion.quantity, ", ".join(field.name for field in spec.fields)
        if name is None:
            self._wrong(
                "unknown-quantity", where / "analysis",
                f"the criterion names no quantity of {spec.function}",
                f"add quantity: and a limit; the analysis returns {listed}",
            )  # fmt: skip
            return None
        field = spec.field(name)
        if field is None:
            names = [field.name for field in spec.fields]
            self._wrong(
                "unknown-quantity", where / "quantity",
                f"{spec.function} returns no quantity {name}",
                self._spelling.cure(spec.name, name, names, f"it returns {listed}"),
            )  # fmt: skip
        elif criterion.cases_at_least is not None and not field.by_case:
            self._wrong(
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
                self._found(finding)
            if not found:  # each end is a double, their sum or difference is none
                self._wrong("unit", where / "within", wrong.message, wrong.cure)
            return UNLIMITED
        if crossed(limits, self._units) is not None:
            for finding in limits_in(limits, field.unit, where, self._units):
                self._found(finding)
        return exact

    def _refuse_differences(self, verification: Verification, field: Field) -> None:
        """Judge no difference of temperatures against a point on a scale; it is told elsewhere."""
        for _, limit in verification.criterion.limits.amounts:
            refused = refusal(field.name, limit, field.unit, self._index, self._units)
            if refused is not None:
                self._faults.append(refused)

    def conditions(self, verification: Verification, spec: AnalysisSpec | None = None) -> None:
        """Check the conditions that a verification gives."""
        arguments = None if spec is None else {argument.name for argument in spec.arguments}
        for name, given in verification.criterion.given:
            where = verification.where / "given" / name
            parameter = self._index.parameters.get(name)
            if parameter is not None:
                self._condition(parameter, given, where)
            elif self._index.is_absent(name, self._index.parameters):
                known = self._index.parameters
                self._wrong(
                    "dangling-reference", where, f"there is no parameter {name}",
                    self._spelling.cure("parameter", name, known, "add the parameter"),
                )  # fmt: skip
            else:
                self._faults.append(f"the parameter {name} cannot be used")
            if spec is not None and arguments is not None and name not in arguments and parameter:
                self._wrong(
                    "given-unused", where, f"{spec.function} does not take {name}",
                    "remove the condition, or make it an argument of the analysis",
                )  # fmt: skip

    def _not_given(
        self, verification: Verification, spec: AnalysisSpec, inputs: Iterable[InputUsed]
    ) -> None:
        """Find each condition that an analysis takes and its criterion leaves out."""
        given = dict(verification.criterion.given)
        for used in inputs:
            if used.condition is ConditionKind.GIVEN and used.name not in given:
                self._wrong(
                    "condition-not-given", verification.where,
                    f"{spec.function} takes the condition {used.name}, which the criterion does not"
                    f" give: {used.written} would be used",
                    f"write given: {{{used.name}: ...}} as in the statement, or condition:"
                    " declared where the declared value is the project's environment",
                )  # fmt: skip

    def _condition(self, parameter: Parameter, given: Condition, where: Pointer) -> None:
        if not parameter.condition:
            self._wrong(
                "given-no-condition", where,
                f"given is for conditions only; {parameter.id} is a design value",
                "write condition: true at the parameter if it is one, else change its value",
            )  # fmt: skip
        unit = parameter.value.unit
        for number, end in enumerate(given.ends):
            place = where / number if given.is_range else where
            if is_unit(unit, self._units):
                for finding in comparable(end, unit, place, self._units):
                    self._found(finding)
        if given.is_range:
            message, cure = "the low end {low} is above the high end {high}", "exchange the two"
            for finding in in_order(
                given.ends, "bad-spread", where / 0, message, cure, self._units
            ):
                self._found(finding)

    def _input(
        self, argument: Argument, verification: Verification, spec: AnalysisSpec
    ) -> InputUsed | None:
        name, known = argument.name, self._index.parameters
        parameter = known.get(name)
        if parameter is None:
            self._no_parameter(argument, spec)
            return None
        refused = refusal(name, parameter.value, argument.unit, self._index, self._units)
        if refused is not None:
            self._faults.append(refused)
            return None
        given = dict(verification.criterion.given).get(name)
        setting = self._settings.get(name)
        kind = verification.basis.kind
        try:
            policy = self._index.project.charter.policy
            found = input_of(argument, parameter, given, setting, kind, self._units, policy)
        except UnitError as wrong:
            self._does_not_fit(argument, parameter, spec, wrong)
            return None
        if found.low is None or found.high is None or found.low <= found.value <= found.high:
            return found
        # Told as a problem of the parameter; a box without the value proves nothing about it.
        self._faults.append(f"the value of {name} is outside its range")
        return None

    def _does_not_fit(
        self, argument: Argument, parameter: Parameter, spec: AnalysisSpec, wrong: UnitError
    ) -> None:
        """Blame the parameter's value, or take note of what is told where it stands."""
        message = f"{parameter.id} for {spec.name}: {wrong.message}"
        try:
            self._units.nearest(parameter.value, argument.unit)
        except UnitError as its_own:
            if is_unit(parameter.value.unit, self._units):
                self._wrong("unit", parameter.where / "value", message, its_own.cure)
                return
        self._faults.append(message)

    def _no_parameter(self, argument: Argument, spec: AnalysisSpec) -> None:
        name, known = argument.name, self._index.parameters
        if not self._index.is_absent(name, known):
            self._faults.append(f"the parameter {name} cannot be used")
            return
        example = f"{{value: ... {argument.unit}}}"
        otherwise = f"add {name}: {example} to a YAML file in analyses/"
        self._wrong(
            "unknown-parameter", Pointer(spec.path, (spec.line,)),
            f"{spec.name} takes {name}, and there is no such parameter",
            self._spelling.cure("parameter", name, known, otherwise),
        )  # fmt: skip
