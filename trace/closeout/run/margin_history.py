"""A requirement at each commit that touched what it rests on, back to where it began.

A commit that changed no file that a state rests on is passed over: with the same files it would say
the same. What an earlier state rests on may be another file; but then a commit between the two has
changed one that the later state rests on too.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace

from closeout.graph import Index, required_margins
from closeout.graph.bounds import written_ends
from closeout.graph.links import reach_of
from closeout.measure import UnitError, Units
from closeout.model.dossier import Dossier
from closeout.model.errors import UserError
from closeout.model.margin_history import Line, MarginHistory, Moment
from closeout.model.records import Requirement, Verification
from closeout.run.options import Options, Progress
from closeout.run.pipeline import Assessment, Outcome, assessing
from closeout.snapshot import Snapshot, SnapshotError, open_commit
from closeout.snapshot.names import is_judged
from closeout.snapshot.story import Change, story_of
from closeout.store.database import Store


@dataclass(frozen=True, slots=True)
class _Seen:
    """A requirement in one state, and the files that it rests on there (None: any).

    ``basis`` is all that is said of it and that its numbers rest on: a file holds other items too.
    """

    moment: Moment
    files: frozenset[str] | None
    names: tuple[str, ...]
    is_there: bool = True
    basis: object = None

    def is_touched(self, change: Change) -> bool:
        if self.files is None:
            return any(is_judged(path) for path in change.paths)
        return not self.files.isdisjoint(change.paths)


def margin_history(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    identifier: str,
    since: str | None = None,
    progress: Progress | None = None,
) -> MarginHistory:
    """Return how a requirement stood, back to a day or a commit, or to where it began.

    Raises:
        UserError: there is no such requirement, no history, or no such commit.
    """
    now = _seen(snapshot, store, options, (identifier,), None, progress)
    if not now.is_there:
        raise UserError(
            f"there is no requirement {identifier}", "name a requirement: closeout matrix"
        )
    story = story_of(snapshot, since)
    if story is None:
        raise UserError("the project is in no commit, so it has no history", "git init, git commit")
    walk = _Walk(snapshot, store, options, story.changes, progress)
    moments = [*walk.back(now, is_commit=snapshot.identity.dirty is False)]
    if not moments:  # it is asked to begin after the newest commit
        moments = [replace(now.moment, commit=snapshot.identity.commit, subject="the state now")]
    name = moments[0].result.id if moments and moments[0].result is not None else identifier
    return MarginHistory(name, walk.project, tuple(reversed(moments)), story.whole)


class _Walk:
    """Goes back along the commits, and judges where something was another."""

    def __init__(
        self,
        snapshot: Snapshot,
        store: Store,
        options: Options,
        changes: tuple[Change, ...],
        progress: Progress | None,
    ) -> None:
        self._origin = snapshot.origin
        self._store, self._options, self._progress = store, options, progress
        self._changes = changes
        self.project = snapshot.origin.name

    def back(self, now: _Seen, *, is_commit: bool) -> Iterator[Moment]:
        """Yield the moments, the newest first."""
        left = list(self._changes)
        seen, tags = now, list[str]()
        if not is_commit:
            yield replace(now.moment, subject="not committed")
            seen = self._at(left[0], now.names) if left else now
        while left and seen.is_there:
            change = left.pop(0)
            tags += change.tags
            if left and not seen.is_touched(change):
                continue
            earlier = self._at(left[0], seen.names) if left else None
            if earlier is not None and earlier.basis is not None and earlier.basis == seen.basis:
                seen = earlier
                continue
            yield replace(
                seen.moment, commit=change.id, day=change.day, subject=change.subject,
                tags=tuple(tags),
            )  # fmt: skip
            tags = []
            if earlier is None:
                return
            seen = earlier

    def _at(self, change: Change, names: tuple[str, ...]) -> _Seen:
        if self._progress is not None:
            self._progress.step(f"judging commit {change.id[:10]} of {change.day}")
        try:
            with closing(open_commit(self._origin, change.id)) as snapshot:
                return _seen(snapshot, self._store, self._options, names, change.day, None)
        except SnapshotError as error:
            return _Seen(_unknown(change.day, error.message), None, names)


def _unknown(day: str | None, text: str) -> Moment:
    return Moment(None, day, "", (), None, text)


def _seen(
    snapshot: Snapshot,
    store: Store,
    options: Options,
    names: tuple[str, ...],
    day: str | None,
    progress: Progress | None,
) -> _Seen:
    """Return a requirement in a state, under the first of its names that is there."""

    def about(index: Index) -> frozenset[str]:
        return frozenset([name for name in names if name in index.requirements][:1])

    with assessing(snapshot, store, options, progress, about, verdicts_alone=False) as one:
        if isinstance(one, Outcome):
            problems = [problem.message for problem in one.dossier.problems]
            more = f" and {len(problems) - 1} more" if len(problems) > 1 else ""
            text = "".join(problems[:1]) + more
            return _Seen(_unknown(day, f"cannot be read: {text}"), None, names)
        index = one.checked.index
        found = [index.requirements[name] for name in names if name in index.requirements][:1]
        if not found:
            return _Seen(_unknown(day, "it is not there"), None, names, is_there=False)
        (requirement,) = found
        dossier = one.outcome().dossier
        result = next(r for r in dossier.requirements if r.id == requirement.id)
        required = dict(_required(requirement, one))
        moment = Moment(
            None, dossier.snapshot.date, "", (), result, required=required,
        )  # fmt: skip
        inputs = tuple((run.analysis, run.given, run.inputs) for run in dossier.evaluations)
        return _Seen(
            moment,
            _files(requirement, one, dossier),
            (requirement.id, *requirement.formerly),
            basis=(result, inputs, dossier.contents),
        )


def _files(requirement: Requirement, one: Assessment, dossier: Dossier) -> frozenset[str]:
    """Return the files in which stands what a requirement rests on, and those that were read."""
    index = one.checked.index
    places = {index.project.charter.where.path}
    places |= {document.where.path for document in index.documents.values()}
    above = _above(requirement.id, index)
    places |= {index.requirements[name].where.path for name in above}
    for name in index.below([requirement.id]):
        below = index.requirements[name]
        places.add(below.where.path)
        places |= {waiver.where.path for waiver in index.waivers.get(name, ())}
        for verification in below.verification:
            places |= set(_of_verification(verification, index))
    places |= {report.where.path for report in index.project.nonconformances}
    places |= {article.where.path for article in index.articles.values()}
    return frozenset(places).union(*(evaluation.read for evaluation in dossier.evaluations))


def _above(name: str, index: Index) -> set[str]:
    """Return the requirements that one is derived from: a new issue of their document counts."""
    found: set[str] = set()
    left = [name]
    while left:
        parents = index.requirements[left.pop()].derived_from
        new = [one for one in parents if one in index.requirements and one not in found]
        found.update(new)
        left += new
    return found


def _of_verification(verification: Verification, index: Index) -> Iterator[str]:
    for name in verification.records:
        record = index.records.get(name)
        if record is not None:
            yield record.where.path
            if record.data is not None:
                yield record.data
    spec = index.analyses.get(verification.analysis or "")
    if spec is None:
        return
    yield spec.path
    for name in reach_of(spec, index).parameters:
        stated = index.parameters.get(name) or index.linked.get(name)
        if stated is not None:
            yield stated.where.path


def _required(requirement: Requirement, one: Assessment) -> Iterator[tuple[Line, float]]:
    """Yield the margin that a policy requires of each verification, in the unit of its limit."""
    index, units, review = one.checked.index, one.checked.units, one.checked.plan.review
    for verification in requirement.verification:
        margin = _required_of(verification, index, units, review)
        if margin is not None:
            key = (
                verification.method.value, verification.level, verification.stage,
                verification.criterion.quantity,
            )  # fmt: skip
            yield key, margin


def _required_of(
    verification: Verification, index: Index, units: Units, review: str | None
) -> float | None:
    limits = verification.criterion.limits
    found = []
    for margin in required_margins(verification.criterion.quantity, index, review):
        unit = limits.unit
        if unit is None:
            continue
        try:
            exact = margin.on(limits, unit, units)
            low, high = written_ends(limits, units)
            if low is not None and exact.at_least is not None:
                found.append(exact.at_least - units.convert(low, unit))
            if high is not None and exact.at_most is not None:
                found.append(units.convert(high, unit) - exact.at_most)
        except UnitError:
            continue
    return float(max(found)) if found else None
