"""An analysis with the analyses below it: which of its arguments are computed, and from what.

Members are in an order in which each can be evaluated. An input below that several members take is
one variable of the chain, in the unit in which the project states it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from closeout.graph.index import Index
from closeout.graph.links import Links, Source
from closeout.graph.model_uncertainty import model_uncertainty
from closeout.graph.new_findings import error
from closeout.graph.temperatures import refused_link
from closeout.measure import UnitError, Units
from closeout.model.inputs_used import CHAIN, InputUsed
from closeout.model.problem import Finding, Pointer
from closeout.model.question import (
    AnalysisSpec,
    Argument,
    Chain,
    Conversion,
    Linked,
    Member,
    Output,
    Take,
)
from closeout.model.records import Link, Parameter


@dataclass(frozen=True, slots=True)
class Composed:
    """What an analysis takes, over all analyses below it.

    ``chain`` is None where none of its arguments is computed. ``roots`` are the inputs of the
    whole, each with the analysis that takes it first; ``members`` the analyses below, in the
    chain's order; ``sides`` the variables that no parameter is: where between two ends an input is,
    and what a model may be off. ``faults`` are why it cannot be composed, where that is told
    already, and ``findings`` where it is not.
    """

    chain: Chain | None
    roots: tuple[tuple[Argument, AnalysisSpec], ...]
    members: tuple[AnalysisSpec, ...] = ()
    sides: tuple[InputUsed, ...] = ()
    faults: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


def place_of(name: str) -> str:
    """Return the name of the variable that says where between its two ends an input is."""
    return f"place in the range of {name}"


def off_of(source: Source) -> str:
    """Return the name of the variable that says how far the model of a quantity is off."""
    return f"model uncertainty of {source.spec.name}.{source.field.name}"


def composed(
    spec: AnalysisSpec,
    index: Index,
    links: Links,
    units: Units,
    moved: Mapping[str, float],
    replaced: Collection[str],
) -> Composed:
    """Return an analysis with all that is below it.

    Args:
        moved: the values, in the unit of the link, to which a what-if moves linked parameters.
        replaced: linked parameters in place of which a what-if states all.
    """
    maker = _Maker(index, links, units, moved, replaced)
    if not maker.is_chain(spec):
        return Composed(None, tuple((argument, spec) for argument in spec.arguments))
    return maker.composed(spec)


def estimated(
    parameter: Parameter,
    index: Index,
    links: Links,
    units: Units,
    moved: Mapping[str, float],
    replaced: Collection[str],
) -> Composed:
    """Return the analyses that an agreed range is compared with, with all below them.

    The chain has no analysis on top; the parameter itself is the linked variable.
    """
    assert parameter.estimate is not None
    maker = _Maker(index, links, units, moved, replaced)
    return maker.estimated(parameter.id, parameter.estimate)


class _Maker:
    def __init__(
        self,
        index: Index,
        links: Links,
        units: Units,
        moved: Mapping[str, float],
        replaced: Collection[str],
    ) -> None:
        self._index = index
        self._links = links
        self._units = units
        self._moved = moved
        self._replaced = replaced
        self._members: list[Member] = []
        self._specs: list[AnalysisSpec] = []
        self._numbers: dict[str, int] = {}
        self._linked: dict[str, Linked] = {}
        self._roots: dict[str, tuple[Argument, AnalysisSpec]] = {}
        self._sides: dict[str, InputUsed] = {}
        self._faults: list[str] = []
        self._findings: list[Finding] = []

    def is_chain(self, spec: AnalysisSpec) -> bool:
        """Return whether some argument of an analysis is computed, or should be."""
        return any(self._is_linked(argument.name) for argument in spec.arguments)

    def composed(self, spec: AnalysisSpec) -> Composed:
        """Return the analysis on top of what is below it."""
        takes = self._takes(spec)
        return self._composed(Chain(tuple(self._members), tuple(self._linked.values()), takes))

    def _composed(self, chain: Chain) -> Composed:
        return Composed(
            chain, tuple(self._roots.values()), tuple(self._specs), tuple(self._sides.values()),
            tuple(dict.fromkeys(self._faults)), tuple(dict.fromkeys(self._findings)),
        )  # fmt: skip

    def estimated(self, name: str, link: Link) -> Composed:
        """Return the chain of a link on its own."""
        self._variable(name, link)
        chain = Chain(tuple(self._members), tuple(self._linked.values()), ())
        return self._composed(chain)

    def _is_linked(self, name: str) -> bool:
        index = self._index
        return name in index.linked and name not in index.waiting and name not in self._replaced

    def _takes(self, spec: AnalysisSpec) -> tuple[Take, ...]:
        found = [self._take(argument, spec) for argument in spec.arguments]
        return tuple(one for one in found if one is not None)

    def _take(self, argument: Argument, spec: AnalysisSpec) -> Take | None:
        name = argument.name
        if self._is_linked(name):
            if not self._link(name):
                return None
            unit = self._links.unit(name)
            refused = refused_link(name, unit, argument.unit, self._index, self._units)
            if refused is not None:
                where = Pointer(spec.path, (spec.line,))
                self._findings.append(error("kelvin-meets-celsius", where, refused, "take it in K"))
                return None
        else:
            unit = self._root(argument, spec)
        try:
            return Take(name, name, self._conversion(unit, argument.unit))
        except UnitError as wrong:
            message = f"{name} for {spec.name}: {wrong.message}"
            where = Pointer(spec.path, (spec.line,))
            self._findings.append(error("unit", where, message, wrong.cure))
            return None

    def _root(self, argument: Argument, spec: AnalysisSpec) -> str:
        """Return the unit of an input below: the one in which the project states it."""
        name = argument.name
        parameter = self._index.parameters.get(name)
        unit = argument.unit if parameter is None else parameter.value.unit or "1"
        if parameter is None and name in self._links.sources:  # a what-if states it
            unit = self._links.unit(name)
        self._roots.setdefault(name, (Argument(name, unit), spec))
        return unit

    def _link(self, name: str) -> bool:
        """Make a linked variable, once, after all that is below it; False where it cannot be."""
        if name in self._linked:
            return True
        return self._variable(name, self._index.linked[name].link)

    def _variable(self, name: str, link: Link) -> bool:
        sources = self._links.sources.get(name)
        if sources is None:
            reason = self._links.reasons.get(name, str(link))
            self._faults.append(f"the computed input {name} cannot be found: {reason}")
            return False
        unit = sources[0].field.unit
        outputs = [self._output(one, unit, link.case, link.every_case) for one in sources]
        known = tuple(one for one in outputs if one is not None)
        if len(known) < len(outputs):
            return False
        place = None
        if len(known) > 1 or link.every_case:
            place = place_of(name)
            text = f"between the ends of {name}"
            self._sides[place] = _side(place, 0.5, 0.0, 1.0, text)
        moved = self._moved.get(name)
        self._linked[name] = Linked(name, known, place, moved_to=moved)
        return True

    def _output(
        self, source: Source, unit: str, case: str | None, every_case: bool
    ) -> Output | None:
        number = self._member(source.spec)
        uncertainty = model_uncertainty(source.spec, source.field, self._units)
        if isinstance(uncertainty, Finding):
            self._findings.append(uncertainty)
            return None
        conversion = self._conversion(source.field.unit, unit)
        output = Output(number, source.field.name, case, every_case, conversion)
        if uncertainty is None:
            return output
        name = off_of(source)
        side = _side(name, 0.0, -1.0, 1.0, f"+/- {uncertainty.text}")
        self._sides[name] = replace(side, is_off=True)
        return output._replace(
            off=name, difference=_pair(uncertainty.difference), share=_pair(uncertainty.share)
        )

    def _member(self, spec: AnalysisSpec) -> int:
        if spec.name not in self._numbers:
            takes = self._takes(spec)
            self._numbers[spec.name] = len(self._members)
            self._members.append(Member(spec.name, spec.module, spec.function, takes))
            self._specs.append(spec)
        return self._numbers[spec.name]

    def _conversion(self, from_unit: str, to_unit: str) -> Conversion:
        return conversion(from_unit, to_unit, self._units)


def conversion(from_unit: str, to_unit: str, units: Units) -> Conversion:
    """Return how a number of one unit becomes one of another; UnitError where they do not fit."""
    factor, offset = units.conversion(from_unit, to_unit)
    return Conversion(_pair(factor), _pair(offset))


def _pair(fraction: Fraction) -> tuple[int, int]:
    return fraction.numerator, fraction.denominator


def _side(name: str, value: float, low: float, high: float, text: str) -> InputUsed:
    """Return a variable of a chain that no parameter is; both its ends count on each basis."""
    return InputUsed(
        name=name, unit="1", value=value, low=low, high=high, text=text, spread="",
        source=None, maturity=None, condition=None, origin=CHAIN, side=True,
    )  # fmt: skip
