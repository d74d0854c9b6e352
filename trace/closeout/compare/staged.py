"""What a commit would do to the verdicts: the staged state against HEAD."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Compliance, Dossier, RequirementResult
from closeout.model.problem import Problem, Severity


@dataclass(frozen=True, slots=True)
class Change:
    """A requirement whose code changes: as it was in HEAD, as it is staged."""

    was: RequirementResult
    now: RequirementResult


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a commit may be made, and why.

    ``errors`` and ``lost`` block. ``raised`` lost compliance with a new issue (to be verified
    again), ``covered`` lost it under a waiver or deviation, ``gained`` became compliant;
    ``deleted`` and ``added`` are identifiers.
    """

    errors: tuple[Problem, ...]
    lost: tuple[Change, ...] = ()
    raised: tuple[Change, ...] = ()
    covered: tuple[Change, ...] = ()
    gained: tuple[Change, ...] = ()
    deleted: tuple[str, ...] = ()
    added: tuple[str, ...] = ()

    @property
    def exit_status(self) -> int:
        """0 the commit may be made, 1 a requirement was lost, 2 the staged state has errors."""
        return 2 if self.errors else 1 if self.lost else 0


def against_head(head: Dossier | None, staged: Dossier) -> Verdict:
    """Return the verdict on a staged state; without HEAD only errors block."""
    errors = tuple(p for p in staged.problems if p.severity is Severity.ERROR)
    if head is None:
        return Verdict(errors, added=tuple(result.id for result in staged.requirements))
    was = {result.id: result for result in head.requirements}
    now = {result.id: result for result in staged.requirements}
    changes = [
        Change(was[name], now[name])
        for name in was
        if name in now and was[name].compliance is not now[name].compliance
    ]
    left = [change for change in changes if change.was.compliance is Compliance.C]
    raised = tuple(change for change in left if change.was.issue != change.now.issue)
    covered = tuple(change for change in left if change.now.covered and change not in raised)
    # Said to be not applicable is no loss of compliance; whether it is agreed is told elsewhere.
    lost = tuple(
        change
        for change in left
        if change not in raised
        and change not in covered
        and change.now.compliance is not Compliance.NA
    )
    return Verdict(
        errors=errors,
        lost=lost,
        raised=raised,
        covered=covered,
        gained=tuple(change for change in changes if change.now.compliance is Compliance.C),
        deleted=tuple(name for name in was if name not in now) if staged.requirements else (),
        added=tuple(name for name in now if name not in was),
    )
