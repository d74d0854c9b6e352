"""What rests on what in a project, edge by edge: as its files say it, and as its analyses read."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from closeout.graph.cites import citing, rests_on
from closeout.graph.index import Index
from closeout.graph.links import LIMITS, record_named
from closeout.model.impact import Edge, Kind, Node, Reading
from closeout.model.records import (
    Link,
    LinkedParameter,
    Parameter,
    Record,
    Requirement,
    Verification,
)


@dataclass(frozen=True, slots=True)
class Trail:
    """What the edges of a project follow from.

    ``readings`` are by analysis. ``decided`` are records by requirement and number of the
    verification about which they decide, though it need not name them; ``reported`` those that
    found, retest or close a nonconformance, by the requirements that it is about.
    """

    index: Index
    readings: Mapping[str, Reading]
    decided: Mapping[tuple[str, int], Collection[str]] = field(default_factory=dict)
    reported: Mapping[str, Collection[str]] = field(default_factory=dict)


def file_node(path: str) -> Node:
    """Return the node of a file that analyses or records use."""
    return Node(Kind.CODE if path.endswith(".py") else Kind.DATA, path)


def edges(trail: Trail) -> Iterator[Edge]:
    """Yield every edge; some more than once."""
    index = trail.index
    limits = limit_links(index)
    for requirement in index.requirements.values():
        yield from _of_requirement(requirement, trail, limits)
    for text in _quantities(index):
        yield from quantity_edges(text, index)
    yield from _of_analyses(trail)
    yield from _of_parameters(index, limits)
    for record in index.records.values():
        yield from _of_record(record, index)
    yield from _of_documents(index)


def targets(requirement: Requirement, number: int, trail: Trail) -> Iterator[Node]:
    """Yield what one verification of a requirement rests on."""
    index, verification = trail.index, requirement.verification[number]
    if requirement.not_applicable is not None:
        return
    if (asked := _asked(verification, index)) is not None:
        yield asked
    decided = trail.decided.get((requirement.id, number), ())
    for name in dict.fromkeys((*verification.records, *decided)):
        if name in index.records:
            yield Node(Kind.RECORD, name)
    for end, _ in verification.criterion.limits.amounts:
        yield Node(Kind.LIMIT, f"{requirement.id}.{verification.criterion.quantity}.{end}")


@lru_cache(maxsize=1)  # asked for each requirement that is named
def limit_links(index: Index) -> Mapping[str, list[str]]:
    """Return the parameters that are limits, by the limit: ``requirement.quantity.at_least``."""
    found: dict[str, list[str]] = {}
    for one in index.project.linked:
        for text in one.link.quantities:
            head, _, end = text.rpartition(".")
            if end in LIMITS and head.rpartition(".")[0] in index.requirements:
                found.setdefault(text, []).append(one.id)
    return found


def quantity_edges(text: str, index: Index) -> Iterator[Edge]:
    """Yield what a quantity of an analysis rests on."""
    spec = index.analyses[text.rpartition(".")[0]]
    yield Edge(Node(Kind.QUANTITY, text), Node(Kind.ANALYSIS, spec.name))


def quantity_named(text: str, index: Index) -> Node | None:
    """Return the node of ``analysis.quantity`` under the analysis' shown name."""
    head, _, name = text.rpartition(".")
    spec = index.analyses.get(head)
    if spec is not None and spec.field(name) is not None:
        return Node(Kind.QUANTITY, f"{spec.name}.{name}")
    # Of one that cannot be used nobody knows which quantities it has.
    return Node(Kind.ANALYSIS, head) if _is_unusable(head, index) else None


def _asked(verification: Verification, index: Index) -> Node | None:
    name, quantity = verification.analysis, verification.criterion.quantity
    if name is None:
        return None
    spec = index.analyses.get(name)
    if spec is None:
        return Node(Kind.ANALYSIS, name) if _is_unusable(name, index) else None
    if quantity is None or spec.field(quantity) is None:
        return Node(Kind.ANALYSIS, spec.name)
    return Node(Kind.QUANTITY, f"{spec.name}.{quantity}")


def _is_unusable(name: str, index: Index) -> bool:
    items = (index.requirements, index.parameters, index.records, index.analyses)
    return name in index.left_out and not any(name in some for some in items)


def _of_requirement(
    requirement: Requirement, trail: Trail, limits: Container[str]
) -> Iterator[Edge]:
    index, user = trail.index, Node(Kind.REQUIREMENT, requirement.id)
    for name in index.derived.get(requirement.id, ()):
        if name in index.requirements:
            yield Edge(user, Node(Kind.REQUIREMENT, name))
    for number in range(len(requirement.verification)):
        for node in targets(requirement, number, trail):
            # A limit is a node of its own only where something else takes it.
            if node.kind is not Kind.LIMIT or node.name in limits:
                yield Edge(user, node)
    for name in trail.reported.get(requirement.id, ()):
        if name in index.records:
            yield Edge(user, Node(Kind.RECORD, name))


