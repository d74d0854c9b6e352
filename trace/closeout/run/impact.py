"""What rests on what: a project is judged, so that it is known what its analyses opened."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from closeout.compare.changed_since import changed_since, same
from closeout.graph import Index
from closeout.graph.assessed import to_be_assessed
from closeout.graph.impact import (
    Network,
    concerned,
    idle,
    may_rest,
    network,
    with_quantity,
)
from closeout.graph.impact_edges import Trail, file_node
from closeout.graph.impact_names import Names, by_section
from closeout.judge.nonconformance import concerned as concerned_by
from closeout.judge.open_again import open_again, open_now
from closeout.load import load
from closeout.model.changes import CHANGED, REMOVED
from closeout.model.dossier import Dossier
from closeout.model.errors import Mistake, UserError
from closeout.model.impact import (
    FILES,
    Again,
    Impact,
    Named,
    Node,
    OpenAgain,
    Reading,
    Unused,
    told,
)
from closeout.model.records import Project
from closeout.run.changes import open_state
from closeout.run.inspection import FileCache
from closeout.run.opening import opened
from closeout.run.options import Options, Progress
from closeout.run.pipeline import Assessment, Outcome, assessing
from closeout.run.readings import readings
from closeout.snapshot import Snapshot, store_folder
from closeout.store.database import Store, open_store

_RANGE = re.compile(r"([^\s.][^\s]*?)\.\.([^\s./][^\s]*)?")
_ITEMS = ".yaml"


@dataclass(frozen=True, slots=True)
class Since:
    """The earlier state of a range of commits, and how the range was written."""

    snapshot: Snapshot
    text: str
    commit: str


@contextmanager
def opened_for(
    root: Path, names: Sequence[str], revision: str | None
) -> Iterator[tuple[Snapshot, Store, Since | None]]:
    """Open the state that names speak of, of a range of commits its later end.

    Raises:
        UserError: there is more than one range, or a commit beside it, or a commit is unknown.
    """
    ranges = [(text, ends) for text in names if (ends := range_of(text)) is not None]
    if not ranges:
        with opened(root, revision) as (snapshot, store):
            yield snapshot, store, None
        return
    (text, (first, last)), *more = ranges
    if more or revision is not None:
        wrong = f"{more[0][0]} beside {text}" if more else f"--at {revision} beside {text}"
        raise UserError(f"{wrong}: one state is judged", "name one range; its end is judged")
    with ExitStack() as stack:
        store = stack.enter_context(open_store(store_folder(root)))
        was, now = (stack.enter_context(open_state(root, name)) for name in (first, last))
        yield now, store, Since(was, text, first)


def range_of(text: str) -> tuple[str, str] | None:
    """Return both ends of a range of commits, ``A..B``; None where a text is none."""
    found = _RANGE.fullmatch(text)
    return None if found is None else (found[1], found[2] or "HEAD")


def impact_of(
    names: Sequence[str],
    snapshot: Snapshot,
    store: Store,
    options: Options,
    progress: Progress | None = None,
    since: Since | None = None,
) -> Impact | Outcome:
    """Return what rests on some names, and what they rest on.

    The outcome of a project that cannot be read at all in its place.

    Raises:
        UserError: a name leads to nothing, or an option names what the project does not have.
    """
    texts = [text for text in dict.fromkeys(names) if since is None or text != since.text]

    def known(index: Index) -> None:
        """Refuse an unknown name before anything runs; every requirement is wanted."""
        trail = Trail(index, {})
        _named(texts, _names(trail, network(trail), snapshot))

    with assessing(snapshot, store, options, progress, known) as assessment:
        if isinstance(assessment, Outcome):
            return assessment
        seen = _seen(assessment)
        changed = _Changed() if since is None else _changed(since, seen, store)
        asked = [*_named(texts, seen.names), *changed.named]
        return _impact(asked, changed, seen, since)


def unused_of(
    snapshot: Snapshot, store: Store, options: Options, progress: Progress | None = None
) -> Unused | Outcome:
    """Return what no requirement of a project rests on.

    The outcome of a project that cannot be read at all in its place.

    Raises:
        UserError: an option names what the project does not have.
    """
    with assessing(snapshot, store, options, progress) as assessment:
        if isinstance(assessment, Outcome):
            return assessment
        seen = _seen(assessment)
        paths = [one for one in snapshot.files() if _is_of_analyses(one)]
        return Unused(seen.dossier, idle(seen.trail, seen.net, paths), _unread(seen.readings))


@dataclass(frozen=True, slots=True)
class _Seen:
    """A judged project as a graph."""

    assessment: Assessment
    dossier: Dossier
    trail: Trail
    net: Network
    readings: Sequence[Reading]
    names: Names


@dataclass(frozen=True, slots=True)
class _Changed:
    """What a range of commits changed; the fields behind ``named`` as of an :class:`Impact`."""

    named: tuple[Named, ...] = ()
    gone: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    recharted: bool = False


def _seen(assessment: Assessment) -> _Seen:
    dossier, found = assessment.outcome().dossier, readings(assessment)
    index, snapshot = assessment.checked.index, assessment.snapshot
    decided: dict[tuple[str, int], list[str]] = {}
    for result in dossier.requirements:
        for entry in result.evidence:
            if entry.record is not None:
                decided.setdefault((result.id, entry.number), []).append(entry.record)
    reported: dict[str, list[str]] = {}
    for report in index.project.nonconformances:
        records = (report.found_by, *report.retest, report.closed_by)
        for name in concerned_by(report, index):
            reported.setdefault(name, []).extend(one for one in records if one is not None)
    trail = Trail(index, found, decided, reported)
    net = network(trail)
    names = _names(trail, net, snapshot)
    return _Seen(assessment, dossier, trail, net, list(found.values()), names)


def _names(trail: Trail, net: Network, snapshot: Snapshot) -> Names:
    return Names(
        trail,
        net,
        lambda path: snapshot.digest(path) is not None,
        snapshot.files(),
        lambda report: concerned_by(report, trail.index),
    )


def _named(texts: Iterable[str], names: Names) -> list[Named]:
    found: list[Named] = []
    wrong: list[Mistake] = []
    for text in texts:
        named = names.found(text)
        found += named
        wrong += [] if named else [names.mistake(text)]
    if wrong:
        raise UserError.all_of(wrong)
    return found


def _impact(asked: list[Named], changed: _Changed, seen: _Seen, since: Since | None) -> Impact:
    roots = tuple(dict.fromkeys(node for named in asked for node in named.nodes))
    net, trail = seen.net, seen.trail
    net.add(edge for root in roots for edge in with_quantity(root, trail))
    net.add(may_rest(roots, net, seen.readings))
    above, below = net.above(roots) - {*roots}, net.below(roots) - {*roots}
    sure = net.surely_above(roots)
    about = concerned({*above, *roots}, roots, trail, net)
    again = open_again(roots, above, seen.assessment.validity)
    if since is not None:
        again = (*open_now({*above, *roots}, about, seen.dossier), *_still(again))
    every = {*roots, *above, *below}
    return Impact(
        seen.dossier,
        tuple(asked),
        told(above),
        told(below),
        frozenset(above - sure),
        net.among(every),
        net.layers(every),
        about,
        tuple(again),
        _unread(seen.readings),
        seen.trail.index.project.documents,
        changed.gone,
        changed.others,
        None if since is None else since.commit,
        changed.recharted
        or any(one.text == trail.index.project.charter.where.path for one in asked),
        to_be_assessed(trail.index),
    )


def _unread(found: Iterable[Reading]) -> tuple[tuple[str, str], ...]:
    return tuple((one.analysis, one.unread) for one in found if one.unread is not None)


def _still(again: Iterable[OpenAgain]) -> Iterator[OpenAgain]:
    """Yield what a change leaves to be done once it has been made: what re-opens is open by now."""
    yield from (one for one in again if one.what in (Again.EVALUATED, Again.TEST, Again.ASSESS))


# ---- a range of commits


def _changed(since: Since, seen: _Seen, store: Store) -> _Changed:
    """Return what is not as it was: items, whatever their places, and files.

    Raises:
        UserError: the earlier state cannot be read.
    """
    was, now = _project(since, store), seen.assessment.checked.loaded.project
    index = seen.trail.index
    assert now is not None
    named: list[Named] = []
    gone: list[str] = []
    for section, name, kind in changed_since(by_section(was), by_section(now), index.renamed):
        if kind == REMOVED:
            gone += [] if name in index.left_out else [name]
            continue
        one = seen.names.of_section(section, name)
        named.append(one._replace(note=f"{kind}, {one.note}" if one.note else kind))
    nodes, others = _changed_files(since, seen)
    named += [Named(node.name, (node,), CHANGED) for node in nodes]
    return _Changed(tuple(named), tuple(gone), others, not same(was.charter, now.charter))


def _project(since: Since, store: Store) -> Project:
    cache = FileCache(store)
    loaded = load(since.snapshot, cache)
    cache.flush()
    if loaded.project is None:
        raise UserError(f"{since.text}: {since.commit} holds no project that can be read")
    return loaded.project


def _changed_files(since: Since, seen: _Seen) -> tuple[list[Node], tuple[str, ...]]:
    """Return the changed files on which something rests or may rest, and the others."""
    snapshots = (since.snapshot, seen.assessment.snapshot)
    paths = sorted({path for one in snapshots for path in one.everything()})
    differing = [path for path in paths if len({one.digest(path) for one in snapshots}) > 1]
    nodes: list[Node] = []
    others: list[str] = []
    for path in differing:
        found = [node for node in (Node(kind, path) for kind in FILES) if node in seen.net]
        if not found and _is_of_analyses(path) and _unread(seen.readings):
            found = [file_node(path)]
        nodes += found
        # Of a file of YAML its items have been compared.
        others += [] if found or path.endswith(_ITEMS) else [path]
    return nodes, tuple(others)


def _is_of_analyses(path: str) -> bool:
    return path.startswith("analyses/") and not path.endswith(_ITEMS)
