"""The statement of compliance: a customer's document clause by clause, with what is answered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from closeout.model.dossier import Compliance, RequirementResult
from closeout.model.records import Requirement, Source
from closeout.render import words
from closeout.render.documents.sources import STATEMENT, Sources, pair
from closeout.render.order import natural
from closeout.render.page import both_pages
from closeout.render.plain import Markup, flow, safe


@dataclass(frozen=True, slots=True)
class Answer:
    """What is answered to a requirement of a clause."""

    clause: str
    requirement: Markup | str
    text: str
    code: str
    word: str
    comment: str
    evidence: tuple[Markup | str, ...]


@dataclass(frozen=True, slots=True)
class Clauses:
    """A document with its requirements in the order of its clauses.

    ``held`` is the issue in the register, ``older`` names the issues that requirements cite when
    they are others.
    """

    name: str
    title: str
    held: str
    older: str
    answers: tuple[Answer, ...]


def statement_of_compliance(sources: Sources) -> dict[str, str]:
    """Return the statement, a section for each document that requirements cite as their source."""
    documents = list(_documents(sources))
    if not documents:
        return {}
    pages = both_pages(
        "statement.md",
        sources.dossier,
        sources.title(STATEMENT),
        sources.face(STATEMENT),
        documents=documents,
        statuses=words.statuses(),
    )
    return pair(STATEMENT, pages)


def _documents(sources: Sources) -> Iterator[Clauses]:
    cited = [
        (requirement.source, requirement, sources.results[name])
        for name, requirement in sources.on_file.requirements.items()
        if requirement.source is not None and name in sources.results
    ]
    cited.sort(key=lambda one: _place(one[0], one[1]))
    for name, some in groupby(cited, key=lambda one: one[0].document or ""):
        answers = list(some)
        register = {one.id: one for one in sources.on_file.documents}
        document = register.get(name)
        issues = dict.fromkeys(source.issue for source, _, _ in answers if source.issue)
        others = [issue for issue in issues if document is None or issue != document.issue]
        yield Clauses(
            name=safe(name) or "Sources outside the register",
            title=flow(document.title) if document else "",
            held=safe(document.issue or "") if document else "",
            older=", ".join(map(safe, others)),
            answers=tuple(_answer(*one, sources) for one in answers),
        )


def _place(source: Source, requirement: Requirement) -> tuple[object, ...]:
    """Return the order: by document, those without one last; clauses by the value of numbers."""
    where = source.clause or source.text or ""
    return not source.document, source.document or "", natural(where), natural(requirement.id)


def _answer(
    source: Source, requirement: Requirement, result: RequirementResult, sources: Sources
) -> Answer:
    entry = sources.entries[requirement.id]
    return Answer(
        clause=flow(source.clause or source.text or ""),
        requirement=sources.to_requirement(requirement.id),
        text=f"{safe(requirement.title)}: {flow(requirement.statement)}",
        code=result.compliance.value,
        word=_meaning(result),
        comment=_comment(result, sources),
        evidence=tuple(dict.fromkeys(filter(None, map(sources.to_evidence, entry.folded)))),
    )


def _meaning(result: RequirementResult) -> str:
    """Return the code in words; what is compliant and not closed is so on the evidence so far."""
    if result.compliance is Compliance.C and not result.closed:
        return "compliant on the evidence so far, not closed"
    return words.CODES[result.compliance]


def _accepted_below(
    result: RequirementResult, sources: Sources, above: frozenset[str] = frozenset()
) -> Iterator[str]:
    """Yield each waiver that covers a shortfall below a requirement, with that requirement."""
    for name in result.derived:
        below = sources.results.get(name)
        if below is None or name in above:
            continue
        for one in below.evidence:
            if one.covered_by:
                yield f"{one.covered_by} for {name}"
        yield from _accepted_below(below, sources, above | {result.id, name})


def _comment(result: RequirementResult, sources: Sources) -> str:
    """Return what stands behind a code: what is waited for, accepted, or left to be done."""
    entry = sources.entries[result.id]
    said = [entry.remark] if entry.remark else []
    if result.derived:
        below = ", ".join(
            f"{safe(name)} {sources.results[name].compliance.value}"
            for name in result.derived
            if name in sources.results
        )
        said.append(f"through {below}")
        accepted = sorted(set(_accepted_below(result, sources)))
        if accepted:
            said.append(f"not met, accepted below: {', '.join(map(safe, accepted))}")
    if entry.agreed:
        said.append(entry.agreed)
    return "; ".join(said)
