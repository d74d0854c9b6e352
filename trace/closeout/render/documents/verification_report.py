"""The verification report: do the methods agree? Its annexes are the lists of what is on file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from closeout.model.dossier import Evidence, RequirementResult, State
from closeout.render import rows
from closeout.render.compared import unpredicted
from closeout.render.compared_table import table_of
from closeout.render.documents import lists
from closeout.render.documents.sources import REPORT, Sources, pair
from closeout.render.order import by_identifier
from closeout.render.page import both_pages
from closeout.render.plain import Markup, safe

# What a list without an entry is called, since its annex is left out.
_NAMES = {
    "waivers": "waivers or deviations",
    "nonconformances": "nonconformances",
    "agreements": "closures agreed by a board",
    "undecided": "TBD or TBC",
    "documents": "documents",
    "articles": "articles",
    "parameters": "parameters",
    "required": "required margins",
    "budgets": "budgets",
}


@dataclass(frozen=True, slots=True)
class Method:
    """What one method says of a requirement."""

    how: str
    evidence: Markup | str
    state: str


@dataclass(frozen=True, slots=True)
class Reported:
    """A requirement with a line for each method, and whether the methods agree."""

    requirement: Markup | str
    title: str
    code: str
    methods: tuple[Method, ...]
    agreement: str


@dataclass(frozen=True, slots=True)
class Subsystem:
    """The requirements of one owner."""

    owner: str
    requirements: tuple[Reported, ...]


def verification_report(sources: Sources) -> dict[str, str]:
    """Return the report: by owner a line for each method; then the lists as annexes."""
    dossier = sources.dossier
    listed: dict[str, Any] = {
        "waivers": lists.waivers(sources),
        "nonconformances": lists.nonconformances(sources),
        "agreements": lists.agreements(sources),
        "undecided": lists.undecided(sources),
        "documents": lists.documents(sources),
        "articles": lists.articles(sources),
        "parameters": lists.parameters(sources),
        "required": lists.required(sources),
        "budgets": lists.budgets(sources),
    }
    pages = both_pages(
        "verification-report.md",
        dossier,
        sources.title(REPORT),
        sources.face(REPORT),
        subsystems=list(_subsystems(sources)),
        open_terms_until=sources.on_file.charter.policy.open_terms_until,
        compared=table_of(dossier.compared),
        unpredicted=unpredicted(dossier),
        none=[_NAMES[key] for key, some in listed.items() if not some],
        **listed,
    )
    return pair(REPORT, pages)


def _subsystems(sources: Sources) -> Iterator[Subsystem]:
    def owner(result: RequirementResult) -> str:
        return result.owner or ""

    ordered = sorted(by_identifier(sources.dossier.requirements), key=owner)
    for name, some in groupby(ordered, key=owner):
        yield Subsystem(safe(name) or "no owner named", tuple(_reported(r, sources) for r in some))


def _reported(result: RequirementResult, sources: Sources) -> Reported:
    some = [list(cases) for _, cases in groupby(result.evidence, lambda one: one.number)]
    decided = [rows.deciding(cases) for cases in some]
    methods = tuple(_method(one, sources) for one in decided)
    if not methods and result.derived:
        below = ", ".join(map(safe, result.derived))
        methods = (Method("through lower-level requirements", below, ""),)
    return Reported(
        requirement=sources.to_requirement(result.id),
        title=safe(result.title),
        code=result.compliance.value,
        methods=methods or (Method("no verification", "", ""),),
        agreement=_agreement(decided),
    )


def _method(one: Evidence, sources: Sources) -> Method:
    line = rows.line(one)
    how = ", ".join(filter(None, (line.method, line.level, line.stage)))
    evidence = sources.to_evidence(line)
    return Method(how, evidence, f"{line.state}, {line.cover_words}" if line.cover else line.state)


def _agreement(decided: list[Evidence]) -> str:
    """Return whether the methods that have decided say the same of the requirement."""
    if len({one.method for one in decided}) < 2:
        return ""
    states = [one.state for one in decided if one.state in (State.MET, State.NOT_MET)]
    if len(states) < len(decided):
        left = len(decided) - len(states)
        return f"{left} of {len(decided)} not decided"
    return "agree" if len(set(states)) == 1 else "do not agree"
