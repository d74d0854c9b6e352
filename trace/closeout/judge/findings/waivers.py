"""Findings about waivers and deviations: expired, of the wrong authority, too wide, not needed."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index, bounds_in
from closeout.graph.new_findings import warning
from closeout.judge.cover import in_force, is_later, may_approve, meant_by
from closeout.judge.nonconformance import AGAINST
from closeout.judge.planned import LATER
from closeout.measure import UnitError, Units
from closeout.model.dossier import Dossier, Evidence, RequirementResult, State
from closeout.model.problem import Finding
from closeout.model.records import Waiver

# A waiver may accept this share of the shortfall beyond what is short, for rounding and repeats.
ROOM = 0.5


# What the message of evidence says that speaks of an earlier state.
_OTHER = "re-opened: "


def waived(dossier: Dossier, index: Index, units: Units) -> Iterator[Finding]:
    """Yield a finding for each waiver or deviation that does not do what it was made for."""
    for result in dossier.requirements:
        for waiver in index.waivers.get(result.id, ()):
            yield from _strange_cases(waiver, result, index, dossier.review)
            yield from _waiver(waiver, result, index, units, dossier.review)


def _waiver(
    waiver: Waiver, result: RequirementResult, index: Index, units: Units, review: str | None
) -> Iterator[Finding]:
    meant = [entry for entry in meant_by(waiver, result) if entry.due]
    short = [entry for entry in meant if entry.state is State.NOT_MET]
    if not short:
        yield from _not_needed(waiver, result, meant, index, review)
        return
    if is_later(waiver, index, review):
        return  # reported as dated-after-review
    reasons = list(void(waiver, result, index, review))
    yield from reasons
    left = [entry for entry in short if entry.covered_by is None]
    of_another_authority = [entry for entry in left if entry.message and _OTHER in entry.message]
    if not reasons and of_another_authority:
        yield warning(
            "waiver-short", waiver.where / "accepts",
            f"{waiver.id} was given for another build, issue or condition of {result.id}:"
            f" {of_another_authority[0].message}",
            "request it again for the present state, or verify that state",
        )  # fmt: skip
    elif not reasons and left:
        shown = ", ".join(_named(entry) for entry in left)
        yield warning(
            "waiver-short", waiver.where / "accepts",
            f"{waiver.id} does not reach {shown} of {result.id}",
            "request a waiver for the judged value, or correct the non-compliance",
        )  # fmt: skip
    elif not reasons:
        yield from _too_wide(waiver, result, meant, short, units)


def void(
    waiver: Waiver, result: RequirementResult, index: Index, review: str | None
) -> Iterator[Finding]:
    """Yield why a waiver covers nothing of a requirement, whatever it accepts."""
    if waiver.planned is not None:
        yield warning(
            "waiver-not-approved", waiver.where / "date",
            f"{waiver.id} is planned for {waiver.planned}, {LATER}, so it does not cover"
            f" {result.id}",
            "correct its date, or wait for it",
        )  # fmt: skip
    elif waiver.date is None or waiver.approved_by is None:
        yield warning(
            "waiver-not-approved", waiver.where,
            f"{waiver.id} is not approved yet, so it does not cover {result.id}",
            "add approved_by: and date: once it is approved",
        )  # fmt: skip
    elif is_later(waiver, index, review):
        yield warning(
            "dated-after-review", waiver.where / "date",
            f"{waiver.id} is dated {waiver.date}, after {review or 'the last review'}, so it does"
            " not"
            f" cover {result.id} there",
            "judge a later review, or correct its date",
        )  # fmt: skip
    elif not in_force(waiver, index, review):
        yield warning(
            "waiver-expired", waiver.where / "expires",
            f"{waiver.id} was in force until {waiver.expires}, so it does not cover {result.id}",
            "request it again, or correct the non-compliance",
        )  # fmt: skip
    elif not may_approve(waiver.approved_by, index.requirements[result.id], index):
        yield warning(
            "waiver-authority", waiver.where / "approved_by",
            f"{waiver.id} is approved by {waiver.approved_by}, who is not the authority of"
            f" {result.id}'s source",
            "have it approved by the authority in project.authorities",
        )  # fmt: skip


def _not_needed(
    waiver: Waiver,
    result: RequirementResult,
    meant: list[Evidence],
    index: Index,
    review: str | None,
) -> Iterator[Finding]:
    """Yield a finding for a waiver in force where all that it means is met.

    One that has run out, and that nothing needs, is closed: that is how it should end.
    """
    met = bool(meant) and all(entry.state is State.MET for entry in meant)
    needed = any(
        report.disposition in AGAINST and result.id in report.requirements
        for report in index.project.nonconformances
    )
    if met and in_force(waiver, index, review) and not needed:
        yield warning(
            "waiver-not-needed", waiver.where,
            f"{waiver.id} accepts a non-compliance of {result.id} that no longer exists",
            "withdraw it, so that the next non-compliance is seen",
        )  # fmt: skip


def _strange_cases(
    waiver: Waiver, result: RequirementResult, index: Index, review: str | None
) -> Iterator[Finding]:
    """Yield a finding for cases that the quantity does not have; none before all are known."""
    if waiver.cases is None or not in_force(waiver, index, review):
        return
    entries = [entry for entry in result.evidence if entry.quantity == waiver.quantity]
    known = {entry.case for entry in entries if entry.case is not None}
    # Without a value it may be that the analysis did not come to name its cases.
    whole = [entry.value is not None and entry.cases_wanted is None for entry in entries]
    if not known and not (whole and all(whole)):
        return
    if strange := [case for case in waiver.cases if case not in known]:
        yield warning(
            "waiver-case", waiver.where / "accepts" / "cases",
            f"{waiver.id} accepts {', '.join(strange)}, and {waiver.quantity} of {result.id} has"
            " no such case",
            "use the case names of the analysis or the record",
        )  # fmt: skip


def _too_wide(
    waiver: Waiver,
    result: RequirementResult,
    meant: list[Evidence],
    short: list[Evidence],
    units: Units,
) -> Iterator[Finding]:
    idle = [entry for entry in meant if entry.state is State.MET and entry.case is not None]
    if idle:
        named = ", ".join(str(entry.case) for entry in idle)
        yield warning(
            "waiver-too-wide", waiver.where / "accepts",
            f"{waiver.id} also accepts {named}, which {result.id} meets",
            "name only the cases that are not met",
        )  # fmt: skip
    worst = max((_slack(waiver, entry, units) for entry in short), default=None)
    least = min((_slack(waiver, entry, units) for entry in short), default=None)
    if least is not None and worst is not None and least > ROOM:
        yield warning(
            "waiver-too-wide", waiver.where / "accepts",
            f"{waiver.id} accepts {100 * least:.0f} % more than the shortfall of {result.id}",
            "accept the judged value, and not much more",
        )  # fmt: skip


def _slack(waiver: Waiver, entry: Evidence, units: Units) -> float:
    """Return how far a waiver reaches beyond the judged value, as a share of the shortfall."""
    if entry.unit is None or entry.margin is None or not entry.margin:
        return 0.0
    try:
        accepts = bounds_in(waiver.limits, entry.unit, units)
    except UnitError:
        return 0.0
    limit, accepted = entry.at_least, accepts.at_least
    if limit is None or accepted is None:
        limit, accepted = entry.at_most, accepts.at_most
    if limit is None or accepted is None:
        return 0.0
    return (abs(limit - accepted) - abs(entry.margin)) / abs(entry.margin)


def _named(entry: Evidence) -> str:
    name = entry.quantity or entry.method
    return f"{name} [{entry.case}]" if entry.case is not None else name
