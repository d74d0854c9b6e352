"""What changed between two states of a project: both are judged, then compared."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from closeout.compare.changed_items import changed_items
from closeout.compare.functions import changed_functions
from closeout.compare.pairs import both_of, pairs
from closeout.compare.renamed import renamed
from closeout.compare.worse import first_the_worse, verdict_changes
from closeout.model.changes import ADDED, CHANGED, REMOVED, Changes, FieldChange, ItemChange
from closeout.run.mixtures import Mixtures
from closeout.run.options import Options, Progress
from closeout.run.pipeline import About, Assessment, Outcome, assessing
from closeout.run.splits import Splitter
from closeout.snapshot import Snapshot, open_commit, open_index, open_tree
from closeout.store.database import Store

TREE, INDEX = "tree", "index"


def open_state(root: Path, name: str) -> Snapshot:
    """Return a state by the name that a user gives it: a commit, ``index`` or ``tree``.

    Raises:
        UserError: there is no such commit, or git refuses.
    """
    if name == TREE:
        return open_tree(root)
    return open_index(root) if name == INDEX else open_commit(root, name)


def compared_states(
    was: Snapshot,
    now: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    *,
    exact: bool = False,
) -> Changes | Outcome:
    """Return what changed from one state to another, both at the review of the later one.

    The outcome of a state that cannot be read at all in its place.

    Args:
        exact: split each change of a margin exactly, however long that takes

    Raises:
        UserError: an option names something that the later state does not have.
    """
    with ExitStack() as stack:
        later = stack.enter_context(assessing(now, store, options, progress, verdicts_alone=False))
        if isinstance(later, Outcome):
            return later
        before = replace(options, review=later.checked.plan.review, only=())
        about = _about(later) if options.only else None
        earlier = stack.enter_context(
            assessing(was, store, before, progress, about, verdicts_alone=False)
        )
        if isinstance(earlier, Outcome):
            return earlier
        return _changes(earlier, later, stack, exact)


def _about(later: Assessment) -> About:
    """Return what says which requirements of an earlier state are those asked for of a later."""
    chosen = later.checked.asked.chosen
    wanted = frozenset() if chosen is None else frozenset(chosen.names or ())
    renamed = later.checked.index.renamed.get("requirements", {})
    names = wanted | {old for old, new in renamed.items() if new in wanted}
    return lambda index: frozenset(names & index.requirements.keys())


def _changes(was: Assessment, now: Assessment, stack: ExitStack, exact: bool) -> Changes:
    before, after = was.outcome().dossier, now.outcome().dossier
    names = renamed(before, after)
    mixtures = Mixtures(was, now, names, stack)
    splitter = Splitter(before, after, mixtures, now.checked.units, exact=exact)
    now.step("splitting the changes of margins")
    margins = [one for pair in pairs(before, after, names) for one in splitter.split(pair)]
    return Changes(
        before,
        after,
        verdict_changes(both_of(before, after, names)),
        first_the_worse(margins),
        (*changed_items(before, after, names), *_analyses(was, now)),
    )


def _analyses(was: Assessment, now: Assessment) -> Iterator[ItemChange]:
    """Yield the Python files of the project that differ, with their functions that do."""
    paths = {*was.snapshot.files(), *now.snapshot.files()}
    for path in sorted(path for path in paths if path.endswith(".py")):
        digests = [one.snapshot.digest(path) for one in (was, now)]
        if digests[0] == digests[1]:
            continue
        texts = [
            None if digest is None else one.snapshot.read(path)
            for one, digest in zip((was, now), digests, strict=True)
        ]
        kind = ADDED if texts[0] is None else REMOVED if texts[1] is None else CHANGED
        names = changed_functions(*texts)
        said = ", ".join(names) or "comments and layout only"
        yield ItemChange("analyses", path, kind, (FieldChange("functions", "", said),))
