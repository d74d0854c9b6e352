"""The table that every format shares: one line for each requirement and piece of evidence.

All texts here are safe to show; numbers stand beside their texts for formats that machines read.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from operator import attrgetter
from types import MappingProxyType

from closeout.model.amount import EXACTLY
from closeout.model.criterion import in_words
from closeout.model.dossier import Compliance, Dossier, Evidence, RequirementResult, State
from closeout.model.probability import Chance, probability_text
from closeout.render import numbers, validations, words
from closeout.render.plain import flow, safe

Settings = Mapping[str, str]
NO_SETTINGS: Settings = MappingProxyType({})
# The worst first.
BADNESS = (State.NOT_MET, State.ERROR, State.OPEN, State.MET)
_NUMBER = attrgetter("number")
LEAST = "at least "
OUTSIDE = "beyond the limit, not required"
# Of verifications that are planned for none.
NO_REVIEW = "no review"


@dataclass(frozen=True, slots=True)
class Line:
    """One verification, and one case of it; all texts are empty for a requirement without any.

    ``outside`` is a case beyond its limit, of a criterion that enough others meet.
    ``number`` is the place of the verification; the cases of one share it. ``cases`` says of the
    case that decides how many there are, met and required.
    """

    number: int = 0
    method: str = ""
    level: str = ""
    stage: str = ""
    review: str = ""
    due: bool = False
    plan: str = ""
    evidence: str = ""
    quantity: str = ""
    case: str = ""
    conditions: str = ""
    value: str = ""
    nominal: str = ""
    limit: str = ""
    margin: str = ""
    basis: str = ""
    state: str = ""
    cover: str = ""
    cover_words: str = ""
    message: str = ""
    outside: bool = False
    unit: str = ""
    value_number: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    margin_number: float | None = None
    margin_unit: str = ""
    analysis: str = ""
    record: str = ""
    under: str = ""
    replay: tuple[tuple[str, str], ...] = ()
    at: tuple[tuple[str, str], ...] = ()
    failed: bool = False
    as_run: str = ""
    validation: str = ""
    cases: str = ""

    @property
    def result(self) -> str:
        """The state, or of a case that is not required that it is beyond its limit."""
        return OUTSIDE if self.outside else self.state


@dataclass(frozen=True, slots=True)
class Entry:
    """A requirement and its lines, at least one; its nonconformances, and what a board agreed.

    ``folded`` has one line for each verification: that of the case that decides.
    """

    id: str
    issue: str
    title: str
    text: str
    rationale: str
    source: str
    parents: tuple[str, ...]
    derived: tuple[str, ...]
    owner: str
    safety: str
    compliance: str
    status: str
    close_out: str
    due: bool
    early: bool
    covered: bool
    reason: str
    lines: tuple[Line, ...]
    reports: tuple[str, ...] = ()
    agreed: str = ""
    folded: tuple[Line, ...] = ()

    @property
    def closed_or_open(self) -> str:
        """The close-out status without the remark that it is early."""
        return self.close_out.partition(",")[0]

    @property
    def remark(self) -> str:
        """The reason, where something is left to be said: not where everything is met."""
        settled = self.closed_or_open == "closed" and self.compliance == Compliance.C.value
        return "" if settled else self.reason

    @property
    def unsaid(self) -> str:
        """The remark, where no line of the verifications says it."""
        said = any(line.message and line.message in self.remark for line in self.folded)
        return "" if said else self.remark

    @property
    def traceability(self) -> str:
        """Source and parents, upward."""
        parts = [self.source] if self.source else []
        if self.parents:
            parts.append("derived from " + ", ".join(self.parents))
        return "; ".join(parts)


def table(dossier: Dossier) -> tuple[Entry, ...]:
    """Return an entry for each requirement, in the order of the dossier."""
    settings = dict(dossier.settings)
    dates = {record.id: record.date for record in dossier.records if record.date}
    return tuple(entry(result, settings, dates) for result in dossier.requirements)


def entry(
    result: RequirementResult, settings: Settings = NO_SETTINGS, dates: Settings = NO_SETTINGS
) -> Entry:
    """Return a requirement with its lines; one empty line where it has no evidence.

    ``settings`` are those of a what-if; they beat what is given. ``dates`` are those of records.
    """
    lines = {id(evidence): line(evidence, settings, dates) for evidence in result.evidence}
    return Entry(
        id=safe(result.id),
        issue=safe(result.issue),
        title=safe(result.title),
        text=flow(result.statement),
        rationale=flow(result.rationale or ""),
        source=flow(result.source or ""),
        parents=tuple(safe(parent) for parent in result.derived_from),
        derived=tuple(safe(child) for child in result.derived),
        owner=safe(result.owner or ""),
        safety=safe(result.safety or ""),
        compliance=result.compliance.value,
        status=words.vcd_status(result.compliance),
        close_out=words.close_out(result),
        due=result.due,
        early=result.early,
        covered=result.covered,
        reason=flow(result.why),
        lines=tuple(lines.values()) or (Line(),),
        reports=tuple(f"{safe(name)} ({flow(became)})" for name, became in result.reported),
        agreed="; ".join(map(flow, words.agreements(result))),
        folded=tuple(_folded(result, lines)) or (Line(),),
    )


def _folded(result: RequirementResult, lines: Mapping[int, Line]) -> Iterator[Line]:
    """Yield the line of the case that decides, of each verification, with what the others are."""
    for _, some in groupby(result.evidence, _NUMBER):
        cases = list(some)
        yield replace(lines[id(deciding(cases))], cases=_of_cases(cases))


def deciding(cases: Sequence[Evidence]) -> Evidence:
    """Return the case of a verification that decides: the worst of those that have to be met.

    Where there are fewer cases than are asked, it is the worst of all.
    """

    def badness(one: Evidence) -> tuple[bool, int, float]:
        margin = math.inf if one.margin is None else one.margin
        return one.closed, BADNESS.index(one.state), margin

    return min(tuple(_that_count(cases)) or cases, key=badness)


def _of_cases(cases: Sequence[Evidence]) -> str:
    if len(cases) == 1:
        return ""
    if cases[0].cases_wanted is not None:  # its message says how many are required and met
        return "this one decides"
    met = sum(one.state is State.MET for one in cases)
    return f"{met} of {len(cases)} cases met; this one decides"


def line(
    evidence: Evidence, settings: Settings = NO_SETTINGS, dates: Settings = NO_SETTINGS
) -> Line:
    """Return one piece of evidence for reading."""
    value, limit = value_and_limit(evidence)
    return Line(
        number=evidence.number,
        method=safe(evidence.method),
        level=safe(evidence.level or ""),
        stage=safe(evidence.stage or ""),
        review=safe(evidence.review or ""),
        due=evidence.due,
        plan=flow(evidence.plan or ""),
        evidence=reference(evidence, dates),
        quantity=safe(evidence.quantity or ""),
        case=safe(evidence.case or ""),
        conditions=conditions(evidence, settings),
        value=value,
        nominal=_nominal(evidence),
        limit=limit,
        margin=margin(evidence),
        basis=words.how_sure(evidence),
        state=evidence.state.value,
        cover=safe(evidence.covered_by or ""),
        cover_words=words.cover(evidence),
        message=flow("; ".join(filter(None, (evidence.message, *evidence.not_correlated)))),
        outside=_outside(evidence),
        unit=safe(evidence.unit or ""),
        value_number=judged_end(evidence),
        at_least=evidence.at_least,
        at_most=evidence.at_most,
        margin_number=evidence.margin,
        margin_unit="" if evidence.margin is None else safe(evidence.margin_unit or ""),
        analysis=safe(evidence.analysis or ""),
        record=safe(_record(evidence, dates)),
        under=under(evidence, settings),
        replay=tuple(
            (safe(name), safe(text)) for name, text in without_exactly(evidence.counterexample)
        ),
        at=tuple((safe(name), safe(text)) for name, text in without_exactly(evidence.at)),
        failed=evidence.state is State.NOT_MET,
        as_run=as_run(evidence),
        validation=validations.STATES[evidence.validation] if evidence.validation else "",
    )


def _outside(evidence: Evidence) -> bool:
    """Return whether a case is beyond its limit, and the requirement met by enough others."""
    if evidence.state is not State.MET or evidence.cases_wanted is None:
        return False
    end = judged_end(evidence)
    low, high = evidence.at_least, evidence.at_most
    return end is not None and (
        (low is not None and end < low) or (high is not None and end > high)
    )


def pairs(items: Iterable[tuple[str, str]]) -> str:
    """Return ``hold_duration = 28 d, mode = 2``."""
    return ", ".join(f"{safe(name)} = {flow(text)}" for name, text in items)


def without_exactly(at: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return the inputs at an end for reading, without the word that ``--set`` needs."""
    return [(name, text.removesuffix(f" {EXACTLY}")) for name, text in at]


