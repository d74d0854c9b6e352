"""From verifications to questions: which analysis, with which inputs, over which box.

Order of precedence for an input: ``--set``, then the verification's ``given``, then the parameter.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from closeout.graph.checks import comparable, error, nearest
from closeout.graph.index import Index
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.dossier import InputUsed
from closeout.model.problem import Finding, Pointer
from closeout.model.question import AnalysisSpec, Argument, Field, Question
from closeout.model.records import BasisKind, Criterion, Limits, Parameter, Verification

# The worst case of a normal distribution is taken at three standard deviations: common practice,
# ECSS-Q-HB-30-01A works with the same figure.
SIGMAS = 3

Settings = Mapping[str, Amount]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Limits as doubles in the quantity's own unit, each rounded once from its exact value."""

    at_least: float | None = None
    at_most: float | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """What one verification asks: a question, or why none can be asked (``fault``).

    ``pending`` is why a question is not asked though nothing is wrong.
    """

    verification: Verification
    spec: AnalysisSpec | None = None
    question: Question | None = None
    inputs: tuple[InputUsed, ...] = ()
    bounds: Bounds = Bounds()
    fault: str | None = None
    pending: str | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """What each verification by analysis asks, by requirement and number, and what is wrong."""

    asked: Mapping[tuple[str, int], Asked]
    findings: tuple[Finding, ...]

    @property
    def questions(self) -> tuple[Question, ...]:
        """The questions, each once, in the order of the project."""
        found = (asked.question for asked in self.asked.values() if asked.question is not None)
        return tuple(dict.fromkeys(found))

    def of(self, requirements: Collection[str] | None) -> Plan:
        """Return the part of the plan that serves some requirements; None takes it whole."""
        if requirements is None:
            return self
        part = {key: asked for key, asked in self.asked.items() if key[0] in requirements}
        return Plan(part, self.findings)


def plan(index: Index, units: Units, settings: Settings | None = None) -> Plan:
    """Return the questions of every verification by analysis."""
    planner = _Planner(index, units, settings or {})
    asked: dict[tuple[str, int], Asked] = {}
    for requirement, number, verification in index.project.verifications():
        if verification.analysis is not None:
            asked[requirement.id, number] = planner.ask(verification)
        else:
            planner.conditions(verification)
    return Plan(asked, tuple(dict.fromkeys(planner.findings)))


@lru_cache(maxsize=100_000)
def bounds_in(limits: Limits, unit: str, units: Units) -> Bounds:
    """Return limits in a quantity's unit.

    Raises:
        UnitError: a limit cannot be compared with the unit.
    """
    if limits.equal_to is not None and limits.within is not None:
        middle = units.convert(limits.equal_to, unit)
        half = units.tolerance(limits.equal_to, limits.within, unit)
        return Bounds(float(middle - half), float(middle + half))
    low = None if limits.at_least is None else units.nearest(limits.at_least, unit)
    high = None if limits.at_most is None else units.nearest(limits.at_most, unit)
    return Bounds(low, high)


@dataclass(frozen=True, slots=True)
class _SetUp:
    """A question, and what its inputs are made of."""

    question: Question
    inputs: tuple[InputUsed, ...]


