"""A project between two states: some of what a verification rests on as it was, the rest as it is.

What is as it was is taken from the earlier state's index, under the identifiers of the later one,
and under its own too, since earlier code knows no other.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from closeout.graph import Index, required_margins
from closeout.graph.inputs import contingency_of, spread_text
from closeout.graph.links import reach_of
from closeout.model.changes import Factor
from closeout.model.criterion import Condition, Criterion
from closeout.model.records import (
    Contingency,
    LinkedParameter,
    Parameter,
    Verification,
)

Named = Parameter | LinkedParameter
Key = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Side:
    """One of two states: its project as it was asked, and a verification of it.

    ``called`` leads from a parameter's identifier in the later state to that in this one.
    """

    index: Index
    verification: Verification
    review: str | None
    called: Mapping[str, str]

    def parameter(self, name: str) -> Named | None:
        """Return a parameter by its later identifier: stated, measured or computed."""
        own = self.called.get(name, name)
        return self.index.parameters.get(own) or self.index.linked.get(own)

    @property
    def taken(self) -> frozenset[str]:
        """The later identifiers of all parameters that the analysis and those below it take."""
        spec = self.index.analyses.get(self.verification.analysis or "")
        if spec is None:
            return frozenset()
        later = {own: name for name, own in self.called.items()}
        return frozenset(later.get(name, name) for name in reach_of(spec, self.index).parameters)

    @property
    def given(self) -> dict[str, Condition]:
        """The conditions that the criterion gives, by the later identifier."""
        later = {own: name for name, own in self.called.items()}
        return {later.get(name, name): one for name, one in self.verification.criterion.given}


@dataclass(frozen=True, slots=True)
class Between:
    """A verification between two states, and how each factor is put into it."""

    was: Side
    now: Side
    factors: tuple[Factor, ...]

    def mixed(self, earlier: frozenset[Factor], index: Index) -> tuple[Index, Verification]:
        """Return the project and the verification with some factors as they were.

        Args:
            index: the later state, with analyses and data as they are in the mixture
        """
        code = any(one.kind == "code" for one in earlier)
        names = {one.name for one in earlier if one.kind == "parameter"}
        known = self.was.taken & self.now.taken
        parameters, linked = dict(index.parameters), dict(index.linked)
        waiting = dict(index.waiting)
        contingency: list[Contingency] = []
        for name in sorted(self.was.taken | self.now.taken):
            is_early = name in names or (name not in known and code)
            side = self.was if is_early else self.now
            found = side.parameter(name)
            for own in {name, self.was.called.get(name, name)}:
                for some in (parameters, linked, waiting):
                    some.pop(own, None)
                if isinstance(found, Parameter):
                    parameters[own] = replace(found, id=own)
                    contingency += _contingency(own, found, side.index)
                elif isinstance(found, LinkedParameter):
                    linked[own] = replace(found, id=own)
                early = side.called.get(name, name)
                if early in side.index.waiting:
                    waiting[own] = side.index.waiting[early]
        charter = index.project.charter
        limit = self.was if any(one.kind == "limit" for one in earlier) else self.now
        policies = (self.was.index, self.now.index)
        if len({one.project.charter.policy.contingency for one in policies}) > 1:
            policy = replace(charter.policy, contingency=tuple(contingency))
            charter = replace(charter, policy=policy)
        charter = replace(charter, margins=limit.index.project.charter.margins)
        mixed = replace(
            index,
            project=replace(index.project, charter=charter),
            parameters=parameters,
            linked=linked,
            waiting=waiting,
        )
        return mixed, replace(self.now.verification, criterion=self._criterion(earlier, limit))

    def _criterion(self, earlier: frozenset[Factor], limit: Side) -> Criterion:
        """Return the criterion; conditions under both identifiers where code may know either."""
        names = {one.name for one in earlier if one.kind == "condition"}
        code = any(one.kind == "code" for one in earlier)
        given = []
        for name in dict.fromkeys((*self.now.given, *self.was.given)):
            condition = (self.was if name in names else self.now).given.get(name)
            if condition is not None:
                given.append((self.was.called.get(name, name) if code else name, condition))
        said = limit.verification.criterion
        return replace(
            self.now.verification.criterion,
            limits=said.limits,
            cases_at_least=said.cases_at_least,
            given=tuple(given),
        )


def between(was: Side, now: Side, code: Factor | None, data: Iterable[Factor]) -> Between:
    """Return a verification between two states, with every factor that is not as it was.

    Only what both take is a factor of its own; what only one code knows goes with the code.
    """
    found = [*_parameters(was, now), *_conditions(was, now), *_limit(was, now), *data]
    return Between(was, now, (*found, code) if code is not None else tuple(found))


def _parameters(was: Side, now: Side) -> Iterable[Factor]:
    given = was.given.keys() & now.given.keys()
    for name in sorted((was.taken & now.taken) - given):
        before, after = was.parameter(name), now.parameter(name)
        if before is None or after is None:
            continue
        if _said(before, was.index) != _said(after, now.index):
            yield Factor("parameter", name, text_of(before, was.index), text_of(after, now.index))


def _said(one: Named, index: Index) -> tuple[object, ...]:
    """Return all of a parameter that an evaluation may rest on."""
    if isinstance(one, LinkedParameter):
        return one.link.quantities, one.link.case, one.link.every_case
    added = contingency_of(one, index.project.charter.policy)
    return one.value, one.spread, one.condition, one.distribution, one.group, added


def text_of(one: Named, index: Index) -> str:
    """Return value and spread of a parameter as they were written, or what it is found by."""
    if isinstance(one, LinkedParameter):
        return f"from {one.link}"
    spread = spread_text(one.spread)
    parts = [
        f"{one.value.text}{' ' if spread.startswith('+/-') else ', ' if spread else ''}{spread}"
    ]
    added = contingency_of(one, index.project.charter.policy)
    if added is not None:
        parts.append(f"{added.direction} {added.amount} for {one.maturity}")
    parts += [f"{one.distribution}"] if one.distribution else []
    return "; ".join(parts)


def _conditions(was: Side, now: Side) -> Iterable[Factor]:
    for name in dict.fromkeys((*now.given, *was.given)):
        before, after = was.given.get(name), now.given.get(name)
        ends = [None if one is None else tuple(e for e in one.ends) for one in (before, after)]
        if ends[0] != ends[1]:
            texts = ["not given" if one is None else str(one) for one in (before, after)]
            yield Factor("condition", name, *texts)


def _limit(was: Side, now: Side) -> Iterable[Factor]:
    """Yield the limit where it, or a margin that is required beside it, is another."""
    said = []
    for side in (was, now):
        criterion = side.verification.criterion
        margins = tuple(required_margins(criterion.quantity, side.index, side.review))
        enforced = [f"{one.amount} of the {one.policy.of}" for one in margins if one.policy.enforce]
        least = criterion.cases_at_least
        text = str(criterion.limits)
        text += f" in at least {least} cases" if least is not None else ""
        text += f", margin of {' and '.join(enforced)} enforced" if enforced else ""
        said.append((criterion.limits, least, tuple(enforced), text))
    if said[0][:3] != said[1][:3]:
        yield Factor("limit", "limit", said[0][3], said[1][3])


def _contingency(name: str, one: Parameter, index: Index) -> Iterable[Contingency]:
    added = contingency_of(one, index.project.charter.policy)
    if added is not None and one.maturity is not None:
        yield Contingency((name,), ((one.maturity, added.amount),), added.direction)
