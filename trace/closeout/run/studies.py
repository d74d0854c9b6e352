"""Studies of verifications by analysis: each asked at the case with the least margin."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from inspect import cleandoc
from typing import Any

from closeout.arithmetic.study.break_even import worst_corner
from closeout.evaluate.describe import clean
from closeout.evaluate.engine import Evaluator
from closeout.graph import Index, Plan, Request
from closeout.graph.chances import assumed_of, spreads_of
from closeout.graph.possible import possible_ends
from closeout.judge.ends import point_that_decides
from closeout.measure import UnitError, Units
from closeout.model.answer import Answer, Assurance, Bounds, Decided, Extent
from closeout.model.inputs_used import CHAIN, InputUsed
from closeout.model.question import AnalysisSpec, Failure, Question
from closeout.model.records import BasisKind
from closeout.model.reply import Reply
from closeout.model.study import (
    Axis,
    Boundary,
    BreakEven,
    Coordinate,
    Edge,
    Ends,
    Given,
    Helper,
    Lines,
    Plane,
    Slope,
    Study,
    StudyFound,
)

Key = tuple[str, int]

# A reference of a docstring to other code: :func:`name`.
_ROLE = re.compile(r":[a-z]+:`~?([^`]*)`")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Of which requirements studies are wanted (None: all), and what is to be in them.

    ``boundary`` names two parameters; empty stands for the two that drive most, None for none.
    ``quantile`` is a share of all values and the confidence with which its bounds are to hold;
    without it they are those of a probability, where one is asked.
    ``attached`` asks for the figures and files of the analyses too, ``marches`` for break-even
    values also where each evaluation may take long, ``differentiated`` for the derivatives by the
    strongest drivers as formulas.
    """

    requirements: Collection[str] | None
    boundary: tuple[str, ...] | None = None
    quantile: tuple[float, float] | None = None
    attached: bool = False
    marches: bool = True
    differentiated: bool = True


@dataclass(frozen=True, slots=True)
class Ready:
    """A verification whose study can be asked: its case, and the extent of that over the box.

    ``failed`` is why there is no extent over the box, None where there is one.
    """

    asked: Request
    spec: AnalysisSpec
    question: Question
    case: str | None
    extent: Extent
    assurance: Assurance
    quantile: tuple[float, float] | None
    failed: str | None


def studies(
    wanted: Wanted,
    plan: Plan,
    index: Index,
    units: Units,
    evaluator: Evaluator,
    replies: Mapping[Question, Reply],
) -> tuple[Study, ...]:
    """Return a study of each wanted verification that asks something and has an answer.

    ``replies`` are those that are known already. Whatever the basis, the worst case of the box
    says where the other inputs are worst; where only that fails, those stay at nominal.
    """
    ready = questions(wanted, plan, index, units, evaluator, replies)
    specs = {spec.name: spec for spec in index.specs}
    asked = dict.fromkeys(one.question for one in ready.values())
    result = evaluator.study(StudyFound, asked, specs, plan.below)
    return tuple(_study(key, one, result[one.question], index, units) for key, one in ready.items())


def questions(
    wanted: Wanted,
    plan: Plan,
    index: Index,
    units: Units,
    evaluator: Evaluator,
    replies: Mapping[Question, Reply],
) -> dict[Key, Ready]:
    """Return what a study of each wanted verification asks, by requirement and number."""
    specs = {spec.name: spec for spec in index.specs}
    asking = plan.of(wanted.requirements).requests.items()
    worst = {key: _worst_case(one) for key, one in asking if one.question is not None}
    missing = [question for question in worst.values() if question not in replies]
    known = {**replies, **evaluator.answer(dict.fromkeys(missing), specs, below=plan.below)}
    asker = _Asker(wanted, index, units, known)
    found = {
        key: asker.ready(key[0], plan.requests[key], question) for key, question in worst.items()
    }
    return {key: one for key, one in found.items() if one is not None}


def _worst_case(asked: Request) -> Question:
    question = asked.question
    assert question is not None
    if question.kind == "worst case":
        return question
    detail = json.dumps([asked.verification.criterion.quantity], separators=(",", ":"))
    return question._replace(kind="worst case", detail=detail)