def _quantities(index: Index) -> Iterator[str]:
    """Yield the quantities that something takes."""
    nodes = [
        _asked(one, index)
        for requirement in index.requirements.values()
        for one in requirement.verification
        if requirement.not_applicable is None
    ]
    nodes += [quantity_named(text, index) for link in links_of(index) for text in link.quantities]
    yield from dict.fromkeys(one.name for one in nodes if one and one.kind is Kind.QUANTITY)


def links_of(index: Index) -> Iterator[Link]:
    """Yield every link of a project: of linked parameters, and of agreed ranges."""
    yield from (one.link for one in index.project.linked)
    yield from (one.estimate for one in index.parameters.values() if one.estimate is not None)


def _of_analyses(trail: Trail) -> Iterator[Edge]:
    index = trail.index
    for spec in index.specs:
        user = Node(Kind.ANALYSIS, spec.name)
        for argument in spec.arguments:
            if argument.name in index.parameters or argument.name in index.linked:
                yield Edge(user, Node(Kind.PARAMETER, argument.name))
        yield Edge(user, file_node(spec.path))
        for text in spec.validated_by:
            yield Edge(user, Node(Kind.TEST, text.partition("::")[0]))
    for reading in trail.readings.values():
        for path in sorted(reading.files):
            yield Edge(Node(Kind.ANALYSIS, reading.analysis), file_node(path))


def _of_parameters(index: Index, limits: Container[str]) -> Iterator[Edge]:
    for one in index.project.linked:
        for text in one.link.quantities:
            yield from _linked(Node(Kind.PARAMETER, one.id), text, index, limits)
    for parameter in index.parameters.values():
        user = Node(Kind.PARAMETER, parameter.id)
        if parameter.record in index.records:
            yield Edge(user, Node(Kind.RECORD, parameter.record or ""))
        for text in () if parameter.estimate is None else parameter.estimate.quantities:
            yield from _linked(user, text, index, limits)


def _linked(user: Node, text: str, index: Index, limits: Container[str]) -> Iterator[Edge]:
    """Yield what a parameter rests on that is found by one quantity, or held against it."""
    # As links are followed: an analysis first.
    if (found := quantity_named(text, index)) is not None:
        yield Edge(user, found)
    elif (named := record_named(text, index)) is not None:
        yield Edge(user, Node(Kind.RECORD, named[0]))
    elif text in limits:
        yield Edge(user, Node(Kind.LIMIT, text))


def _of_record(record: Record, index: Index) -> Iterator[Edge]:
    user = Node(Kind.RECORD, record.id)
    for name, _ in record.article:
        if name in index.articles:
            yield Edge(user, Node(Kind.ARTICLE, name))
    if record.data is not None:
        yield Edge(user, file_node(record.data))
    for name, _ in record.conditions:
        if name in index.parameters or name in index.linked:
            yield Edge(user, Node(Kind.PARAMETER, name))


def _of_documents(index: Index) -> Iterator[Edge]:
    """Yield who cites a document of the register: as source, in a statement, as its report."""
    found: list[Parameter | LinkedParameter] = list(index.parameters.values())
    found += [one for one in index.project.linked if one.id not in index.parameters]
    for name in index.documents:
        cites, used = citing(name), Node(Kind.DOCUMENT, name)
        for requirement in index.requirements.values():
            if rests_on(name, requirement, cites):
                yield Edge(Node(Kind.REQUIREMENT, requirement.id), used)
        for parameter in found:
            if cites(parameter.source):
                yield Edge(Node(Kind.PARAMETER, parameter.id), used)
        for record in index.records.values():
            if cites(record.document):
                yield Edge(Node(Kind.RECORD, record.id), used)


def mentioned(index: Index) -> frozenset[Node]:
    """Return what something uses that no verdict rests on, by which it is not idle.

    Conditions that a criterion gives a value of its own; documents that plans, waivers, agreements
    or the charter name; articles and records of nonconformances.
    """
    project = index.project
    found = {
        Node(Kind.PARAMETER, name)
        for _, _, verification in project.verifications()
        for name, _ in verification.criterion.given
    }
    texts = [*_texts(index)]
    for name in index.documents:
        cites = citing(name)
        if name in project.charter.authorities or any(map(cites, texts)):
            found.add(Node(Kind.DOCUMENT, name))
    for report in project.nonconformances:
        found |= {Node(Kind.ARTICLE, name) for name, _ in report.article}
        records = (report.found_by, report.closed_by, *report.retest)
        found |= {Node(Kind.RECORD, name) for name in records if name is not None}
    return frozenset(found)


def _texts(index: Index) -> Iterable[str | None]:
    project = index.project
    for requirement, _, verification in project.verifications():
        yield from (verification.plan, verification.risk, requirement.report)
    for requirement in project.requirements:
        yield requirement.rationale
        if requirement.not_applicable is not None:
            yield requirement.not_applicable.document
    yield from (one.document for one in project.waivers)
    yield from (one.document for one in project.agreements)
    yield from project.charter.reports.values()
    yield from (one.explained.document for one in project.records if one.explained)
