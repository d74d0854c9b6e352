"""What a change would open again: evidence by records, measured inputs, analyses, their tests.

A record is compared with a project in which the change has been made, so that nothing is said here
that the verdicts would not say then. Re-verification: ECSS-E-ST-10-02C Rev.1, 5.4.3.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from closeout.graph.cites import citing, is_source
from closeout.graph.impact_edges import file_node
from closeout.graph.index import Index
from closeout.judge.measured_inputs import measured_inputs
from closeout.judge.records import in_force
from closeout.judge.validity import Validity
from closeout.model.amount import Amount
from closeout.model.dossier import Dossier, State
from closeout.model.impact import Again, Kind, Node, OpenAgain, told
from closeout.model.issue import following
from closeout.model.records import Record, Requirement, Spread, Verification, build_text

_NEXT = "(the next)"  # a build that no record was made on
_FAR = 10**3  # times the value: outside of whatever window a test has

Counting = frozenset[tuple[str, int, str]]
Says = Callable[[Record], str]


@dataclass(frozen=True, slots=True)
class _Standing:
    """What counts: verifications by record, and parameters that a record gives their number."""

    evidence: Counting
    inputs: frozenset[str]

    @classmethod
    def of(cls, validity: Validity) -> _Standing:
        return cls(frozenset(_counting(validity)), _measured(validity))


def open_again(
    roots: Collection[Node], above: Iterable[Node], validity: Validity
) -> tuple[OpenAgain, ...]:
    """Return what a change of some nodes would open again; ``above`` is what rests on them."""
    today = _Standing.of(validity)
    reached = told(list({*roots, *above}))
    found: list[OpenAgain] = []
    for node in told(roots):
        found += _of_root(node, validity, today)
    # What a parameter is found by changes it as well.
    for node in reached:
        if node.kind is Kind.PARAMETER:
            found += _of_condition(node, validity, today)
    for node in reached:
        if node.kind is Kind.ANALYSIS:
            found += _of_analysis(node, validity.index)
    return tuple(dict.fromkeys(found))


def open_now(
    nodes: Collection[Node], concerned: Mapping[str, Collection[int]], dossier: Dossier
) -> Iterator[OpenAgain]:
    """Yield the verifications by some records that are open, with the reason."""
    names = {node.name for node in nodes if node.kind is Kind.RECORD}
    for result in dossier.requirements:
        for entry in result.evidence if result.id in concerned else ():
            is_open = entry.state is State.OPEN and entry.number in concerned[result.id]
            if is_open and entry.record is not None and entry.message:
                node = Node(Kind.REQUIREMENT, result.id)
                if entry.record in names or node in nodes:
                    yield OpenAgain(
                        node, Again.OPEN_NOW, entry.record, result.id, entry.number, entry.message
                    )


def _of_root(node: Node, validity: Validity, today: _Standing) -> Iterator[OpenAgain]:
    index = validity.index
    match node.kind:
        case Kind.ARTICLE:
            yield from _of_article(node, validity, today)
        case Kind.REQUIREMENT:
            yield from _of_requirement(node, validity, today)
        case Kind.CODE | Kind.DATA:
            yield from _of_data(node, validity, today)
        case Kind.DOCUMENT:
            yield from _of_document(node, index)
        case Kind.RECORD:
            for requirement, number, verification in _verifications(index):
                if node.name in verification.records:
                    yield OpenAgain(node, Again.JUDGED, node.name, requirement.id, number)


def _of_article(node: Node, validity: Validity, today: _Standing) -> Iterator[OpenAgain]:
    article = validity.index.articles.get(node.name)
    if article is None or article.build is None:
        return  # of one whose build is not given no record can be of another
    articles = {**validity.index.articles, node.name: replace(article, build=_NEXT)}
    then = replace(validity, index=replace(validity.index, articles=articles))

    def made_on(record: Record) -> str:
        return f"made on {build_text(dict(record.article).get(node.name, article.build or ''))}"

    yield from _lost(node, today, _Standing.of(then), validity, made_on)


def _of_requirement(node: Node, validity: Validity, today: _Standing) -> Iterator[OpenAgain]:
    one = validity.index.requirements[node.name]
    raised = replace(one, issue=following(one.issue) or f"{one.issue}.1")
    requirements = {**validity.index.requirements, node.name: raised}
    then = replace(validity, index=replace(validity.index, requirements=requirements))

    def judged(record: Record) -> str:
        issue = dict(record.judged).get(one.id)
        return f"judged issue {issue}" if issue else "names no issue that it judged"

    yield from _lost(node, today, _Standing.of(then), validity, judged)


def _of_data(node: Node, validity: Validity, today: _Standing) -> Iterator[OpenAgain]:
    """Yield what rests on the digest of a data file; without one a change is not noticed."""
    names = [
        record.id
        for record in validity.index.records.values()
        if record.data is not None and file_node(record.data) == node
    ]
    noticed = {name for name in names if validity.index.records[name].data_sha256 is not None}
    then = replace(validity, altered=validity.altered | noticed)
    yield from _lost(node, today, _Standing.of(then), validity, lambda _: "keeps its digest")
    for name in names:
        if name not in noticed:
            yield OpenAgain(node, Again.UNNOTICED, name)


def _of_document(node: Node, index: Index) -> Iterator[OpenAgain]:
    """Yield the requirements to be assessed against a new issue: its own, and what derives."""
    cites = citing(node.name)
    own = {one.id for one in index.requirements.values() if is_source(node.name, one, cites)}
    below = index.below(own)
    for name in index.requirements:
        if name in below:
            detail = "" if name in own else "derived"
            yield OpenAgain(node, Again.ASSESS, name, name, detail=detail)


def _of_condition(node: Node, validity: Validity, today: _Standing) -> Iterator[OpenAgain]:
    """Yield the records that were run at the present value of a parameter."""
    parameter = validity.index.parameters.get(node.name)
    stated = {
        record.id: str(dict(record.conditions)[node.name])
        for record in validity.index.records.values()
        if node.name in dict(record.conditions)
    }
    if parameter is None or not stated:
        return
    left: set[OpenAgain] = set()
    for sign in (-1, 1):  # a test may be harsher on one of the two sides
        number = sign * (abs(parameter.value.number) + 1) * _FAR
        far = Amount(f"{number} {parameter.value.unit}", number, parameter.value.unit)
        moved = replace(parameter, value=far, spread=Spread())
        parameters = {**validity.index.parameters, node.name: moved}
        index = replace(validity.index, parameters=parameters)
        then = _Standing.of(replace(validity, index=index))
        left |= set(_lost(node, today, then, validity, lambda r: f"run at {stated.get(r.id, '')}"))
    yield from sorted(left, key=lambda one: (one.requirement or "", one.number or 0, one.about))


def _of_analysis(node: Node, index: Index) -> Iterator[OpenAgain]:
    spec = index.analyses.get(node.name)
    yield OpenAgain(node, Again.EVALUATED, node.name)
    for path in () if spec is None else spec.validated_by:
        yield OpenAgain(node, Again.TEST, path)


def _lost(
    node: Node, today: _Standing, then: _Standing, validity: Validity, says: Says
) -> Iterator[OpenAgain]:
    """Yield what counts today and would not then; ``says`` tells what a record was made of."""
    index = validity.index
    for requirement, number, name in sorted(today.evidence - then.evidence):
        detail = says(index.records[name])
        yield OpenAgain(node, Again.REOPENED, name, requirement, number, detail)
    for parameter in sorted(today.inputs - then.inputs):
        name = index.parameters[parameter].record or ""
        detail = f"{name} {says(index.records[name])}" if name in index.records else ""
        yield OpenAgain(node, Again.WAITING, parameter, detail=detail)


def _counting(validity: Validity) -> Iterator[tuple[str, int, str]]:
    """Yield requirement, number and record of each verification by a record that counts."""
    index = validity.index
    for requirement, number, verification in _verifications(index):
        for record in in_force(requirement, verification, validity):
            yield requirement.id, number, record.id


def _measured(validity: Validity) -> frozenset[str]:
    """Return the parameters to which a record gives their number."""
    linked = {one.id: one for one in validity.index.project.linked}
    index = replace(validity.index, linked=linked)
    return frozenset(measured_inputs(replace(validity, index=index)).parameters)


def _verifications(index: Index) -> Iterator[tuple[Requirement, int, Verification]]:
    for requirement in index.requirements.values():
        if requirement.not_applicable is None:
            for number, verification in enumerate(requirement.verification):
                yield requirement, number, verification
