"""Which measured quantities an analysis predicts, and what is asked of it for each."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from closeout.graph import Index, Request, ask_each
from closeout.graph.inputs import SIGMAS
from closeout.graph.links import Links, links
from closeout.graph.measured import requirements_of_records
from closeout.graph.temperatures import refusal
from closeout.judge.compared.inputs import Bench, MadeAt, Stated
from closeout.judge.compared.stated_inputs import inputs_of
from closeout.measure import UnitError, Units
from closeout.model.amount import Measured
from closeout.model.criterion import Criterion
from closeout.model.inputs_used import CHAIN, InputUsed
from closeout.model.question import AnalysisSpec, Below, Question
from closeout.model.records import ConditionKind, Method, Parameter, Record, Verification

# A slope is taken over this share of the standard uncertainty: what the curvature adds is its
# square, and the rounding of doubles stays far below what anyone reads off it.
STEP = 1e-3
K = 2  # of the expanded uncertainty of a prediction (JCGM 100:2008, 6.3.3)


@dataclass(frozen=True, slots=True)
class Pair:
    """A measured quantity and an analysis that gives it, and the requirements it is about."""

    record: Record
    quantity: str
    measured: Measured
    analysis: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AskedOf:
    """What a model is asked about a pair: its range there, and its spread by chance.

    ``fault`` is why nothing can be asked. ``made_at`` is what the test was made at; ``chance`` asks
    for the expanded uncertainty of the prediction, and where that means nothing ``no_chance`` says
    why.
    """

    pair: Pair
    spec: AnalysisSpec | None = None
    asked: Request | None = None
    range: Question | None = None
    chance: Question | None = None
    no_chance: str | None = None
    fault: str | None = None
    made_at: MadeAt = field(default_factory=MadeAt)

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is asked, in this order."""
        return tuple(one for one in (self.range, self.chance) if one is not None)


@dataclass(frozen=True, slots=True)
class Asking:
    """What a model is asked about pairs, and what is asked of the analyses below."""

    each: tuple[AskedOf, ...]
    below: Mapping[Question, tuple[Below, ...]]


def pairs_of(index: Index, units: Units) -> tuple[Pair, ...]:
    """Return each measured quantity of a dated record with each analysis that predicts it.

    Those are the analyses by which the record's requirements are verified, where one of them gives
    a quantity of that name; else all by which any requirement is, and of which it has the
    dimension. What evaluates a test's own log predicts nothing.
    """
    measuring = [
        record
        for record in index.records.values()
        if record.date is not None and record.measured and record.method is not Method.ANALYSIS
    ]
    users = _users(index) if measuring else {}
    if not users:
        return ()
    about = requirements_of_records(index)
    giving: dict[str, list[AnalysisSpec]] = {}
    for spec, _ in users.values():
        for one in spec.fields:
            giving.setdefault(one.name, []).append(spec)
    return tuple(
        Pair(record, quantity, measured, spec.name, tuple(sorted(about[record.id])))
        for record in measuring
        for quantity, measured in record.measured
        for spec in _predicting(quantity, measured, about[record.id], giving, users, units)
    )


_Users = Mapping[str, tuple[AnalysisSpec, set[str]]]


def _users(index: Index) -> dict[str, tuple[AnalysisSpec, set[str]]]:
    """Return the analyses that verify, by name, each with the requirements that it verifies."""
    found: dict[str, tuple[AnalysisSpec, set[str]]] = {}
    for requirement, _, verification in index.project.verifications():
        spec = index.analyses.get(verification.analysis or "")
        if spec is not None and verification.method is Method.ANALYSIS:
            found.setdefault(spec.name, (spec, set()))[1].add(requirement.id)
    return found


def _predicting(
    quantity: str,
    measured: Measured,
    requirements: set[str],
    giving: Mapping[str, list[AnalysisSpec]],
    users: _Users,
    units: Units,
) -> list[AnalysisSpec]:
    known = giving.get(quantity, [])
    own = [spec for spec in known if users[spec.name][1] & requirements]
    return own or [one for one in known if _fits(measured, _unit(one, quantity), units)]


