"""From verifications to questions: which analysis, with which inputs, over which box."""

from __future__ import annotations

import json
from collections.abc import Collection, Container, Iterable, Mapping
from dataclasses import dataclass, field, replace

from closeout.graph.acceptance import UNLIMITED, Acceptance, acceptance
from closeout.graph.amounts import limits_in
from closeout.graph.asked import Asked, ComputedInput
from closeout.graph.bounds import crossed, exact_in, rounded
from closeout.graph.chains import Composed, composed, conversion
from closeout.graph.chances import chances_of, group_of, groups_of
from closeout.graph.findings import Spelling, comparable, error, in_order, is_unit
from closeout.graph.index import Index
from closeout.graph.inputs import Settings, input_of
from closeout.graph.limits import limits_of
from closeout.graph.links import LINKED_PARAMETER, Links, links
from closeout.graph.model_uncertainty import model_uncertainty
from closeout.graph.required import required_margins
from closeout.graph.temperatures import refusal
from closeout.measure import UnitError, Units
from closeout.model.amount import middle
from closeout.model.answer import Sought
from closeout.model.criterion import Condition, ExactLimits
from closeout.model.inputs_used import InputUsed
from closeout.model.problem import Finding, Pointer
from closeout.model.question import AnalysisSpec, Argument, Below, Field, Question
from closeout.model.records import BasisKind, ConditionKind, Parameter, Spread, Verification

NO_SPREAD = Spread()


@dataclass(frozen=True, slots=True)
class Plan:
    """What each verification by analysis asks, by requirement and number, and what is wrong.

    ``below`` is what is asked of the analyses below a question, in the order of its chain; it is
    found under the question's base.
    """

    index: Index
    asked: Mapping[tuple[str, int], Asked]
    findings: tuple[Finding, ...]
    units: Units
    review: str | None = None
    below: Mapping[Question, tuple[Below, ...]] = field(default_factory=dict)

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
    findings = tuple(dict.fromkeys(planner.findings))
    return Plan(index, asked, findings, units, review, below_of(asked.values(), planner.below))


def ask(
    verification: Verification, index: Index, units: Units, settings: Settings | None = None
) -> Asked:
    """Return what a verification by analysis would ask, whether or not the project plans it."""
    return _Planner(index, units, settings or {}, None).ask(verification, "")


def below_of(
    asked: Iterable[Asked], known: Mapping[Question, tuple[Below, ...]]
) -> dict[Question, tuple[Below, ...]]:
    """Return what is asked below each question; ``known`` is that of the analyses below."""
    own = {one.question.base: one.below for one in asked if one.question and one.below}
    return {**known, **own}


@dataclass(frozen=True, slots=True)
class _SetUp:
    """A question, what its inputs are made of, and what is below it."""

    question: Question
    inputs: tuple[InputUsed, ...]
    computed: tuple[ComputedInput, ...] = ()
    below: tuple[Below, ...] = ()


def _wanted(index: Index, links: Links) -> Mapping[str, set[str]]:
    """Return the quantities that are asked of each analysis, under whichever of its names."""
    found: dict[str, set[str]] = {}
    for source in links.taken:
        found.setdefault(source.spec.name, set()).add(source.field.name)
    for _, _, verification in index.project.verifications():
        spec = index.analyses.get(verification.analysis or "")
        if spec is not None:
            found.setdefault(spec.name, set()).add(verification.criterion.quantity or "")
    return found