def conditions(evidence: Evidence, settings: Settings = NO_SETTINGS) -> str:
    """Return the conditions of a verification, and which of them a what-if beats.

    Those that hold as the project declares them, since the criterion gives none, say so.
    """
    parts = [pairs(evidence.given)] if evidence.given else []
    parts += beats(evidence, settings)
    parts += [f"as declared {pairs(evidence.declared)}"] if evidence.declared else []
    return "; ".join(parts)


def under(evidence: Evidence, settings: Settings = NO_SETTINGS) -> str:
    """Return the conditions as a phrase: ``given mode = 2; as declared wind = 3 m/s``."""
    shown = conditions(evidence, settings)
    return f"given {shown}" if evidence.given else shown


def as_run(evidence: Evidence) -> str:
    """Return each condition of a record as it was run, beside the value that is required."""
    rows = []
    for row in evidence.as_run:
        within = f", within {flow(row.within)}" if row.within else ""
        verdict = "" if row.verdict == "within" else f", {safe(row.verdict)}"
        ran = f"{safe(row.record)} ran at {safe(row.name)} = {flow(row.as_run)}"
        rows.append(f"{ran} (required {flow(row.required)}{within}{verdict})")
    return "; ".join(rows)


def beats(evidence: Evidence, settings: Settings) -> Iterator[str]:
    """Yield each setting that stands in place of what a verification by analysis gives."""
    if evidence.analysis is not None:
        for name, text in evidence.given:
            if name in settings:
                setting = f"what-if {safe(name)} = {flow(settings[name])}"
                yield f"{setting} replaces the condition {flow(text)}"


