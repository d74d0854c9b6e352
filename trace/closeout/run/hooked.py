"""What a change does to the verdicts: both states are judged at one review and day, and compared.

The change is what is staged, or the commits of a branch since it left another one.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path

from closeout.compare.news import News, news
from closeout.compare.renamed import renamed
from closeout.compare.staged import Hooked, Verdict, against_head
from closeout.compare.twice import from_both_sides
from closeout.model.dossier import Compliance, Dossier, RequirementResult
from closeout.model.errors import UserError
from closeout.run.options import Options, Progress
from closeout.run.runs import dossier_of, known_dossier
from closeout.snapshot import (
    branching_point,
    has_head,
    merged_commits,
    open_commit,
    open_index,
    usual_base,
)
from closeout.store.database import Store
from closeout.store.keys import key_of

_SHORT = (Compliance.PC, Compliance.NC)


def judged_index(
    root: Path, store: Store, today: str | None, progress: Progress | None = None
) -> Hooked:
    """Return the verdict on what is staged, against HEAD and what a merge brings in.

    Raises:
        UserError: there is no repository, or git refuses.
    """
    with open_index(root) as snapshot:
        notes = snapshot.notes
        staged = dossier_of(snapshot, store, _options(today=today), progress, whole=False)
    head = _at_review(root, store, "HEAD", staged) if has_head(root) else None
    names = {} if head is None else renamed(head, staged)
    found = News() if head is None else news(head, staged, names)
    verdict = against_head(head, staged, found, names)
    merged = merged_commits(root) if head is not None and _may_be_inherited(verdict) else ()
    parents = [_at_review(root, store, name, staged) for name in merged]
    if parents:
        verdict = against_head(head, staged, found, names, parents)
    twice = () if head is None else from_both_sides(verdict, head, parents)
    already = () if head is None else tuple(_unreported(store, head, staged))
    return Hooked(verdict, staged, notes, already, twice)


def judged_branch(
    root: Path, base: str | None, store: Store, today: str | None, progress: Progress | None = None
) -> tuple[Hooked, str]:
    """Return the verdict on HEAD against the commit where it left a branch, and that commit.

    Raises:
        UserError: there is no such commit, or it was not fetched.
    """
    base = base or usual_base(root)
    if base is None:
        raise UserError(
            "no base is named, and there is no branch origin/main or main",
            "name what the branch is merged into: closeout hook check origin/main",
        )
    start = branching_point(root, base)
    with open_commit(root, "HEAD") as snapshot:
        now = dossier_of(snapshot, store, _options(today=today), progress, whole=False)
        notes = snapshot.notes
    was = _at_review(root, store, start, now)
    names = renamed(was, now)
    return Hooked(against_head(was, now, news(was, now, names), names), now, notes), start


def _may_be_inherited(verdict: Verdict) -> bool:
    return bool(verdict.errors or verdict.lost or verdict.warnings)


def _at_review(root: Path, store: Store, revision: str, later: Dossier) -> Dossier:
    """Judge a commit at the later state's review and day.

    To move on to the next review loses nothing, and no commit is blamed for a day that has passed.
    """
    today, review = later.snapshot.date, later.review
    with open_commit(root, revision) as snapshot:
        known = known_dossier(snapshot, store, _options(today=today), whole=False)
        if known is not None and known.review == review:
            return known
        try:
            return dossier_of(snapshot, store, _options(review, today), whole=False)
        except UserError:  # it does not have that review
            return dossier_of(snapshot, store, _options(today=today), whole=False)


def _options(review: str | None = None, today: str | None = None) -> Options:
    return Options(review, jobs=os.cpu_count() or 1, today=today)


def _unreported(store: Store, head: Dossier, staged: Dossier) -> Iterator[RequirementResult]:
    """Yield what is not compliant in HEAD and not reported yet, and take note of all that is.

    A commit that no hook saw may have brought it: by a rebase, a cherry-pick, in a clone without
    hook. What becomes compliant is forgotten, so that it is reported when it is lost again.
    """
    key = key_of("reported")
    reported = set(json.loads(store.get("hook", key) or "[]"))
    short = [one for one in head.requirements if one.compliance in _SHORT and not one.covered]
    yield from (one for one in short if one.id not in reported)
    now = sorted(one.id for one in staged.requirements if one.compliance in _SHORT)
    if now != sorted(reported):
        store.put("hook", key, json.dumps(now), 1)
