"""The lists of what a project has on file: waivers, nonconformances, articles, documents, ..."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from closeout.model.dossier import ComputedFound, Evidence, ParameterSaid
from closeout.model.on_file import RequiredText
from closeout.model.records import Waiver
from closeout.model.subject import (
    ArticleSubject,
    DocumentSubject,
    ReportSubject,
    WaiverSubject,
)
from closeout.render import item_words, numbers, rows, words
from closeout.render.documents.sources import Sources
from closeout.render.page import link
from closeout.render.plain import Markup, flow, safe

Cell = Markup | str
Cells = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """An item with the cells of its row; the first one is its identifier."""

    name: str
    cells: Cells


def waivers(sources: Sources) -> list[Row]:
    """Return every waiver and deviation, those in force first: what, why, by whom, what now."""
    found = sorted(
        sources.all_of(WaiverSubject), key=lambda one: (bool(one.not_in_force), one.waiver.id)
    )
    return [_waiver(one, sources) for one in found]


def _waiver(subject: WaiverSubject, sources: Sources) -> Row:
    waiver = subject.waiver
    cases = "" if waiver.cases is None else f" ({', '.join(map(safe, waiver.cases))})"
    return Row(
        safe(waiver.id),
        (
            waiver.kind,
            sources.to_requirement(waiver.requirement),
            f"{safe(waiver.quantity or 'all')}: {flow(str(waiver.limits))}{cases}".rstrip(": "),
            flow(waiver.reason or "") or "none given",
            _approval(waiver),
            safe(waiver.expires or "") or "never",
            _state_of_waiver(subject),
        ),
    )


def _approval(waiver: Waiver) -> str:
    if not waiver.approved_by:
        asked = f", asked for in {flow(waiver.document)}" if waiver.document else ""
        return f"not yet approved{asked}"
    parts = (waiver.approved_by, waiver.date or item_words.planned(waiver), waiver.document)
    return ", ".join(flow(part) for part in parts if part)


def _state_of_waiver(subject: WaiverSubject) -> str:
    if subject.not_in_force:
        return f"not in force: {'; '.join(map(flow, subject.not_in_force))}"
    covers = ", ".join(rows.subject(entry) for entry in subject.covers)
    said = f"in force; covers {covers or 'nothing now'}"
    left = ", ".join(rows.subject(entry) for entry in subject.left if not entry.covered_by)
    others = [entry for entry in subject.left if entry.covered_by]
    for entry in others:
        said += f"; {rows.subject(entry)} is covered by {safe(entry.covered_by or '')}"
    return f"{said}; does not cover {left}" if left else said


def nonconformances(sources: Sources) -> list[Row]:
    """Return every nonconformance, open ones first: about what, why, what was done or is left."""
    found = sorted(
        sources.all_of(ReportSubject),
        key=lambda one: (one.reported.left is None, one.reported.report.id),
    )
    return [_nonconformance(one, sources) for one in found]


def _nonconformance(subject: ReportSubject, sources: Sources) -> Row:
    report = subject.reported.report
    return Row(
        safe(report.id),
        (
            safe(report.klass or ""),
            ", ".join(map(item_words.build, subject.builds)),
            _all(sources.to_requirement(name) for name, _ in subject.requirements),
            sources.to_record(report.found_by) if report.found_by else "",
            flow(report.cause or ""),
            safe(report.disposition or "") or "none yet",
            flow(report.corrective_action or ""),
            _all(map(sources.to_record, report.retest)),
            f"open: {flow(subject.reported.left)}"
            if subject.reported.left
            else _all(["closed by ", sources.to_record(report.closed_by or "")], ""),
        ),
    )


def _all(cells: Iterable[Cell], between: str = ", ") -> Cell:
    """Return cells as one; texts among them are escaped where a link stands beside them."""
    from closeout.render.plain import markdown

    return Markup(between.join(markdown(cell) for cell in cells))


def agreements(sources: Sources) -> list[Cells]:
    """Return what boards agreed as closed, or are planned to."""
    return [
        (
            safe(one.review), one.date or f"planned for {one.planned or 'no date'}",
            flow(one.by or ""), flow(one.document or ""),
            _all(map(sources.to_requirement, one.requirements)),
        )
        for one in sources.on_file.agreements
    ]  # fmt: skip


def undecided(sources: Sources) -> list[Cells]:
    """Return every TBD and TBC with its place and owner."""
    return [
        (sources.to_requirement(one.name), safe(one.place), safe(one.term), safe(one.owner or ""))
        for one in sources.on_file.undecided
    ]


def documents(sources: Sources) -> list[Row]:
    """Return the register of documents, then what is cited beside it, each with what cites it."""
    subjects = sources.all_of(DocumentSubject)
    return [_document(one) for one in sorted(subjects, key=lambda s: (s.document is None, s.id))]


def _document(subject: DocumentSubject) -> Row:
    document = subject.document
    cites = [
        (len(subject.requirements), "source of", [one.id for one in subject.requirements]),
        (len(subject.plans), "plan, report or risk assessment of", list(subject.plans)),
        (len(subject.records), "report of", [one.id for one in subject.records]),
        (len(subject.waivers), "document of", [one.id for one in subject.waivers]),
        (len(subject.agreements), "minutes of", [one.review for one in subject.agreements]),
        (len(subject.parameters), "source of", [one.id for one in subject.parameters]),
    ]
    return Row(
        safe(subject.id),
        (
            flow(document.title) if document else "not in the register",
            safe(document.issue or "") if document else "",
            (document.date or "") if document else "",
            "; ".join(f"{word} {_some(names)}" for number, word, names in cites if number),
        ),
    )


def _some(names: Sequence[str], most: int = 6) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(map(safe, names[:most])) + more


def articles(sources: Sources) -> list[Row]:
    """Return every article as built: its build, the records made on it, its nonconformances."""
    return [_article(one, sources) for one in sources.all_of(ArticleSubject)]


def _article(subject: ArticleSubject, sources: Sources) -> Row:
    article = subject.article
    present = [record for record, build in subject.records if build.is_present]
    earlier = [(record, build) for record, build in subject.records if not build.is_present]
    return Row(
        safe(article.id),
        (
            flow(article.title),
            safe(article.model),
            safe(article.build or "not given"),
            article.date or "",
            _all(sources.to_record(record.id) for record in present),
            _all(
                Markup(f"{_all([sources.to_record(record.id)])} on {_all([safe(build.build)])}")
                for record, build in earlier
            ),
            _all(
                Markup(
                    f"{_all([sources.to_nonconformance(one.report.id)])}"
                    f" {'open' if one.left else 'closed'}"
                )
                for one in subject.reports
            ),
        ),
    )


def parameters(sources: Sources) -> list[Row]:
    """Return every parameter: value and spread, or from where it is found; source and maturity."""
    found = {
        one.name: (evaluation.analysis, one)
        for evaluation in sources.dossier.evaluations
        for one in evaluation.computed
    }
    used = _users(sources)
    return [_parameter(one, found, used, sources) for one in sources.dossier.parameters]


def _users(sources: Sources) -> dict[str, list[str]]:
    """Return the analyses that take a parameter, by its name."""
    users: dict[str, dict[str, None]] = {}
    for evaluation in sources.dossier.evaluations:
        for name in evaluation.names:
            users.setdefault(name, {})[evaluation.analysis] = None
    return {name: sorted(some) for name, some in users.items()}


def _parameter(
    said: ParameterSaid,
    found: dict[str, tuple[str, ComputedFound]],
    used: dict[str, list[str]],
    sources: Sources,
) -> Row:
    value, spread = flow(said.text), flow(said.spread)
    setting = dict(sources.dossier.settings).get(said.name)
    if setting is not None:
        value = f"{flow(setting)} (what if; declared {value})"
    if said.computed and (hit := found.get(said.name)):
        one = hit[1]
        value, low, high = numbers.show_extent(one.value, one.low, one.high, one.unit)
        spread = f"{low} to {high}" if low and high else ""
    origin = f"computed from {flow(said.computed)}" if said.computed else ""
    if said.estimate:
        origin = f"agreed range, held against {flow(said.estimate)}"
    if said.awaited:
        origin = f"{origin}; {flow(said.awaited)}".lstrip("; ")
    return Row(
        safe(said.name),
        (
            value,
            spread,
            words.condition(said),
            origin,
            safe(said.maturity or ""),
            flow(said.source or ""),
            _all(_analysis(name, sources) for name in used.get(said.name, ())),
        ),
    )


def _analysis(name: str, sources: Sources) -> Cell:
    shown = safe(name)
    return link(shown, sources.reports[name]) if name in sources.reports else shown


def required(sources: Sources) -> list[Cells]:
    """Return the margins that the policy requires, beside those reached; decided unrounded."""
    found = []
    for (name, number), some in sources.on_file.required.items():
        result = sources.results.get(name)
        cases = [] if result is None else [e for e in result.evidence if e.number == number]
        if cases:
            one = rows.deciding(cases)
            found += [_required(name, one, margin, sources) for margin in some]
    return found


def _required(name: str, one: Evidence, margin: RequiredText, sources: Sources) -> Cells:
    line = rows.line(one)
    limits = [limit for limit in (margin.at_least, margin.at_most) if limit is not None]
    unit = safe(one.unit or "")
    end = rows.judged_end(one)
    _, shown = numbers.show_beside(() if end is None else (end,), limits)
    return (
        sources.to_requirement(name),
        rows.subject(one),
        f"{flow(margin.amount)} of the {margin.of} at {safe(margin.review)}",
        line.limit,
        ", ".join(numbers.with_unit(text, unit) for text in shown),
        line.value,
        line.margin,
        _reached(one, margin),
        "decides" if margin.enforced else "advised",
    )


def _reached(one: Evidence, margin: RequiredText) -> str:
    low = one.judged_low if one.judged_low is not None else one.low
    high = one.judged_high if one.judged_high is not None else one.high
    low = one.value if low is None else low
    high = one.value if high is None else high
    if low is None or high is None or (margin.at_least is None and margin.at_most is None):
        return "not known"
    above = margin.at_least is None or low >= margin.at_least
    below = margin.at_most is None or high <= margin.at_most
    return "reached" if above and below else "not reached"


def budgets(sources: Sources) -> list[Cells]:
    """Return the requirements that allocate their limit, with what is allocated and left."""
    found: list[Cells] = []
    for result in sources.dossier.requirements:
        said = sources.on_file.requirements.get(result.id)
        if result.budget and said is not None and said.allocates is not None:
            rule = said.allocates
            found.append(
                (
                    sources.to_requirement(result.id), safe(rule.quantity), safe(rule.rule),
                    flow(result.budget), _all(map(sources.to_requirement, result.derived)),
                )
            )  # fmt: skip
    return found