def reference(evidence: Evidence, dates: Settings = NO_SETTINGS) -> str:
    """Return what stands behind a verification: the analysis, or the record with its document."""
    parts = (evidence.analysis, _record(evidence, dates))
    return ", ".join(safe(part) for part in parts if part)


def _record(evidence: Evidence, dates: Settings) -> str:
    """Return ``TR-STR-001 (GAN-TR-003 issue 1, 2026-07-08)``."""
    if not evidence.record:
        return ""
    behind = ", ".join(filter(None, (evidence.document, dates.get(evidence.record))))
    return f"{evidence.record} ({behind})" if behind else evidence.record


def subject(evidence: Evidence) -> str:
    """Return ``link_margin [Razorbill]``; the method where no quantity is judged."""
    name = safe(evidence.quantity or evidence.method)
    return f"{name} [{safe(evidence.case)}]" if evidence.case is not None else name


def judged_end(evidence: Evidence) -> float | None:
    """Return the end of the extent that is nearest to, or furthest beyond, a limit."""
    low = _first(evidence.judged_low, evidence.low, evidence.value)
    high = _first(evidence.judged_high, evidence.high, evidence.value)
    if low is None or high is None:
        return low if high is None else high
    if evidence.at_most is None:
        return evidence.value if evidence.at_least is None else low
    if evidence.at_least is None:
        return high
    return low if low - evidence.at_least <= evidence.at_most - high else high


def _first(*numbers: float | None) -> float | None:
    return next((number for number in numbers if number is not None), None)


