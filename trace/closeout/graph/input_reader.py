"""Inputs of a question under the conditions of a verification, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterable

from closeout.graph.chains import Composed
from closeout.graph.collected import Collected
from closeout.graph.index import Index
from closeout.graph.inputs import Settings, input_of
from closeout.graph.links import Links, reach_of, stated
from closeout.graph.new_findings import Spelling, comparable, in_order, is_unit
from closeout.graph.temperatures import refusal
from closeout.measure import UnitError, Units
from closeout.model.amount import middle
from closeout.model.criterion import Condition
from closeout.model.inputs_used import InputUsed
from closeout.model.problem import Pointer
from closeout.model.question import AnalysisSpec, Argument
from closeout.model.records import ConditionKind, Parameter, Spread, Verification

_NO_SPREAD = Spread()


class InputReader:
    """Reads inputs one after another; what is wrong goes to ``collected``."""

    def __init__(
        self, index: Index, links: Links, units: Units, settings: Settings, collected: Collected
    ) -> None:
        self._index = index
        self._links = links
        self._units = units
        self._settings = settings
        self._collected = collected
        self._spelling = Spelling(index.renamed)

    def conditions(
        self,
        verification: Verification,
        spec: AnalysisSpec | None = None,
        whole: Composed | None = None,
    ) -> None:
        """Check the conditions that a verification gives."""
        known = self._index.parameters
        # As the project has it: what a what-if states may leave nothing that takes a condition.
        taken = None if spec is None else reach_of(spec, self._index).parameters
        for name, given in verification.criterion.given:
            where = verification.where / "given" / name
            parameter = known.get(name)
            if parameter is not None:
                self._condition(parameter, given, where)
            elif name in self._index.linked:
                self._collected.wrong(
                    "linked-parameter", where,
                    f"given is for conditions only; {name} is found by"
                    f" {self._index.linked[name].link}",
                    "give the conditions of the analysis that computes it",
                )  # fmt: skip
            elif self._index.is_absent(name, known):
                self._collected.wrong(
                    "dangling-reference", where, f"there is no parameter {name}",
                    self._spelling.cure("parameter", name, known, "add the parameter"),
                )  # fmt: skip
            else:
                self._collected.messages.append(f"the parameter {name} cannot be used")
            if spec is not None and taken is not None and name not in taken and parameter:
                below = ", nor does an analysis below it" if whole and whole.members else ""
                self._collected.wrong(
                    "given-unused", where, f"{spec.function} does not take {name}{below}",
                    "remove the condition, or make it an argument of the analysis",
                )  # fmt: skip

    def not_given(
        self, verification: Verification, inputs: Iterable[tuple[InputUsed, AnalysisSpec]]
    ) -> None:
        """Find each condition that an analysis takes and its criterion leaves out."""
        given = dict(verification.criterion.given)
        for used, taker in inputs:
            if used.condition is ConditionKind.GIVEN and used.name not in given:
                self._collected.wrong(
                    "condition-not-given", verification.where,
                    f"{taker.function} takes the condition {used.name}, which the criterion does"
                    f" not give: {used.written} would be used",
                    f"write given: {{{used.name}: ...}} as in the statement, or condition:"
                    " declared where the declared value is the project's environment",
                )  # fmt: skip

    def _condition(self, parameter: Parameter, given: Condition, where: Pointer) -> None:
        if not parameter.condition:
            self._collected.wrong(
                "given-no-condition", where,
                f"given is for conditions only; {parameter.id} is a design value",
                "write condition: true at the parameter if it is one, else change its value",
            )  # fmt: skip
        unit = parameter.value.unit
        for number, end in enumerate(given.ends):
            place = where / number if given.is_range else where
            if is_unit(unit, self._units):
                for finding in comparable(end, unit, place, self._units):
                    self._collected.found(finding)
        if given.is_range:
            for finding in in_order(given.ends, where / 0, self._units):
                self._collected.found(finding)

    def input(
        self, argument: Argument, verification: Verification, spec: AnalysisSpec
    ) -> InputUsed | None:
        name, known = argument.name, self._index.parameters
        parameter = known.get(name) or self._stated(name)
        if parameter is None:
            if name in self._index.waiting:
                self._collected.pending.append(self._index.waiting[name])
            else:
                self._no_parameter(argument, spec)
            return None
        refused = refusal(name, parameter.value, argument.unit, self._index, self._units)
        if refused is not None:
            self._collected.messages.append(refused)
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
        # Reported as a problem of the parameter; a box without the value proves nothing about it.
        self._collected.messages.append(f"the value of {name} is outside its range")
        return None

    def _stated(self, name: str) -> Parameter | None:
        """Return a linked parameter as a what-if states it, None where none does."""
        one, setting = self._index.linked.get(name), self._settings.get(name)
        if one is None or setting is None or stated(name, self._index) is None:
            return None
        value = setting.value
        if value is None:
            low, high = setting.ends
            value = middle(low, high) if low.unit == high.unit else low
        spread = _NO_SPREAD if setting.spread is None else setting.spread
        return Parameter(one.where, name, value, spread, source=one.source)

    def _does_not_fit(
        self, argument: Argument, parameter: Parameter, spec: AnalysisSpec, wrong: UnitError
    ) -> None:
        """Blame the parameter's value, or note what is reported at its own place."""
        message = f"{parameter.id} for {spec.name}: {wrong.message}"
        try:
            self._units.nearest(parameter.value, argument.unit)
        except UnitError as its_own:
            if is_unit(parameter.value.unit, self._units):
                self._collected.wrong("unit", parameter.where / "value", message, its_own.cure)
                return
        self._collected.messages.append(message)

    def _no_parameter(self, argument: Argument, spec: AnalysisSpec) -> None:
        name, known = argument.name, self._index.parameters
        if not self._index.is_absent(name, known) or name in self._index.linked:
            self._collected.messages.append(f"the parameter {name} cannot be used")
            return
        example = f"{{value: ... {argument.unit}}}"
        otherwise = f"add {name}: {example} to a YAML file in analyses/"
        self._collected.wrong(
            "unknown-parameter", Pointer(spec.path, (spec.line,)),
            f"{spec.name} takes {name}, and there is no such parameter",
            self._spelling.cure("parameter", name, known, otherwise),
        )  # fmt: skip
