"""The front page of a package: first what the board is asked to decide, then where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.compare.worse import is_worse
from closeout.model.dossier import Compliance, RequirementResult, State
from closeout.model.records import Waiver
from closeout.model.subject import WaiverSubject
from closeout.render import rows
from closeout.render.changes import verdict
from closeout.render.close_out_picture import LEGEND as CURVE
from closeout.render.close_out_picture import close_out_svg
from closeout.render.documents import sources as kinds
from closeout.render.documents.sources import Kind, Sources, pair
from closeout.render.margins_picture import LEGEND as MARGINS
from closeout.render.margins_picture import margins_svg
from closeout.render.numbers import show_margin
from closeout.render.order import by_identifier, by_urgency
from closeout.render.page import both_pages
from closeout.render.plain import Markup, count, flow, safe
from closeout.render.words import EARLY_MEANS, is_proposed

# What a board reads, in this order; the rest of the package is named below them.
_READ = (
    kinds.MATRIX, kinds.CONTROL, kinds.STATEMENT, kinds.SAFETY, kinds.REPORT, kinds.ANALYSES,
    kinds.EVIDENCE, kinds.OPEN,
)  # fmt: skip
_SHORT = (Compliance.NC, Compliance.PC)
_UNDECIDED = (State.OPEN, State.ERROR)
_ALSO = (kinds.SPECIFICATION, kinds.CHANGES)


@dataclass(frozen=True, slots=True)
class Decision:
    """Something that a board is asked to decide, on which items, and why."""

    what: str
    items: tuple[Markup | str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Listed:
    """A requirement with what is wrong with it."""

    requirement: Markup | str
    title: str
    code: str
    why: str


@dataclass(frozen=True, slots=True)
class Named:
    """A document of the package, as it is named on the front page."""

    number: str
    path: str
    title: str


def front_page(sources: Sources, made: frozenset[str]) -> dict[str, str]:
    """Return the page with which a reader begins; ``made`` are the files of the package."""
    dossier = sources.dossier
    pages = both_pages(
        "index.md",
        dossier,
        sources.title(kinds.INDEX),
        sources.face(kinds.INDEX),
        home=None,
        decisions=list(_decisions(sources)),
        short=list(_not_compliant(sources)),
        late=list(_late(sources)),
        worse=None if sources.changes is None else list(_worse(sources)),
        state=state_in_words(dossier.requirements),
        by_review=rows.by_review(dossier),
        documents=[_named(sources, kind) for kind in _READ if kind.path in made],
        also=[_named(sources, kind) for kind in _ALSO if kind.path in made],
        outside=dossier.outside,
        margins=margins_svg(dossier, sources.on_file.required),
        margins_legend=MARGINS,
        curve=close_out_svg(dossier, sources.on_file.charter.review_dates),
        curve_legend=CURVE,
    )
    return pair(kinds.INDEX, pages)


def _named(sources: Sources, kind: Kind) -> Named:
    return Named(sources.face(kind).number or "", kind.path, kind.title)


def state_in_words(results: tuple[RequirementResult, ...]) -> list[str]:
    """Return how many requirements are compliant, closed and waiting, a sentence each."""
    some = {code: [r for r in results if r.compliance is code] for code in Compliance}
    met, said = some[Compliance.C], []
    if met:
        closed = sum(result.closed for result in met)
        waits = f", {len(met) - closed} wait for a later review" if closed < len(met) else ""
        said.append(f"{len(met)} compliant on the evidence so far: {closed} closed{waits}.")
    early = sum(result.early for result in results)
    if early:
        said.append(f"Of these, {early} ahead of plan: {EARLY_MEANS}.")
    short = [*some[Compliance.PC], *some[Compliance.NC]]
    if short:
        under = sum(result.covered for result in short)
        said.append(
            f"{len(short)} not or only partially compliant: {under} under waiver or deviation,"
            f" {len(short) - under} without."
        )
    left = some[Compliance.OPEN]
    if left:
        due = sum(result.outstanding for result in left)
        said.append(
            f"{len(left)} not decided: {due} due, {len(left) - due} wait for a later review."
        )
    if some[Compliance.NA]:
        said.append(f"{len(some[Compliance.NA])} not applicable.")
    return said or ["There is no requirement."]


def _decisions(sources: Sources) -> Iterator[Decision]:
    """Yield what a board can decide: waivers, what does not apply, closures; each with its items.

    A closure is asked for where everything is met or accepted and no board has agreed to it yet.
    """
    asked = set()
    for waiver in sources.all_of(WaiverSubject):
        one = waiver.waiver
        if one.approved_by is None or one.date is None:
            asked.add(one.requirement)
            yield Decision(
                f"approve {one.kind} {safe(one.id)}",
                (sources.to_requirement(one.requirement),),
                f"{flow(one.reason or 'no reason is given')} {_accepts(one, sources)}",
            )
    results = sources.dossier.requirements
    for result in results:
        short = [e for e in result.evidence if e.state is State.NOT_MET and e.due and not e.closed]
        # Of a shortfall below it, or one that a waiver is asked for, the board is not asked twice.
        if short and result.id not in asked:
            what = "accept a non-compliance, or not"
        elif is_proposed(result):
            what = "agree that a requirement does not apply"
        else:
            continue
        yield Decision(what, (sources.to_requirement(result.id),), flow(result.why))
    closable = [r for r in results if r.closed and not r.agreed]
    if closable:
        yield Decision(
            f"agree to close {count(len(closable), 'requirement')}",
            tuple(sources.to_requirement(r.id) for r in by_identifier(closable)),
            "every verification is met or under waiver or deviation, and no board has agreed yet",
        )


def _accepts(waiver: Waiver, sources: Sources) -> str:
    """Return what a waiver would accept, beside what is judged of it today."""
    what = f"{safe(waiver.quantity or 'all')} {flow(str(waiver.limits))}".strip()
    result = sources.results.get(waiver.requirement)
    short = [
        rows.value_and_limit(one)[0]
        for one in (() if result is None else result.evidence)
        if one.state is State.NOT_MET and waiver.quantity in (None, one.quantity)
    ]
    today = (
        f"judged {', '.join(filter(None, short))}" if any(short) else "nothing is short of it now"
    )
    return f"It accepts {what}; {today}."


def _not_compliant(sources: Sources) -> Iterator[Listed]:
    for result in by_urgency(sources.dossier.requirements):
        if result.compliance in _SHORT or any(e.state is State.NOT_MET for e in result.evidence):
            yield _listed(sources, result, flow(result.why))


def _late(sources: Sources) -> Iterator[Listed]:
    """Yield what should have been closed: at the review that is judged, or at one before it."""
    for result in by_urgency(sources.dossier.requirements):
        open_ = any(e.due and not e.closed and e.state in _UNDECIDED for e in result.evidence)
        if result.outstanding and (open_ or result.compliance not in _SHORT):
            reviews = dict.fromkeys(e.review for e in result.evidence if e.due and not e.closed)
            due = ", ".join(safe(review) for review in reviews if review)
            why = flow(result.why)
            yield _listed(sources, result, f"due at {due}: {why}" if due else why)


def _listed(sources: Sources, result: RequirementResult, why: str) -> Listed:
    return Listed(
        sources.to_requirement(result.id), safe(result.title), result.compliance.value, why
    )


def _worse(sources: Sources) -> Iterator[tuple[Markup | str, str]]:
    """Yield what got worse since the earlier state: verdicts, then margins that were halved."""
    changes = sources.changes
    assert changes is not None
    told = set()
    for one in changes.verdicts:
        if is_worse(one):
            told.add(one.now.id)
            yield sources.to_requirement(one.now.id), verdict(one)
    for moved in changes.margins:
        if moved.after < 0.5 * moved.before and moved.requirement not in told:
            unit = moved.now.margin_unit
            yield (
                sources.to_requirement(moved.requirement),
                f"margin of {rows.subject(moved.now)}: {show_margin(moved.before, unit)} before,"
                f" {show_margin(moved.after, unit)} now",
            )