def value_and_limit(evidence: Evidence) -> tuple[str, str]:
    """Return the judged value and the limit as texts that agree with the verdict.

    Of a probability the judged value is what is proved of it, and the limit says what is required.
    """
    limits = [
        (key, bound)
        for key, bound in (("at_least", evidence.at_least), ("at_most", evidence.at_most))
        if bound is not None
    ]
    end = judged_end(evidence)
    ends = () if end is None else (end,)
    shown, bounds = numbers.show_beside(ends, [bound for _, bound in limits])
    unit = safe(evidence.unit or "")
    texts = [numbers.with_unit(bound, unit) for bound in bounds]
    limit = in_words({key: text for (key, _), text in zip(limits, texts, strict=True)})
    limit = limit or flow(evidence.limit_text)
    if evidence.chance is not None:
        return _probability(evidence.chance, limit)
    return numbers.with_unit(shown[0], unit) if shown else "", limit


def _probability(chance: Chance, limit: str) -> tuple[str, str]:
    proved = probability_text(chance.at_least, chance.required)
    required = probability_text(chance.required)
    return f"probability {proved}", f"{limit}, probability at least {required}"


def _nominal(evidence: Evidence) -> str:
    """Return the value at the inputs, or as measured, where the judged end is another one."""
    if evidence.value is None or evidence.value == judged_end(evidence):
        return ""
    limits = [limit for limit in (evidence.at_least, evidence.at_most) if limit is not None]
    if evidence.assurance is None:
        measured = numbers.as_written(evidence.value)
        return f"measured {numbers.with_unit(measured, safe(evidence.unit or ''))}"
    (shown,), _ = numbers.show_beside((evidence.value,), limits)
    word = "nominal"
    return f"{word} {numbers.with_unit(shown, safe(evidence.unit or ''))}"


def margin(evidence: Evidence) -> str:
    """Return the margin; that of a probability is a probability, that of a level is in dB.

    It begins with ``LEAST`` where the proof ended before the whole of it was known.
    """
    if evidence.margin is None:
        return ""
    unit = safe(evidence.margin_unit or "")
    # A proof that did not come to its end has shown by how much the limit is met at the least.
    least = LEAST if evidence.tight is False and evidence.state is State.MET else ""
    return f"{least}{numbers.show_margin(evidence.margin, unit)}"


@dataclass(frozen=True, slots=True)
class ByReview:
    """Verifications that are planned to be closed at a review, and how many of them are."""

    review: str
    planned: int
    closed: int


def by_review(dossier: Dossier) -> list[ByReview]:
    """Return planned against actual close-out, in the order of the reviews; last, those of none."""
    counts = {review: [0, 0] for review in (*dossier.reviews, "")}
    for result in dossier.requirements:
        for _, some in groupby(result.evidence, _NUMBER):
            cases = list(some)
            review = cases[0].review or ""
            count = counts.setdefault(review, [0, 0])
            count[0] += 1
            count[1] += all(entry.closed for entry in cases)
    return [
        ByReview(safe(review) or NO_REVIEW, planned, closed)
        for review, (planned, closed) in counts.items()
        if planned
    ]


def tightest(result: RequirementResult) -> Evidence | None:
    """Return the evidence with the least margin for its limit; due evidence goes before later.

    Margins of different units are compared as shares of their limit. Of a criterion that asks for
    N cases it is the N-th best case that counts: those below it do no harm.
    """
    return tightest_of(result.evidence)


def tightest_of(evidences: Iterable[Evidence]) -> Evidence | None:
    """Return the same of some evidence of one requirement."""
    best: Evidence | None = None
    least = (True, 0.0)
    for evidence in _that_count(evidences):
        if evidence.margin is not None:
            key = (not evidence.due, share_of_limit(evidence))
            if best is None or key < least:
                best, least = evidence, key
    return best


def share_of_limit(evidence: Evidence) -> float:
    """Return a margin as a share of its limit, by which margins of all units are compared."""
    return math.inf if evidence.margin is None else evidence.margin / _yardstick(evidence)


def _that_count(evidences: Iterable[Evidence]) -> Iterator[Evidence]:
    for _, some in groupby(evidences, _NUMBER):
        cases = list(some)
        wanted = cases[0].cases_wanted
        if wanted is None:
            yield from cases
        else:
            cases.sort(key=lambda e: -math.inf if e.margin is None else e.margin, reverse=True)
            yield from cases[wanted - 1 : wanted]


def _yardstick(evidence: Evidence) -> float:
    limit = evidence.at_most if evidence.at_least is None else evidence.at_least
    return 1.0 if not limit or evidence.chance is not None else abs(limit)