@dataclass(frozen=True, slots=True)
class _Asker:
    """Makes the questions of studies from what is known of the worst cases."""

    wanted: Wanted
    index: Index
    units: Units
    replies: Mapping[Question, Reply]

    def ready(self, requirement: str, asked: Request, worst: Question) -> Ready | None:
        """Return the question of a study, of the case with the least margin.

        None where no case has a value. Of a basis other than the worst case, that one may fail
        alone, as at three sigma; then the ends are unknown, and the other inputs stay as given.
        """
        answer, failed = self.replies[worst].result, None
        own = None if asked.question is None else self.replies.get(asked.question)
        if isinstance(answer, Failure) and own is not None:
            failed, answer = answer.message, own.result
        if asked.spec is None or not isinstance(answer, Answer):
            return None
        quantity, bounds = asked.verification.criterion.quantity or "", asked.tightened
        cases = [
            (_margin(extent, bounds), number, case, extent)
            for number, (case, extent) in enumerate(answer.of(quantity))
            if extent.value is not None and extent.absent is None
        ]
        if not cases:
            return None
        _, _, case, extent = min(cases, key=lambda one: one[:2])
        if failed is not None:
            extent = Extent(extent.value)
        quantile = self.wanted.quantile or _required(asked)
        detail = self._detail(requirement, asked, asked.spec, case, extent, quantile)
        question = worst._replace(kind="study", detail=json.dumps(detail, separators=(",", ":")))
        assurance = answer.assurance
        return Ready(asked, asked.spec, question, case, extent, assurance, quantile, failed)

    def _detail(
        self,
        requirement: str,
        asked: Request,
        spec: AnalysisSpec,
        case: str | None,
        extent: Extent,
        quantile: tuple[float, float] | None,
    ) -> dict[str, Any]:
        bounds = asked.tightened
        decided = None if self.wanted.quantile else _decided(asked, case, self.replies)
        parameters = self.index.parameters
        known = {used.name for used in asked.inputs}
        # Where a chain is cut, its points say what is computed, and no inputs below say that.
        settable = known | {one.name for one in asked.computed}
        return {
            "quantity": asked.verification.criterion.quantity or "",
            "case": case,
            "at_least": bounds.at_least,
            "at_most": bounds.at_most,
            "corner": [one for one in worst_corner(extent, bounds) if one[0] in known],
            "decides": [one for one in point_that_decides(extent, asked) if one[0] in settable],
            "units": {field.name: field.unit for field in spec.fields},
            "boundary": self.wanted.boundary,
            "quantile": quantile,
            "samples": None if decided is None else decided.samples,
            "possible": possible_ends(asked.inputs, parameters, self.units),
            "unset": [used.name for used in asked.inputs if used.origin == CHAIN],
            "met_everywhere": extent.low is not None and _margin(extent, asked.tightened) >= 0.0,
            "marches": self.wanted.marches,
            "differentiated": self.wanted.differentiated,
            "seed": requirement,
            **spreads_of(asked.inputs, parameters),
        }


def _required(asked: Request) -> tuple[float, float] | None:
    """Return the probability and the confidence of a verification that asks for them."""
    basis = asked.verification.basis
    if basis.probability is None or basis.confidence is None:
        return None
    return float(basis.probability), float(basis.confidence)


def _decided(asked: Request, case: str | None, replies: Mapping[Question, Reply]) -> Decided | None:
    """Return what samples say of a case of a probability, where that was answered."""
    reply = None if asked.question is None else replies.get(asked.question)
    decisions = reply.result.decisions if reply and isinstance(reply.result, Answer) else ()
    return next((one for one in decisions if one.case == case), None)


def _margin(extent: Extent, bounds: Bounds) -> float:
    assert extent.value is not None
    low = extent.value if extent.low is None else extent.low
    high = extent.value if extent.high is None else extent.high
    return min(bounds.margins(low, high))


def _study(
    key: Key,
    ready: Ready,
    result: StudyFound | Failure,
    index: Index,
    units: Units,
) -> Study:
    quantity = ready.asked.verification.criterion.quantity or ""
    field = ready.spec.field(quantity)
    study = Study(*key, ready.spec.name, quantity, ready.case, "" if field is None else field.unit)
    if isinstance(result, Failure):
        return study._replace(failure=result)
    owned = Owned(ready.asked.inputs, index, units)
    worst = result.worst
    if worst is not None:
        worst = worst._replace(helpers=_documented(worst.helpers, index))
    return study._replace(
        symbolic=result.symbolic,
        drivers=result.drivers,
        edges=tuple(owned.edge(one) for one in result.break_even),
        lines=result.lines,
        slopes=_slopes(ready, result),
        ends=_ends(ready, result),
        factors=result.factors,
        assumed=assumed_of(ready.asked.inputs, index.parameters),
        quantiles=result.quantiles,
        boundary=None if result.boundary is None else owned.boundary(result.boundary),
        reasons=_reasons(ready, result),
        worst=worst,
        tables=result.tables,
        helpers=_documented(result.helpers, index),
        arguments=_given(result, ready.spec),
    )


def _given(result: StudyFound, spec: AnalysisSpec) -> tuple[Given, ...]:
    """Return what the analysis is given, in the order of its arguments."""
    here = dict(result.arguments)
    there = {} if result.worst is None else dict(result.worst.arguments)
    return tuple(
        Given(one.name, one.unit, here[one.name], there.get(one.name))
        for one in spec.arguments
        if one.name in here
    )


