"""From an analysis and the conditions of a verification to a question, and to what is below it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import dataclass, replace

from closeout.graph.chains import Composed, composed, conversion, estimated
from closeout.graph.collected import Collected
from closeout.graph.index import Index
from closeout.graph.input_reader import InputReader
from closeout.graph.inputs import Settings, spread_text
from closeout.graph.links import Links, links
from closeout.graph.request import ComputedInput, Estimate, Request
from closeout.measure import Units
from closeout.model.inputs_used import InputUsed
from closeout.model.question import AnalysisSpec, Below, Question, Root
from closeout.model.records import Basis, BasisKind, Parameter, Verification


def below_of(
    requests: Iterable[Request], known: Mapping[Question, tuple[Below, ...]]
) -> dict[Question, tuple[Below, ...]]:
    """Return what is asked below each question; ``known`` is that of the analyses below."""
    own = {one.question.base: one.below for one in requests if one.question and one.below}
    return {**known, **own}


@dataclass(frozen=True, slots=True)
class SetUp:
    """A question, what its inputs are made of, and what is below it."""

    question: Question
    inputs: tuple[InputUsed, ...]
    computed: tuple[ComputedInput, ...] = ()
    below: tuple[Below, ...] = ()
    estimates: tuple[Estimate, ...] = ()


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


class SetUps:
    """Makes the questions of worst cases, each once; what is wrong goes to ``collected``."""

    def __init__(
        self, index: Index, units: Units, settings: Settings, collected: Collected
    ) -> None:
        self._index = index
        self._units = units
        self._settings = settings
        self._collected = collected
        self._links = links(index, units)
        self._reader = InputReader(index, self._links, units, settings, collected)
        self._wanted = _wanted(index, self._links)
        self._ends = _limited_ends(index, self._links)
        self._known: dict[tuple[object, ...], SetUp] = {}
        self._whole: dict[tuple[str, bool], Composed] = {}
        self.below: dict[Question, tuple[Below, ...]] = {}

    def at(self, settings: Settings) -> SetUps:
        """Return one for other settings, which knows what is known of the project."""
        other = copy(self)
        other._settings, other._known, other._whole = settings, {}, {}
        other._reader = InputReader(
            self._index, self._links, self._units, settings, self._collected
        )
        return other

    def conditions(self, verification: Verification) -> None:
        """Check the conditions that a verification gives which asks no analysis."""
        self._reader.conditions(verification)

    def of(self, verification: Verification, spec: AnalysisSpec) -> SetUp | None:
        """Return the question under a verification's conditions; most verifications share one."""
        is_nominal = verification.basis.kind is BasisKind.NOMINAL
        key = (spec.name, verification.criterion.given, is_nominal)
        if key in self._known:
            return self._known[key]
        before, awaited = len(self._collected.messages), len(self._collected.pending)
        whole = self._composed(spec, is_nominal)
        self._reader.conditions(verification, spec, whole)
        found = self._inputs(verification, whole)
        self._reader.not_given(verification, found)
        if len(self._collected.messages) > before or len(found) < len(whole.roots):
            return None
        set_up = self._asking(verification, spec, whole, [one for one, _ in found])
        estimates = self._estimates(verification, set_up.inputs)
        if len(self._collected.pending) > awaited:  # below an agreed range
            return None
        self._known[key] = replace(set_up, estimates=estimates)
        return self._known[key]

    def _asking(
        self,
        verification: Verification,
        spec: AnalysisSpec,
        whole: Composed,
        roots: Iterable[InputUsed],
    ) -> SetUp:
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
            wanted = json.dumps(sorted(self._wanted.get(spec.name, ())), separators=(",", ":"))
            most = spec.evaluations or self._index.project.charter.policy.evaluations
            ends = tuple(sorted(self._ends.get(spec.name, ())))
            question = question._replace(detail=wanted, ends=ends, evaluations=most)
        below = self._below(verification, whole, known)
        if below:
            self.below[question.base] = below
        return SetUp(question, known, self._computed(whole), below)

    def _below(
        self, verification: Verification, whole: Composed, above: Iterable[InputUsed]
    ) -> tuple[Below, ...]:
        """Return what is asked of each analysis below, under the same conditions."""
        known = {one.name: one for one in above}
        found = []
        for member in whole.members:
            alone = self._alone(verification, member)
            roots = tuple(self._root(one, known.get(one.name, one)) for one in alone.inputs)
            found.append(Below(alone.question, roots))
        return tuple(found)

    def _root(self, below: InputUsed, above: InputUsed) -> Root:
        """Return an input of a member beside the same in the chain."""
        pairs = ((below.value, above.value), (below.low, above.low), (below.high, above.high))
        known = tuple((a, b) for a, b in pairs if a is not None and b is not None)
        return Root(below.name, conversion(below.unit, above.unit, self._units), known)

    def _alone(self, verification: Verification, spec: AnalysisSpec) -> SetUp:
        """Return what is asked of an analysis for itself, under those conditions that it takes."""
        whole = self._composed(spec, verification.basis.kind is BasisKind.NOMINAL)
        taken = {argument.name for argument, _ in whole.roots}
        criterion = verification.criterion
        given = tuple(one for one in criterion.given if one[0] in taken)
        asking = replace(verification, criterion=replace(criterion, given=given))
        roots = [one for one, _ in self._inputs(asking, whole)]
        return self._asking(asking, spec, whole, roots)

    def _estimates(
        self, verification: Verification, inputs: Iterable[InputUsed]
    ) -> tuple[Estimate, ...]:
        """Return what is asked of the analyses that agreed ranges among some inputs rest on."""
        found = []
        for used in inputs:
            parameter = self._index.parameters.get(used.name)
            is_agreed = parameter is not None and parameter.id in self._links.sources
            if parameter is None or not is_agreed or used.origin != "parameter":
                continue
            if parameter.spread.range is not None:
                one = self._estimate(verification, parameter)
                found += [] if one is None else [one]
        return tuple(found)

    def _estimate(self, verification: Verification, parameter: Parameter) -> Estimate | None:
        assert parameter.spread.range is not None
        moved, replaced = self._settled(is_nominal=False)
        whole = estimated(parameter, self._index, self._links, self._units, moved, replaced)
        before = len(self._collected.messages)
        worst = replace(verification, basis=Basis())
        below = self._below(worst, whole, ())
        if whole.faults or whole.chain is None or len(self._collected.messages) > before:
            return None
        ends = parameter.spread.range
        unit = ends[0].unit or "1"
        low, high = (self._units.nearest(end, unit) for end in ends)
        return Estimate(
            ComputedInput(parameter.id, unit, str(parameter.estimate)),
            whole.chain,
            below,
            conversion(self._links.unit(parameter.id), unit, self._units),
            (low, high),
            spread_text(parameter.spread),
        )

    def _computed(self, whole: Composed) -> tuple[ComputedInput, ...]:
        linked = () if whole.chain is None else whole.chain.linked
        return tuple(
            ComputedInput(
                one.variable,
                self._links.unit(one.variable),
                str(self._index.linked[one.variable].link),
                self._index.linked[one.variable].where.path,
            )
            for one in linked
        )

    def _composed(self, spec: AnalysisSpec, is_nominal: bool) -> Composed:
        """Return an analysis with what is below it; a what-if may move or state a linked input."""
        key = (spec.name, is_nominal)
        if key not in self._whole:
            moved, replaced = self._settled(is_nominal=is_nominal)
            self._whole[key] = composed(
                spec, self._index, self._links, self._units, moved, replaced
            )
        whole = self._whole[key]
        self._collected.messages += whole.faults
        for finding in whole.findings:
            self._collected.found(finding)
        return whole

    def _settled(self, *, is_nominal: bool) -> tuple[dict[str, float], list[str]]:
        """Return the linked inputs that a what-if moves, and those that it states.

        Where nothing spreads the two are one.
        """
        moved, replaced = {}, []
        for name, setting in self._settings.items():
            if name not in self._index.linked or name not in self._links.sources:
                continue
            if setting.value is None or setting.spread is not None or is_nominal:
                replaced.append(name)
            else:
                moved[name] = self._units.nearest(setting.value, self._links.unit(name))
        return moved, replaced

    def _inputs(
        self, verification: Verification, whole: Composed
    ) -> list[tuple[InputUsed, AnalysisSpec]]:
        """Return the inputs of a whole chain that can be read, each with who takes it first."""
        found = [
            (self._reader.input(argument, verification, taker), taker)
            for argument, taker in whole.roots
        ]
        return [(one, taker) for one, taker in found if one is not None]