def _limited_ends(index: Index, links: Links) -> Mapping[str, set[tuple[str, str]]]:
    """Return which ends of quantities something rests on, by the full name of the analysis."""
    found: dict[str, set[tuple[str, str]]] = {}
    for source in links.taken:
        ends = found.setdefault(source.spec.name, set())
        ends |= {(source.field.name, "low"), (source.field.name, "high")}
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
        self._whole: dict[tuple[str, bool], Composed] = {}
        self._links = links(index, units)
        self._wanted = _wanted(index, self._links)
        self._ends = _limited_ends(index, self._links)
        self._faults: list[str] = []
        self.findings: list[Finding] = []
        self.below: dict[Question, tuple[Below, ...]] = {}

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
            asked = Asked(
                verification, spec, set_up.question, set_up.inputs, held,
                computed=set_up.computed, below=set_up.below,
            )  # fmt: skip
            asked = self._of_basis(asked, set_up.question, seed)
        except UnitError as wrong:  # with the uncertainty of the model
            self._wrong("unit", verification.where, wrong.message, wrong.cure)
        return Asked(verification, spec, fault=self._fault()) if self._faults else asked

    def _check_independent(self, asked: Asked) -> None:
        """Root sum square holds for independent parameters only."""
        members: dict[str, list[str]] = {}
        for one in asked.inputs:
            if one.low is None or one.side:
                continue
            group = group_of(one.name, self._index.parameters)
            if group:
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
        whole = self._composed(spec, is_nominal)
        self.conditions(verification, spec, whole)
        found = self._inputs(verification, whole)
        self._not_given(verification, found)
        if len(self._faults) > before or len(found) < len(whole.roots):
            return None
        self._set_ups[key] = self._asking(verification, spec, whole, [one for one, _ in found])
        return self._set_ups[key]

    def _asking(
        self,
        verification: Verification,
        spec: AnalysisSpec,
        whole: Composed,
        roots: Iterable[InputUsed],
    ) -> _SetUp:
        """Return the question of an analysis, whose inputs are known, and what is below it."""
        is_nominal = verification.basis.kind is BasisKind.NOMINAL
        sides = [replace(one, low=None, high=None) if is_nominal else one for one in whole.sides]
        known = (*roots, *sides)
        point = tuple((one.name, one.value) for one in known)
        box = tuple(
            (one.name, one.low, one.high)
            for one in known
            if one.low is not None and one.high is not None
        )
        question = Question(spec.name, point, box, chain=whole.chain)
        if box:
            wanted = json.dumps(sorted(self._wanted[spec.name]), separators=(",", ":"))
            most = spec.evaluations or self._index.project.charter.policy.evaluations
            ends = tuple(sorted(self._ends[spec.name]))
            question = question._replace(detail=wanted, ends=ends, evaluations=most)
        below = tuple(self._below(verification, member, known) for member in whole.members)
        if below:
            self.below[question.base] = below
        return _SetUp(question, known, self._computed(whole), below)

    def _below(
        self, verification: Verification, spec: AnalysisSpec, above: Iterable[InputUsed]
    ) -> Below:
        """Return what is asked of an analysis below, under the same conditions."""
        whole = self._composed(spec, verification.basis.kind is BasisKind.NOMINAL)
        taken = {argument.name for argument, _ in whole.roots}
        criterion = verification.criterion
        given = tuple(one for one in criterion.given if one[0] in taken)
        asking = replace(verification, criterion=replace(criterion, given=given))
        roots = [one for one, _ in self._inputs(asking, whole)]
        set_up = self._asking(asking, spec, whole, roots)
        question, units = set_up.question, {one.name: one.unit for one in above}
        conversions = tuple(
            (one.name, conversion(one.unit, units[one.name], self._units)) for one in set_up.inputs
        )
        return Below(question, conversions)

    def _computed(self, whole: Composed) -> tuple[ComputedInput, ...]:
        linked = () if whole.chain is None else whole.chain.linked
        return tuple(
            ComputedInput(
                one.variable,
                self._links.unit(one.variable),
                str(self._index.linked[one.variable].link),
            )
            for one in linked
        )

    def _composed(self, spec: AnalysisSpec, is_nominal: bool) -> Composed:
        """Return an analysis with what is below it; a what-if may move or state a linked input."""
        key = (spec.name, is_nominal)
        if key not in self._whole:
            moved, replaced = {}, []
            for name, setting in self._settings.items():
                if name not in self._index.linked or name not in self._links.sources:
                    continue
                if setting.value is None or setting.spread is not None or is_nominal:
                    replaced.append(name)
                else:
                    moved[name] = self._units.nearest(setting.value, self._links.unit(name))
            self._whole[key] = composed(
                spec, self._index, self._links, self._units, moved, replaced
            )
        whole = self._whole[key]
        self._faults += whole.faults
        for finding in whole.findings:
            self._found(finding)
        return whole

    def _inputs(
        self, verification: Verification, whole: Composed
    ) -> list[tuple[InputUsed, AnalysisSpec]]:
        """Return the inputs of a whole chain that can be read, each with who takes it first."""
        found = [
            (self._input(argument, verification, taker), taker) for argument, taker in whole.roots
        ]
        return [(one, taker) for one, taker in found if one is not None]

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

    def conditions(
        self,
        verification: Verification,
        spec: AnalysisSpec | None = None,
        whole: Composed | None = None,
    ) -> None:
        """Check the conditions that a verification gives."""
        known = self._index.parameters
        taken = None if whole is None else {argument.name for argument, _ in whole.roots}
        for name, given in verification.criterion.given:
            where = verification.where / "given" / name
            parameter = known.get(name)
            if parameter is not None:
                self._condition(parameter, given, where)
            elif name in self._index.linked:
                self._wrong(
                    LINKED_PARAMETER, where,
                    f"given is for conditions only; {name} is found by"
                    f" {self._index.linked[name].link}",
                    "give the conditions of the analysis that computes it",
                )  # fmt: skip
            elif self._index.is_absent(name, known):
                self._wrong(
                    "dangling-reference", where, f"there is no parameter {name}",
                    self._spelling.cure("parameter", name, known, "add the parameter"),
                )  # fmt: skip
            else:
                self._faults.append(f"the parameter {name} cannot be used")
            if spec is not None and taken is not None and name not in taken and parameter:
                below = ", nor does an analysis below it" if whole and whole.members else ""
                self._wrong(
                    "given-unused", where, f"{spec.function} does not take {name}{below}",
                    "remove the condition, or make it an argument of the analysis",
                )  # fmt: skip

    def _not_given(
        self, verification: Verification, inputs: Iterable[tuple[InputUsed, AnalysisSpec]]
    ) -> None:
        """Find each condition that an analysis takes and its criterion leaves out."""
        given = dict(verification.criterion.given)
        for used, taker in inputs:
            if used.condition is ConditionKind.GIVEN and used.name not in given:
                self._wrong(
                    "condition-not-given", verification.where,
                    f"{taker.function} takes the condition {used.name}, which the criterion does"
                    f" not give: {used.written} would be used",
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
        parameter = known.get(name) or self._stated(name)
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

    def _stated(self, name: str) -> Parameter | None:
        """Return a linked parameter as a what-if states it, None where none does."""
        one, setting = self._index.linked.get(name), self._settings.get(name)
        if one is None or setting is None or name not in self._links.sources:
            return None
        value = setting.value
        if value is None:
            low, high = setting.ends
            value = middle(low, high) if low.unit == high.unit else low
        spread = NO_SPREAD if setting.spread is None else setting.spread
        return Parameter(one.where, name, value, spread, source=one.source)

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
        if not self._index.is_absent(name, known) or name in self._index.linked:
            self._faults.append(f"the parameter {name} cannot be used")
            return
        example = f"{{value: ... {argument.unit}}}"
        otherwise = f"add {name}: {example} to a YAML file in analyses/"
        self._wrong(
            "unknown-parameter", Pointer(spec.path, (spec.line,)),
            f"{spec.name} takes {name}, and there is no such parameter",
            self._spelling.cure("parameter", name, known, otherwise),
        )  # fmt: skip