def _unit(spec: AnalysisSpec, quantity: str) -> str:
    field = spec.field(quantity)
    return "" if field is None else field.unit


def _fits(measured: Measured, unit: str, units: Units) -> bool:
    try:
        units.convert(measured.value, unit)
    except UnitError:
        return False
    return True


def ask_of(pairs: Iterable[Pair], model: Index, bench: Bench, units: Units) -> Asking:
    """Return what a model is asked about pairs.

    Args:
        model: the project whose analyses and parameters predict.
        bench: the records of the project that is judged. A what-if does not reach the prediction:
            what was measured is what was built, and not what could be.
    """
    # A contingency is kept for what is not known yet; it is no part of what the model says.
    charter = model.project.charter
    policy = replace(charter.policy, contingency=())
    model = replace(model, project=replace(model.project, charter=replace(charter, policy=policy)))
    leads = links(model, units)
    begun = [_begun(pair, model, leads, bench, units) for pair in pairs]
    asking = [(_verification(one), one.made_at.settings) for one in begun if one.fault is None]
    asked, below = ask_each(asking, model, units)
    rest = iter(asked)
    each = tuple(one if one.fault else _whole(one, next(rest), model) for one in begun)
    own = {
        question.base: one.asked.below
        for one in each
        for question in one.questions
        if one.asked is not None and one.asked.below
    }
    return Asking(each, {**below, **own})


def _begun(pair: Pair, model: Index, leads: Links, bench: Bench, units: Units) -> AskedOf:
    """Return a pair with the analysis and what the test was made at, or why there is none."""
    spec = model.analyses.get(pair.analysis)
    if spec is None:
        return AskedOf(pair, fault=f"there is no analysis {pair.analysis}")
    field = spec.field(pair.quantity)
    if field is None:
        return AskedOf(pair, fault=f"{spec.name} does not give {pair.quantity}")
    value = pair.measured.value
    fault = refusal(pair.quantity, value, field.unit, model, units)
    try:
        units.nearest(value, field.unit)
    except UnitError as wrong:
        fault = wrong.message
    known: dict[str, Stated] = {**model.parameters, **model.linked}
    names = inputs_of(spec, model, leads)
    made_at = bench.made_at(pair.record, names, known)
    if stated := [name for name, one in made_at.settings.items() if one.spread is not None]:
        names = inputs_of(spec, model, leads, stated)
        made_at = bench.made_at(pair.record, names, known)
    left_out = [
        name
        for name in names
        if name in model.parameters
        and model.parameters[name].condition is ConditionKind.GIVEN
        and name not in made_at.given
    ]
    if fault is None and left_out:
        fault = f"{pair.record.id} does not say at which {', '.join(left_out)} it was made"
    return AskedOf(pair, spec, fault=fault, made_at=made_at)


def _verification(one: AskedOf) -> Verification:
    """Return the verification that would ask for the quantity under the conditions of the test."""
    criterion = Criterion(quantity=one.pair.quantity, given=tuple(one.made_at.given.items()))
    return Verification(
        one.pair.record.where, Method.ANALYSIS, analysis=one.pair.analysis, criterion=criterion
    )


def _whole(one: AskedOf, asked: Request, model: Index) -> AskedOf:
    """Return it with its questions: the whole range of one quantity, and the spread by chance."""
    question, spec = asked.question, one.spec
    if question is None or spec is None:
        return replace(one, fault=asked.fault or "it asks nothing")
    quantity = one.pair.quantity
    if question.box:
        wanted = json.dumps([quantity], separators=(",", ":"))
        ends = ((quantity, "high"), (quantity, "low"))
        question = question._replace(detail=wanted, ends=ends)
    one = replace(one, asked=asked, range=question)
    reason = next(_dependent(one, asked, model), None)
    if reason is not None:
        return replace(one, no_chance=reason)
    return replace(one, chance=_chance(question, spec, asked, one.made_at, model))


