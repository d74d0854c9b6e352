"""The verification report that brings several methods together, asked for once an owner."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from closeout.graph import Index
from closeout.graph.new_findings import warning
from closeout.model.problem import Finding
from closeout.model.records import Requirement, Verification
from closeout.rules.context import Context

RULE = "no-verification-report"
_SHOWN = 5


def verification_reports(index: Index, context: Context) -> Iterator[Finding]:
    """Yield, owner by owner, requirements whose methods no verification report brings together.

    Due once everything of a requirement is due: before that nobody can write it. One that the
    project's policy names for this rule has its own finding, so that the policy holds for it alone.
    """
    policies = (one for one in index.project.charter.policy.rules if one.rule == RULE)
    apart = {item.partition(" issue ")[0].strip() for one in policies for item in one.items}
    together: defaultdict[str | None, list[Requirement]] = defaultdict(list)
    for requirement in index.requirements.values():
        if not _lacks_report(requirement, index, context):
            continue
        if requirement.id in apart:
            yield _of_one(requirement, context)
        else:
            together[requirement.owner].append(requirement)
    for owner, some in together.items():
        alone = len(some) == 1
        yield _of_one(some[0], context) if alone else _of_owner(owner, some, index, context)


def _lacks_report(requirement: Requirement, index: Index, context: Context) -> bool:
    """Return whether a requirement has several methods, all of them due, and no report."""
    if context.chosen is not None and requirement.id not in context.chosen:
        return False
    if requirement.not_applicable is not None or len(_methods(requirement)) < 2:
        return False
    if requirement.report is not None or requirement.owner in index.project.charter.reports:
        return False
    return all(_is_due(verification, index, context) for verification in requirement.verification)


def _is_due(verification: Verification, index: Index, context: Context) -> bool:
    at, now = index.review_number(verification.review), index.review_number(context.review)
    return at is None or now is None or at <= now


def _methods(requirement: Requirement) -> set[str]:
    return {verification.method.value for verification in requirement.verification}


def _of_one(requirement: Requirement, context: Context) -> Finding:
    return warning(
        RULE,
        requirement.where,
        f"{requirement.id} is verified by {len(_methods(requirement))} methods, all due by"
        f" {context.review or 'now'}, and no verification report summarises them",
        "write the report, and name it in report:, or in reports: of the project by owner",
    )


def _of_owner(
    owner: str | None, some: Sequence[Requirement], index: Index, context: Context
) -> Finding:
    names = ", ".join(one.id for one in some[:_SHOWN])
    more = f" and {len(some) - _SHOWN} more" if len(some) > _SHOWN else ""
    whose = "without an owner" if owner is None else f"of {owner}"
    how = "with report: there" if owner is None else f"as reports: {{{owner}: ...}} of the project"
    return warning(
        RULE,
        index.project.charter.where,
        f"{len(some)} requirements {whose} are verified by several methods, all due by"
        f" {context.review or 'now'}, and no verification report summarises them: {names}"
        f"{more}",
        f"write the report, and name it {how}",
    )
