"""Parameters that are found: by which quantity of which analysis, and what is wrong with a link.

A link names ``analysis.quantity``, ``record.quantity`` or ``requirement.quantity.at_least``. What a
limit or a record says is a number before anything is asked; what an analysis says is evaluated with
the analysis that takes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from closeout.graph.cycles import cycles_of
from closeout.graph.index import Index
from closeout.graph.new_findings import Spelling, error
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.awaited import Awaited
from closeout.model.problem import Finding, Pointer
from closeout.model.question import AnalysisSpec, Field
from closeout.model.records import Link, LinkedParameter, Parameter

LIMITS = ("at_least", "at_most")


@dataclass(frozen=True, slots=True)
class Source:
    """A quantity of an analysis that an input is computed from; ``text`` is how it was named."""

    text: str
    spec: AnalysisSpec
    field: Field


@dataclass(frozen=True, slots=True)
class Links:
    """What the links of a project lead to, as far as each can be followed.

    ``sources`` are the quantities by linked parameter, or by parameter with an estimate; of a name
    that is linked and not there something is wrong, which ``findings`` tell, or items are left out;
    ``reasons`` say it in short, with the parameter and the file in which it is linked.
    """

    sources: Mapping[str, tuple[Source, ...]]
    findings: tuple[Finding, ...]
    reasons: Mapping[str, str]

    @property
    def taken(self) -> tuple[Source, ...]:
        """All quantities that some parameter is found by."""
        return tuple(one for sources in self.sources.values() for one in sources)

    def unit(self, name: str) -> str:
        """Return the unit of a linked parameter: that of its first quantity."""
        return self.sources[name][0].field.unit


@lru_cache(maxsize=2)  # checked first, asked later
def links(index: Index, units: Units) -> Links:
    """Return what each link of a project leads to; a cycle of links leads to nothing."""
    reader = _Reader(index, units)
    found: dict[str, tuple[Source, ...] | None] = {}
    reasons: dict[str, str] = {}
    for name, one in index.linked.items():
        before = len(reader.findings)
        found[name] = reader.sources(one.link)
        if found[name] is None:
            wrong = [finding.message for finding in reader.findings[before:]]
            reasons[name] = _placed("; ".join(wrong) or _left_out(one.link, index), one)
    for parameter in index.parameters.values():
        if parameter.estimate is not None:
            found[parameter.id] = reader.estimate(parameter, parameter.estimate)
    known = {name: sources for name, sources in found.items() if sources is not None}
    for one in index.project.linked:  # also those that are numbers by now
        reader.keys_beside(one)
    cyclic = _cycles(index, {name: s for name, s in known.items() if name in index.linked})
    kept = {name: sources for name, sources in known.items() if name not in cyclic}
    reasons |= {name: _placed(one.message, index.linked[name]) for name, one in cyclic.items()}
    return Links(kept, (*reader.findings, *dict.fromkeys(cyclic.values())), reasons)


def _placed(reason: str, one: LinkedParameter) -> str:
    return f"{reason} ({one.id} in {one.where.path})"


def _left_out(link: Link, index: Index) -> str:
    """Return why a link in which nothing is wrong leads to nothing: what it names is left out."""
    names = (text.rpartition(".")[0] for text in link.quantities)
    missing = (name for name in names if name not in index.analyses)
    return f"{next(missing, link)} cannot be used"


def limits_found(index: Index) -> Mapping[str, Parameter]:
    """Return the parameters that are limits of criteria, with the amount that stands there."""
    found = {}
    for one in index.linked.values():
        amounts = [_limit(text, index) or [] for text in one.link.quantities]
        if len(amounts) == 1 and len(set(amounts[0])) == 1:
            value = amounts[0][0]
            found[one.id] = Parameter(
                one.where, one.id, value, source=one.source or f"limit of {one.link}",
                formerly=one.formerly, link=one.link,
            )  # fmt: skip
    return found


def with_parameters(
    index: Index, found: Mapping[str, Parameter], waiting: Mapping[str, Awaited] | None = None
) -> Index:
    """Return an index in which linked parameters are the numbers that were found for them.

    ``waiting`` are those of which there is no number yet, and why.
    """
    linked = {name: one for name, one in index.linked.items() if name not in found}
    parameters = {**index.parameters, **found}
    return replace(index, parameters=parameters, linked=linked, waiting=waiting or {})


def record_named(text: str, index: Index) -> tuple[str, str] | None:
    """Return record and quantity that a link names, None where it names no record."""
    head, _, quantity = text.rpartition(".")
    return (head, quantity) if head in index.records else None


def _limit(text: str, index: Index) -> list[Amount] | None:
    """Return the amounts of the limits that a link names; None where it names no criterion."""
    head, _, key = text.rpartition(".")
    name, _, quantity = head.rpartition(".")
    if key not in LIMITS or name not in index.requirements:
        return None
    criteria = [one.criterion for one in index.requirements[name].verification]
    return [
        amount
        for criterion in criteria
        if criterion.quantity == quantity
        for end, amount in criterion.limits.amounts
        if end == key
    ]


class _Reader:
    """Follows links one after another; what is wrong goes to ``findings``."""

    def __init__(self, index: Index, units: Units) -> None:
        self._index = index
        self._units = units
        self._spelling = Spelling(index.renamed)
        self.findings: list[Finding] = []

    def sources(self, link: Link) -> tuple[Source, ...] | None:
        """Return the quantities of a link; None where it cannot be followed."""
        found = [self._source(text, link) for text in link.quantities]
        known = tuple(one for one in found if one is not None)
        if len(known) < len(found):
            return None
        fits = all(self._fits(one, known[0], link) for one in known)
        return known if fits else None

    def estimate(self, parameter: Parameter, link: Link) -> tuple[Source, ...] | None:
        """Return the quantities that an agreed range is compared with, whose unit has to fit."""
        for named in filter(None, (record_named(text, self._index) for text in link.quantities)):
            record, quantity = named
            message = f"{record}.{quantity} is measured, and no estimate"
            cure = f"write source: {{record: {record}}}, with which the range is compared"
            self._wrong("linked-parameter", link.where, message, cure)
        sources = self.sources(link)
        if sources is None:
            return None
        try:
            self._units.conversion(sources[0].field.unit, parameter.value.unit or "1")
        except UnitError as wrong:
            message = f"the range of {parameter.id} and {sources[0].text}: {wrong.message}"
            self._wrong("unit", link.where, message, wrong.cure)
            return None
        return sources

    def keys_beside(self, one: LinkedParameter) -> None:
        """Refuse what only a parameter takes whose value the project states."""
        for key in one.beside:
            self._wrong(
                "linked-parameter", one.where / key,
                f"{one.id} is found by {one.link}, and does not take {key} beside that",
                self._instead(key, one),
            )  # fmt: skip

    def _instead(self, key: str, one: LinkedParameter) -> str:
        """Return what to write in place of a key beside a link."""
        text = one.link.quantities[0]
        # By what it is not: what analyses there are is not known where no code is imported.
        is_computed = record_named(text, self._index) is None and _limit(text, self._index) is None
        at_inputs = f"write {key}: at the inputs of the analysis that computes it"
        if key in ("condition", "maturity") and is_computed:
            return at_inputs
        return _BESIDE.get(key, "remove the key; value and spread are what is found")

    def _source(self, text: str, link: Link) -> Source | None:
        name, _, quantity = text.rpartition(".")
        index = self._index
        spec = index.analyses.get(name)
        if spec is None:
            self._no_analysis(name, text, link)
            return None
        field = spec.field(quantity)
        if field is None:
            names = [one.name for one in spec.fields]
            cure = self._spelling.cure(spec.name, quantity, names, f"it returns {', '.join(names)}")
            message = f"{spec.function} returns no quantity {quantity}"
            self._wrong("unknown-quantity", link.where, message, cure)
            return None
        return Source(text, spec, field) if self._case_fits(field, link) else None

    def _case_fits(self, field: Field, link: Link) -> bool:
        if field.by_case == (link.case is not None or link.every_case):
            return True
        message = f"{field.name} has no cases"
        cure = "remove the key case"
        if field.by_case:
            message = f"{field.name} has several cases, and the link names none"
            cure = "write case: with the name of one, or cases: all for the range of all"
        self._wrong("linked-parameter", link.where, message, cure)
        return False

    def _no_analysis(self, name: str, text: str, link: Link) -> None:
        index = self._index
        if name in index.shared:
            message = f"{name} is the name of several analyses"
            cure = f"write one of {', '.join(f'{one}.' for one in index.shared[name])}..."
            self._wrong("ambiguous-analysis", link.where, message, cure)
            return
        amounts = _limit(text, index)
        if amounts is not None:
            self._no_limit(text, amounts, link)
        elif record_named(text, index) is not None:
            pass  # what a record says, and whether it is in force, is said where records are judged
        elif index.code and index.complete:
            known = [*index.analyses, *index.records]
            otherwise = "name analysis.quantity, record.quantity or requirement.quantity.at_least"
            message = f"there is no analysis or record {name}"
            kind = "record" if name in index.renamed.get("records", {}) else "analysis or record"
            cure = self._spelling.cure(kind, name, known, otherwise)
            self._wrong("unknown-analysis", link.where, message, cure)

    def _no_limit(self, text: str, amounts: list[Amount], link: Link) -> None:
        if len(link.quantities) > 1:
            message, cure = "a limit is one value, not the end of a range", "name one limit"
        elif not amounts:
            message = f"no criterion has the limit {text}, or it is not decided yet"
            cure = "name requirement.quantity.at_least or .at_most of a criterion with that limit"
        else:
            shown = ", ".join(str(one) for one in dict.fromkeys(amounts))
            message, cure = f"{text} is several limits: {shown}", "state the value of the parameter"
        self._wrong("unknown-quantity", link.where, message, cure)

    def _fits(self, source: Source, first: Source, link: Link) -> bool:
        try:
            self._units.conversion(source.field.unit, first.field.unit)
        except UnitError as wrong:
            message = f"{source.text} beside {first.text}: {wrong.message}"
            self._wrong("unit", link.where, message, wrong.cure)
            return False
        return True

    def _wrong(self, rule: str, where: Pointer, message: str, cure: str) -> None:
        self.findings.append(error(rule, where, message, cure))


_BESIDE = {
    "value": "keep one of value and from",
    "estimate": "keep one of estimate (beside an agreed range) and from",
}


def _cycles(index: Index, sources: Mapping[str, tuple[Source, ...]]) -> dict[str, Finding]:
    """Return the linked parameters that come back to themselves, each with a finding of its way."""
    graph = {
        name: tuple(sorted({a.name for s in some for a in s.spec.arguments if a.name in sources}))
        for name, some in sorted(sources.items())
    }
    found: dict[str, Finding] = {}
    for path in cycles_of(graph):
        steps = [f"{name} from {_via(sources[name], path, i)}" for i, name in enumerate(path)]
        wrong = error(
            "cycle", index.linked[path[0]].link.where,
            f"computed inputs lead back to themselves: {', '.join(steps)}, which takes {path[0]}",
            "state one of the values, or agree on a range with estimate: beside it",
        )  # fmt: skip
        found |= dict.fromkeys(path, wrong)
    return found


def _via(sources: tuple[Source, ...], path: list[str], i: int) -> str:
    """Return the quantity through which one step of a cycle leads to the next."""
    following = path[(i + 1) % len(path)]
    via = next(s for s in sources if any(a.name == following for a in s.spec.arguments))
    last = i == len(path) - 1
    return via.text if last else f"{via.text}, which takes {following}"


@dataclass(frozen=True, slots=True)
class Reach:
    """What an analysis rests on, over all analyses below it.

    ``parameters`` are those that are stated and those that are computed, ``analyses`` the names of
    itself and of those below.
    """

    parameters: frozenset[str]
    analyses: frozenset[str]


def reach_of(spec: AnalysisSpec, index: Index) -> Reach:
    """Return what an analysis rests on, whether or not its links can be evaluated."""
    names: set[str] = set()
    specs: dict[str, AnalysisSpec] = {}
    left = [spec]
    while left:
        one = left.pop()
        if one.name in specs:
            continue
        specs[one.name] = one
        for argument in one.arguments:
            names.add(argument.name)
            linked = index.linked.get(argument.name)
            texts = () if linked is None else linked.link.quantities
            below = (index.analyses.get(text.rpartition(".")[0]) for text in texts)
            left += [one for one in below if one is not None]
    return Reach(frozenset(names), frozenset(specs))


def stated(name: str, index: Index) -> Parameter | None:
    """Return a parameter, or what stands for a computed one where a what-if sets it: its unit."""
    if name in index.parameters:
        return index.parameters[name]
    linked = index.linked.get(name)
    if linked is None:
        return None
    text = linked.link.quantities[0]
    if (named := record_named(text, index)) is not None:
        value = dict(index.records[named[0]].measured).get(named[1])
        unit = _unit_taken(name, index) if value is None else value.value.unit
        return None if unit is None else Parameter(linked.where, name, _without_number(unit))
    spec = index.analyses.get(text.rpartition(".")[0])
    field = None if spec is None else spec.field(text.rpartition(".")[2])
    if field is None:
        return None
    return Parameter(linked.where, name, _without_number(field.unit), source=linked.source)


def _without_number(unit: str) -> Amount:
    return Amount("", Fraction(0), unit)


def _unit_taken(name: str, index: Index) -> str | None:
    """Return the unit in which some analysis takes a parameter; None where none does."""
    units = (a.unit for spec in index.specs for a in spec.arguments if a.name == name)
    return next(units, None)


def taken_by_links(index: Index) -> frozenset[str]:
    """Return the analyses that some parameter is found by."""
    of_estimates = (one.estimate for one in index.parameters.values())
    every = (*(one.link for one in index.linked.values()), *of_estimates)
    names = {text.rpartition(".")[0] for link in every if link for text in link.quantities}
    return frozenset(index.analyses[name].name for name in names if name in index.analyses)


def findings_of_links(index: Index, units: Units) -> Iterator[Finding]:
    """Yield what is wrong with the links of a project."""
    yield from links(index, units).findings
