"""The requirement specification: what has to be met, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from closeout.model.records import Basis, Requirement, Verification
from closeout.render.documents.sources import SPECIFICATION, Sources, pair
from closeout.render.order import natural
from closeout.render.page import both_pages
from closeout.render.plain import Markup, count, flow, safe


@dataclass(frozen=True, slots=True)
class Specified:
    """A requirement with all that is said of it."""

    name: str
    title: str
    statement: str
    facts: tuple[tuple[str, str | Markup], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """The requirements of one owner."""

    owner: str
    requirements: tuple[Specified, ...]


@dataclass(frozen=True, slots=True)
class Node:
    """A document, or a requirement below one, with its place in the tree."""

    depth: int
    what: str


def requirement_specification(sources: Sources) -> dict[str, str]:
    """Return the tree of documents and requirements, then each requirement by its owner."""
    if not sources.on_file.requirements:
        return {}
    pages = both_pages(
        "specification.md",
        sources.dossier,
        sources.title(SPECIFICATION),
        sources.face(SPECIFICATION),
        tree=list(_tree(sources)),
        parts=list(_parts(sources)),
    )
    return pair(SPECIFICATION, pages)


def _tree(sources: Sources) -> Iterator[Node]:
    """Yield documents with their requirements, and below each what is derived from it.

    A requirement with several parents stands below each; one in a circle of them stands once.
    """
    some = sources.on_file.requirements
    below: dict[str, list[str]] = {}
    for name, one in some.items():
        for parent in one.derived_from:
            below.setdefault(parent, []).append(name)

    def branch(name: str, depth: int, above: frozenset[str]) -> Iterator[Node]:
        yield Node(depth, f"{safe(name)} {safe(some[name].title)}")
        for child in sorted(below.get(name, ()), key=natural):
            if child not in above:
                yield from branch(child, depth + 1, above | {child})

    tops = [one for one in some.values() if not any(p in some for p in one.derived_from)]
    tops.sort(key=lambda one: (_document(one) == "", _document(one), natural(one.id)))
    for document, heads in groupby(tops, key=_document):
        yield Node(0, safe(document) or "without a source document")
        for head in heads:
            yield from branch(head.id, 1, frozenset({head.id}))


def _document(one: Requirement) -> str:
    return one.source.document or "" if one.source is not None else ""


def _parts(sources: Sources) -> Iterator[Part]:
    def owner(one: Requirement) -> str:
        return one.owner or ""

    ordered = sorted(
        sources.on_file.requirements.values(), key=lambda one: (owner(one), natural(one.id))
    )
    for name, some in groupby(ordered, key=owner):
        yield Part(safe(name) or "no owner named", tuple(_specified(one, sources) for one in some))


def _specified(one: Requirement, sources: Sources) -> Specified:
    return Specified(
        name=safe(one.id),
        title=f"issue {safe(one.issue)}: {safe(one.title)}",
        statement=flow(one.statement),
        facts=tuple((name, text) for name, text in _facts(one, sources) if text),
    )


def _facts(one: Requirement, sources: Sources) -> Iterator[tuple[str, str | Markup]]:
    result = sources.results.get(one.id)
    yield "rationale", flow(one.rationale or "")
    yield "type", safe(one.type or "")
    yield "safety", safe(one.safety or "")
    yield "source", flow(str(one.source)) if one.source is not None else ""
    yield "derived from", ", ".join(map(safe, one.derived_from))
    yield "lower-level requirements", ", ".join(map(safe, result.derived)) if result else ""
    if one.allocates is not None:
        yield "allocates", f"{safe(one.allocates.quantity)} by {safe(one.allocates.rule)}"
    if one.not_applicable is not None:
        yield "not applicable", flow(one.not_applicable.reason)
    for verification in one.verification:
        yield "verification", _verification(verification)
    yield "verification report", flow(one.report or "")
    yield "formerly", ", ".join(map(safe, one.formerly))


def _verification(one: Verification) -> str:
    how = (one.method.value, one.level, one.stage, one.review)
    criterion = one.criterion
    said = ", ".join(safe(part) for part in how if part)
    if criterion.quantity:
        said += f": {safe(criterion.quantity)} {flow(str(criterion.limits))}"
    if criterion.cases_at_least is not None:
        said += f", in at least {count(criterion.cases_at_least, 'case')}"
    if one.analysis or one.basis != Basis():
        said += f", {flow(str(one.basis))}"
    if criterion.given:
        said += f", given {', '.join(f'{safe(n)} = {flow(str(c))}' for n, c in criterion.given)}"
    at = one.leeway.at
    if at:
        said += f"; tested at {', '.join(f'{safe(n)} = {flow(str(c))}' for n, c in at)}"
        said += f": {flow(one.leeway.reason or '')}"
    said += f"; plan: {flow(one.plan)}" if one.plan else ""
    return said + (f"; risk assessment: {flow(one.risk)}" if one.risk else "")