class _Planner:
    def __init__(self, index: Index, units: Units, settings: Settings) -> None:
        self._index = index
        self._units = units
        self._settings = settings
        self.findings: list[Finding] = []
        self._set_ups: dict[tuple[object, ...], _SetUp] = {}

    def ask(self, verification: Verification) -> Asked:
        """Return what a verification by analysis asks; what is wrong goes to the findings."""
        before = len(self.findings)
        spec = self._spec(verification)
        if spec is None:
            return Asked(verification, fault=self._fault(before))
        quantity = self._quantity(verification, spec)
        bounds = Bounds() if quantity is None else self._bounds(verification, quantity)
        set_up = self._set_up(verification, spec)
        if set_up is None or len(self.findings) > before:
            return Asked(verification, spec, fault=self._fault(before))
        if verification.basis.kind in (BasisKind.ROOT_SUM_SQUARE, BasisKind.PROBABILITY):
            text = f"the basis {verification.basis} is not evaluated by this version"
            return Asked(verification, spec, bounds=bounds, pending=text)
        return Asked(verification, spec, set_up.question, set_up.inputs, bounds)

    def _fault(self, before: int) -> str:
        return "; ".join(dict.fromkeys(finding.message for finding in self.findings[before:]))

    def _set_up(self, verification: Verification, spec: AnalysisSpec) -> _SetUp | None:
        """Return the question under a verification's conditions; most verifications share one."""
        is_nominal = verification.basis.kind is BasisKind.NOMINAL
        key = (spec.name, verification.criterion.given, is_nominal)
        if key in self._set_ups:
            return self._set_ups[key]
        before = len(self.findings)
        self.conditions(verification, spec)
        inputs = [self._input(argument, verification, spec) for argument in spec.arguments]
        known = [one for one in inputs if one is not None]
        if len(self.findings) > before or len(known) < len(inputs):
            return None
        question = Question(
            spec.name,
            tuple((one.name, one.value) for one in known),
            tuple(
                (one.name, one.low, one.high)
                for one in known
                if one.low is not None and one.high is not None
            ),
        )
        self._set_ups[key] = _SetUp(question, tuple(known))
        return self._set_ups[key]

    def _spec(self, verification: Verification) -> AnalysisSpec | None:
        name = verification.analysis
        assert name is not None
        index = self._index
        where = verification.where / "analysis"
        if name in index.analyses:
            return index.analyses[name]
        if name in index.shared:
            self._wrong(
                "ambiguous-analysis", where,
                f"{name} is the name of several analyses",
                f"write one of {', '.join(index.shared[name])}",
            )  # fmt: skip
            return None
        near = nearest(name, index.analyses)
        self._wrong(
            "unknown-analysis", where, f"there is no analysis {name} below analyses/",
            f"did you mean {near}?" if near
            else f"write a function {name} with @analysis, or leave out the key as yet",
        )  # fmt: skip
        return None

    def _quantity(self, verification: Verification, spec: AnalysisSpec) -> Field | None:
        name = verification.criterion.quantity
        where = verification.where / "quantity"
        if name is None:
            self._wrong(
                "unknown-quantity", verification.where / "analysis",
                f"no quantity of {spec.function} is named, so nothing can be judged",
                f"add quantity: and a limit; it returns {_listed(spec)}",
            )  # fmt: skip
            return None
        field = spec.field(name)
        if field is None:
            near = nearest(name, [field.name for field in spec.fields])
            self._wrong(
                "unknown-quantity", where,
                f"{spec.function} returns no quantity {name}",
                f"did you mean {near}?" if near else f"it returns {_listed(spec)}",
            )  # fmt: skip
        elif verification.criterion.cases_at_least is not None and not field.by_case:
            self._wrong(
                "unknown-quantity", verification.where / "cases",
                f"{name} of {spec.function} has no cases", "remove the key cases",
            )  # fmt: skip
        return field

    def _bounds(self, verification: Verification, field: Field) -> Bounds:
        limits = verification.criterion.limits
        faults = 0
        for key in ("at_least", "at_most", "equal_to"):
            amount = getattr(limits, key)
            if amount is not None:
                wrong = list(comparable(amount, field.unit, verification.where / key, self._units))
                faults += len(wrong)
                self.findings.extend(wrong)
        if faults:
            return Bounds()
        try:
            return bounds_in(limits, field.unit, self._units)
        except UnitError as wrong:
            self._wrong("unit", verification.where / "within", wrong.message, wrong.cure)
            return Bounds()

    def conditions(self, verification: Verification, spec: AnalysisSpec | None = None) -> None:
        """Check the conditions that a verification gives."""
        arguments = None if spec is None else {argument.name for argument in spec.arguments}
        for name, given in verification.criterion.given:
            where = verification.where / "given" / name
            parameter = self._index.parameters.get(name)
            if parameter is None:
                near = nearest(name, self._index.parameters)
                self._wrong(
                    "dangling-reference", where, f"there is no parameter {name}",
                    f"did you mean {near}?" if near else "add the parameter",
                )  # fmt: skip
                continue
            if not parameter.condition:
                self._wrong(
                    "given-no-condition", where,
                    f"given may set conditions only; {name} is a design value",
                    "mark the parameter condition: true if it is one, else change the parameter",
                )  # fmt: skip
            elif arguments is not None and name not in arguments:
                self._wrong(
                    "given-unused", where, f"{spec and spec.function} does not take {name}",
                    "remove the condition, or make it an argument of the analysis",
                )  # fmt: skip
            for end in given if isinstance(given, tuple) else (given,):
                self.findings.extend(comparable(end, parameter.value.unit, where, self._units))

    def _input(
        self, argument: Argument, verification: Verification, spec: AnalysisSpec
    ) -> InputUsed | None:
        given = dict(verification.criterion.given).get(argument.name)
        parameter = self._index.parameters.get(argument.name)
        if parameter is None:
            near = nearest(argument.name, self._index.parameters)
            self._wrong(
                "unknown-parameter", Pointer(spec.path, (spec.line,)),
                f"{spec.name} takes {argument.name}, and there is no such parameter",
                f"did you mean {near}?" if near
                else f"add {argument.name}: {{value: ... {argument.unit}}} to a YAML file"
                " below analyses/",
            )  # fmt: skip
            return None
        try:
            return self._converted(argument, parameter, given, verification.basis.kind)
        except UnitError as wrong:
            self._wrong(
                "unit", parameter.where / "value",
                f"{argument.name} for {spec.name}: {wrong.message}", wrong.cure,
            )  # fmt: skip
            return None

    def _converted(
        self,
        argument: Argument,
        parameter: Parameter,
        given: Amount | tuple[Amount, Amount] | None,
        kind: BasisKind,
    ) -> InputUsed:
        unit = argument.unit
        setting = self._settings.get(parameter.id)
        text, origin, spread = parameter.value.text, "parameter", spread_text(parameter)
        value = self._units.convert(parameter.value, unit)
        ends = self._ends(parameter, parameter.value, unit)
        if setting is not None:
            text, origin = setting.text, "set"
            moved = self._units.convert(setting, unit)
            ends = self._ends(parameter, setting, unit, moved - value)
            value = moved
        elif isinstance(given, tuple):
            low, high = sorted(self._units.convert(end, unit) for end in given)
            text, origin = f"{given[0].text} to {given[1].text}", "given"
            spread, ends = "", (low, high)
            value = min(max(value, low), high)
        elif given is not None:
            text, origin, spread, ends = given.text, "given", "", None
            value = self._units.convert(given, unit)
        if kind is BasisKind.NOMINAL and not (origin == "given" and ends):
            ends = None
        low_end, high_end = (None, None) if ends is None else (float(ends[0]), float(ends[1]))
        return InputUsed(
            name=parameter.id, unit=unit, value=float(value), low=low_end, high=high_end,
            text=text, spread=spread, source=parameter.source, maturity=parameter.maturity,
            condition=parameter.condition, origin=origin,
        )  # fmt: skip

    def _ends(
        self, parameter: Parameter, value: Amount, unit: str, moved: Fraction = Fraction(0)
    ) -> tuple[Fraction, Fraction] | None:
        """Return the ends of a parameter's spread about a value; None where it has none.

        A range keeps its distances where a what-if has moved the value.
        """
        spread = parameter.spread
        if spread.range is not None:
            low, high = (self._units.convert(end, unit) + moved for end in spread.range)
            return low, high
        # Parts of a tolerance act together on the bad side: ECSS-Q-HB-30-01A, extreme value.
        parts = [self._units.tolerance(value, amount, unit) for _, amount in spread.tolerance]
        if spread.sigma is not None:
            parts = [SIGMAS * self._units.tolerance(value, spread.sigma, unit)]
        if not parts:
            return None
        middle, half = self._units.convert(value, unit), sum(parts, Fraction(0))
        return middle - half, middle + half

    def _wrong(self, rule: str, where: Pointer, message: str, cure: str) -> None:
        self.findings.append(error(rule, where, message, cure))