def _dependent(one: AskedOf, asked: Request, model: Index) -> Iterator[str]:
    """Yield why the prediction has no uncertainty that is independent of what was measured."""
    made_at, record = one.made_at, one.pair.record
    taken = {used.name: used for used in asked.inputs}
    measured = one.pair.measured
    if measured.uncertainty is None or measured.k is None:
        yield "the measured value has no expanded uncertainty"
    elif measured.k > K:
        yield f"the measured value is stated with k = {float(measured.k):g}, not {K}"
    for name in made_at.swept:
        if name in taken:
            yield f"{name} went through a range, which is no uncertainty"
    for name, parameter in ((name, model.parameters.get(name)) for name in taken):
        if made_at.measured.get(name) == record.id or _rests_on(parameter, record, made_at):
            yield f"{name} is from {record.id} itself: the two are not independent"
    for used in asked.inputs:
        if used.origin == CHAIN and used.spreads:
            yield f"{used.name}: bounds are no uncertainty"
    groups: dict[str, str] = {}
    for used in asked.inputs:
        group = model.parameters[used.name].group if used.name in model.parameters else None
        if group and used.spreads and used.name not in made_at.factors:
            if group in groups:
                yield f"{groups[group]} and {used.name} are correlated (group {group})"
            groups[group] = used.name
    if not any(used.spreads for used in asked.inputs):
        yield "no input of the prediction has a spread"


def _rests_on(parameter: Parameter | None, record: Record, made_at: MadeAt) -> bool:
    """Return whether a declared value comes from a record."""
    if parameter is None or parameter.id in made_at.settings:
        return False
    words = (parameter.source or "").replace(",", " ").replace(";", " ").split()
    linked = () if parameter.link is None else parameter.link.quantities
    named = (text.rpartition(".")[0] for text in linked)
    return record.id in (*words, *named, parameter.record)


def _chance(
    question: Question, spec: AnalysisSpec, asked: Request, made_at: MadeAt, model: Index
) -> Question:
    """Return what asks for the root sum square of the slopes, each over its uncertainty."""
    box = []
    for used in asked.inputs:
        u = standard_uncertainty(used, model.parameters.get(used.name), made_at)
        if u > 0.0:
            box.append((used.name, used.value - STEP * u, used.value + STEP * u))
    units = {field.name: field.unit for field in spec.fields}
    detail = {"groups": {}, "sides": [], "added": [], "reach": {}, "units": units}
    return question._replace(
        kind="root sum square",
        box=tuple(box),
        detail=json.dumps(detail, sort_keys=True),
        ends=(),
        evaluations=None,
    )


def standard_uncertainty(used: InputUsed, parameter: Parameter | None, made_at: MadeAt) -> float:
    """Return the standard uncertainty of an input, in its unit.

    Of what was measured the expanded one over its k, else sigma; of ends the standard deviation of
    a uniform distribution between them (half the width over the root of three; JCGM 100:2008,
    4.3.7), or of a triangular one (over the root of six in the middle; 4.3.9 there). Ends that are
    said to be normal are three standard deviations away, as they are for samples.
    """
    if used.low is None or used.high is None:
        return 0.0
    low, high, value = used.low, used.high, used.value
    half = (high - low) / 2.0
    if used.name in made_at.factors:
        return half / float(made_at.factors[used.name])
    if used.sigmas is not None:
        return half / used.sigmas
    shape = None if parameter is None else parameter.distribution
    if shape == "normal":
        return max(value - low, high - value) / SIGMAS
    if shape == "triangular":
        # Of a mode that is not in the middle the variance has a mixed term more.
        below, above = value - low, high - value
        return math.sqrt((below * below + below * above + above * above) / 18.0)
    return half / math.sqrt(3.0)
