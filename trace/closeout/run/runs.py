"""Whole runs from the store: where nothing changed, not even the YAML is read.

A run is known by the bytes of every YAML and Python file, by what was asked, by the commits that
the state was compared with, and by everything that its answers rested on. Whether these bytes stand
in the working tree, in the index or in a commit is no matter: what the hook judged is known when it
is HEAD. What tells these apart is put in when a dossier is read.
"""

from __future__ import annotations

import json
import os
import zlib
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from closeout.evaluate.trace import TraceChecker, read_trace
from closeout.evaluate.validation import StoredResults
from closeout.model.identity import SnapshotIdentity
from closeout.run.days import day_of, is_late, is_redated, own_day
from closeout.run.options import Options, Progress
from closeout.snapshot import Snapshot
from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of

if TYPE_CHECKING:  # loaded where something has to be judged anew, or its dossier is asked for
    from closeout.model.dossier import Dossier
    from closeout.run.pipeline import Outcome

READ_WHOLE = (".yaml", ".yml", ".py")
# Answers stay for long; runs take more room, and only the last ones stay: so many bytes.
ROOM = 64 * 1024 * 1024
_FAST = 1  # a level of zlib: a dossier says much the same of each requirement


@dataclass(frozen=True, slots=True)
class StoredRun:
    """A run that is stored and still true, and the state that it is of now.

    ``answers`` is how many answers it rests on.
    """

    id: str
    state: SnapshotIdentity
    redated: bool
    exit_status: int
    answers: int


def dossier_of(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    *,
    whole: bool,
) -> Dossier:
    """Return the dossier of a snapshot, from the store where it is stored and true in everything.

    Unless ``whole`` extents are wanted, a proof may end as soon as its verdict is certain.

    Raises:
        UserError: an option names something that the project does not have.
    """
    known = known_dossier(snapshot, store, options, whole=whole)
    return known or judged(snapshot, store, options, progress, whole=whole)[0]


def known_dossier(
    snapshot: Snapshot, store: Store, options: Options, *, whole: bool
) -> Dossier | None:
    """Return the dossier of a snapshot where it is stored and true in everything, else None."""
    run = recall(snapshot, store, key_of_run(snapshot, store, options, whole=whole), options)
    return None if run is None else recalled(store, run)


def judged(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    *,
    whole: bool,
) -> tuple[Dossier, StoredRun | None]:
    """Judge a snapshot anew; return its dossier, and the run where that is stored from now on."""
    from closeout.run.named_tests import known_validations
    from closeout.run.pipeline import assess

    outcome = assess(snapshot, store, options, progress, verdicts_alone=not whole)
    dossier = outcome.dossier
    # What is known of the tests may have changed by running them, and by another run meanwhile.
    key = key_of_run(snapshot, store, options, whole=whole)
    if dossier.validations != known_validations(dossier.analyses, snapshot, store):
        return dossier, None
    # Outside git no hook and no --at asks for what ``verify`` found; its texts are enough.
    with_dossier = whole or snapshot.identity.under_git
    return dossier, _keep(store, key, outcome, with_dossier)


def recall(snapshot: Snapshot, store: Store, key: str, options: Options) -> StoredRun | None:
    """Return the run of a key that is stored and still true in everything, or None.

    It is true at another day too, while no date in the project lies between.
    """
    text = store.content("run", key)
    run = None if text is None else json.loads(text)
    if run is None or not TraceChecker(snapshot).holds(trace := read_trace(run["trace"])):
        return None
    day = day_of(snapshot, options, trace)
    begins, ends = run["holds"]
    # What a commit changed is as old as the commit, whatever the day of the state.
    for one in (day, own_day(snapshot, day)):
        if not ((begins is None or begins <= one) and (ends is None or one < ends)):
            return None
    state, untracked = replace(snapshot.identity, date=day), snapshot.untracked(trace)
    if untracked:
        state = replace(state, dirty=True, untracked=untracked)
    redated = is_redated(snapshot, options, trace)
    return StoredRun(run["id"], state, redated, run["exit_status"], run["answers"])


def recalled(store: Store, run: StoredRun) -> Dossier | None:
    """Return the dossier of a run that was recalled; None where it is not stored any more."""
    content = store.content("dossier", run.id)
    if content is None:
        return None
    from closeout.model.coding import decoded

    dossier = decoded(zlib.decompress(content))
    if dossier is None:
        return None
    scale = replace(dossier.scale, evaluated=0, from_store=run.answers)
    return replace(dossier, snapshot=run.state, redated=run.redated, scale=scale)


def _keep(store: Store, key: str, outcome: Outcome, with_dossier: bool) -> StoredRun | None:
    """Keep a run; None where it cannot be recalled."""
    dossier, scale = outcome.dossier, outcome.dossier.scale
    # What could not be read may be read the next time, under the same key.
    unreadable = any(problem.rule == "unreadable" for problem in dossier.problems)
    if outcome.rested_on is None or unreadable:
        return None
    run = StoredRun(
        # Of another window of days the same trace may show something else.
        id=key_of(key, outcome.rested_on, outcome.holds),
        state=dossier.snapshot,
        redated=dossier.redated,
        exit_status=dossier.exit_status,
        answers=scale.evaluated + scale.from_store,
    )
    if with_dossier:
        _keep_dossier(store, run, dossier)
    row = {
        "id": run.id,
        "exit_status": run.exit_status,
        "answers": run.answers,
        "holds": outcome.holds,
        "trace": outcome.rested_on,
    }
    store.put_content("run", key, json.dumps(row).encode(), ROOM)
    return run


def _keep_dossier(store: Store, run: StoredRun, dossier: Dossier) -> None:
    """Keep a dossier without what tells one state that holds it from another."""
    from closeout.model.coding import encoded

    content = encoded(replace(dossier, snapshot=SnapshotIdentity("", None, None), redated=False))
    if content is not None:
        store.put_content("dossier", run.id, zlib.compress(content, _FAST), ROOM)


def key_of_run(snapshot: Snapshot, store: Store, options: Options, *, whole: bool) -> str:
    """Return what a run is known by: every YAML and Python file, and what was asked.

    And what it was compared with: the commits before it, of the project in its place, and what is
    stored of the tests of its analyses, which rests on the whole state.
    """
    files = tuple(
        (path, snapshot.digest(path))
        for path in snapshot.files()
        if path.endswith(READ_WHOLE)
    )  # fmt: skip
    # Of the day only what is wrong with the commit's; what it makes planned is asked of the run.
    asked = (
        options.review, options.settings, options.only, options.validate, whole,
        StoredResults(snapshot, store).text,
    )  # fmt: skip
    problems = tuple(tuple(str(value) for value in asdict(p).values()) for p in snapshot.problems())
    return key_of(
        engine_fingerprint(), "run", asked, files, problems,
        snapshot.identity.under_git, snapshot.against, os.path.realpath(snapshot.origin),
        _odd_day(snapshot, options),
    )  # fmt: skip


def _odd_day(snapshot: Snapshot, options: Options) -> tuple[str, bool, str | None] | None:
    """Return the day of the commit where a rule speaks of it: it has not come, or went back."""
    stamp, late = snapshot.dated.stamp, is_late(snapshot, options)
    if stamp is None or not (late or stamp.parent):
        return None
    return stamp.day, late, stamp.parent