def spread_text(parameter: Parameter) -> str:
    """Return a parameter's spread as it was written: ``+/- 10 uA``, ``3.20 A h to 3.45 A h``."""
    spread = parameter.spread
    if spread.range is not None:
        return f"{spread.range[0].text} to {spread.range[1].text}"
    if spread.sigma is not None:
        return f"sigma {spread.sigma.text}"
    parts = [
        f"{amount.text} ({name})" if name else amount.text for name, amount in spread.tolerance
    ]
    return "+/- " + " + ".join(parts) if parts else ""


def key_of_criterion(criterion: Criterion, units: Units) -> tuple[object, ...]:
    """Return what makes two criteria the same: quantity and limits as numbers, not as texts."""
    limits = criterion.limits
    key: list[object] = [criterion.quantity, criterion.cases_at_least]
    first = next((a for a in (limits.at_least, limits.at_most, limits.equal_to) if a), None)
    if first is None:
        return tuple(key)
    try:
        bounds = bounds_in(limits, first.unit, units)
        scale = units.scale(first.unit)
    except UnitError:
        return (*key, str(limits))

    def base(end: float | None) -> object:
        return None if end is None else float(Fraction(end) * scale.factor + scale.offset)

    return (*key, scale.dimension, base(bounds.at_least), base(bounds.at_most))


def _listed(spec: AnalysisSpec) -> str:
    return ", ".join(field.name for field in spec.fields)