def _documented(helpers: Iterable[Helper], index: Index) -> tuple[Helper, ...]:
    """Return calls with docstrings as they are read, and which of them are of analyses."""
    analyses = {(spec.path, spec.line) for spec in index.specs}
    return tuple(
        one._replace(
            doc=_ROLE.sub(r"`\1`", clean(cleandoc(one.doc))),
            is_analysis=(one.path, one.line) in analyses,
        )
        for one in helpers
    )


def _slopes(ready: Ready, result: StudyFound) -> tuple[Slope, ...]:
    units = {used.name: used.unit for used in ready.asked.inputs}
    values = {driver.parameter: driver.derivative for driver in result.drivers}
    slopes = []
    for one in result.differentiated:
        value = values[one.parameter]
        assert value is not None  # else it was not differentiated
        slopes.append(Slope(**one._asdict(), value=value, unit=units[one.parameter]))
    return tuple(slopes)


def _reasons(ready: Ready, result: StudyFound) -> dict[str, str]:
    """Return why a part is missing or not whole: what the study says, and what it is not about."""
    reasons = dict(result.reasons)
    if ready.failed is not None:
        reasons["extreme value"] = f"over the declared tolerances: {ready.failed}"
    if ready.asked.verification.basis.kind is BasisKind.PROBABILITY:
        reasons["probability"] = (
            "break-even of the criterion itself, one parameter alone; the break-even of the"
            " required probability is not searched"
        )
    return reasons


def _ends(ready: Ready, result: StudyFound) -> tuple[Ends, ...]:
    """Return the ends by extreme value and by root sum square, one beside the other."""
    extent = ready.extent
    if extent.low is None or extent.high is None:
        return ()
    low, high, remark = extent.low, extent.high, "searched, not proved"
    if extent.proved_low is not None and extent.proved_high is not None:
        low, high = extent.proved_low, extent.proved_high
        remark = "proved" if extent.tight else "proved, but wide,"
    reason = result.reasons.get("root sum square", "")
    return (
        Ends("extreme value", low, high, f"{remark} over the declared tolerances"),
        result.root_sum_square or Ends("root sum square", None, None, reason),
    )


class Owned:
    """Turns numbers of an analysis' arguments into the units in which the project gives them."""

    def __init__(self, inputs: tuple[InputUsed, ...], index: Index, units: Units) -> None:
        self._inputs = {used.name: used for used in inputs}
        self._index = index
        self._units = units

    def numbers(self, name: str, numbers: Sequence[float]) -> tuple[str, tuple[float, ...]]:
        """Return numbers of an argument in the parameter's own unit, and that unit."""
        unit = self._inputs[name].unit
        own = self._own(name)
        shown = [self._in(own, one, unit) for one in numbers]
        known = tuple(one for one in shown if one is not None)
        # Beyond the doubles in that unit they stay in the argument's.
        return (own, known) if len(known) == len(shown) else (unit, tuple(numbers))

    def _own(self, name: str) -> str:
        """Return the unit in which the project states an input, or has it."""
        known = self._index.parameters.get(name)
        return self._inputs[name].unit if known is None else known.value.unit

    def edge(self, one: BreakEven) -> Edge:
        """Return a break-even value in the parameter's own unit."""
        used = self._inputs[one.parameter]
        own = self._own(one.parameter)
        given = (used.value, one.value, one.low, one.high)
        shown = [self._in(own, number, used.unit) for number in given]
        if any(a is None and b is not None for a, b in zip(shown, given, strict=True)):
            own, shown = used.unit, list(given)  # beyond the doubles in that unit
        now, value, low, high = shown
        assert now is not None
        fields = {**one._asdict(), "value": value, "low": low, "high": high}
        return Edge(unit=own, now=now, **fields)

    def boundary(self, plane: Plane) -> Boundary:
        """Return a boundary with both of its axes in the parameters' own units."""
        x, y = self._axis(plane.first), self._axis(plane.second)

        def shown(lines: Lines) -> Lines:
            return tuple(
                tuple(
                    (self._shown(x.parameter, x.unit, a), self._shown(y.parameter, y.unit, b))
                    for a, b in line
                )
                for line in lines
            )

        worst = None if plane.worst is None else shown(plane.worst)
        return Boundary(x, y, shown(plane.nominal), worst)

    def _axis(self, one: Coordinate) -> Axis:
        unit, numbers = self.numbers(one.parameter, (one.now, one.low, one.high))
        return Axis(one.parameter, unit, *numbers)

    def _shown(self, name: str, unit: str, value: float) -> float:
        shown = self._in(unit, value, self._inputs[name].unit)
        return value if shown is None else shown

    def _in(self, own: str, value: float | None, unit: str) -> float | None:
        if value is None or own == unit:
            return value
        try:
            return float(self._units.convert_number(Fraction(value), unit, own))
        except (UnitError, OverflowError):
            return None
