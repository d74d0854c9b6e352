"""What moved the result of an analysis out of an agreed range: what was set, or which commits.

Commits are walked back to the last one at which the range still held. What they say is read from
git's objects and the files that were parsed before; only where something that the estimate rests on
differs is the estimate of a commit evaluated, and answers are kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import blake2b

from closeout.evaluate.engine import Evaluator
from closeout.graph import Index, plan
from closeout.graph.inputs import spread_text
from closeout.graph.links import limits_found, with_parameters
from closeout.judge.estimates import estimates_of
from closeout.load import load
from closeout.measure import Units
from closeout.model.as_of import as_of
from closeout.model.dossier import Dossier
from closeout.model.question import Question
from closeout.model.records import LinkedParameter, Parameter
from closeout.model.reply import Reply
from closeout.run.compared import Judged, with_measured
from closeout.run.inspection import FileCache
from closeout.snapshot import Commit, Past, SnapshotError, open_commit, past_of

# How many commits are read, and of how many the estimate is evaluated: beyond, nothing is said.
_READ = 100
_EVALUATED = 8
# What a state says, by what it says it of.
Said = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Rests:
    """What the estimate of an agreed range rests on: parameters, given conditions, files."""

    name: str
    parameters: Mapping[str, tuple[str, ...]]
    verifications: frozenset[tuple[str, str]]
    files: frozenset[str]


def causes(
    dossier: Dossier, judged: Judged, replies: Mapping[Question, Reply]
) -> Mapping[str, str]:
    """Return what moved each estimate that left its agreed range, where that is known.

    Each is the end of a sentence, by parameter. Of a what-if it is what was set.
    """
    found: dict[str, str] = {}
    left = []
    for one in _outgrown(judged, replies):
        settings = [f"{name}={text}" for name, text in dossier.settings if name in one.parameters]
        if settings:
            found[one.name] = f", with {', '.join(settings)}"
        else:
            left.append(one)
    past = past_of(judged.snapshot) if left else None
    if past is None:
        return found
    with suppress(SnapshotError):
        walk = _Walk(judged, past)
        found |= {one.name: text for one in left if (text := walk.cause(one)) is not None}
    return found


def _outgrown(judged: Judged, replies: Mapping[Question, Reply]) -> Iterator[_Rests]:
    """Yield what each estimate rests on that its agreed range does not contain."""
    checked = judged.checked
    index, results = checked.index, {question: one.result for question, one in replies.items()}
    found: dict[str, _Rests] = {}
    for (requirement, _), request in checked.plan.of(checked.asked.needed).requests.items():
        key = requirement, request.verification.analysis or ""
        for one in estimates_of(request, results):
            if one.wrong is None or one.found.value is None:
                continue
            name, below = one.found.name, one.estimate.below
            names = {root.name for each in below for root in each.roots}
            names |= {linked.variable for linked in one.estimate.chain.linked}
            read = [replies[each.question].read or frozenset() for each in below]
            before = found.get(name)
            found[name] = _Rests(
                name,
                {each: _earlier(each, index) for each in sorted(names) if _is_said(each, index)},
                frozenset((key, *(before.verifications if before else ()))),
                frozenset().union(*read, before.files if before else ()),
            )
    yield from found.values()


def _is_said(name: str, index: Index) -> bool:
    return name in index.parameters or name in index.linked


def _earlier(name: str, index: Index) -> tuple[str, ...]:
    item = index.parameters.get(name) or index.linked.get(name)
    return () if item is None else item.formerly


@dataclass(slots=True)
class _Walk:
    """The commits before a state, the newest first, each read once."""

    judged: Judged
    past: Past
    commits: list[Commit] = field(init=False)
    _contents: dict[str, bytes] = field(default_factory=dict)
    _indexes: dict[str, Index | None] = field(default_factory=dict)
    _outgrown: dict[str, Mapping[str, bool]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.commits = list(reversed(self.past.line()))[:_READ]

    def cause(self, rests: _Rests) -> str | None:
        """Return since which commit an estimate left its range, and by what; None if unknown."""
        states = [(self._newer(), self._now(rests))]
        for commit in self.commits:
            said = self._then(commit, rests)
            if said is None:
                return None
            if said != states[-1][1]:
                holds = self._holds(commit, rests.name)
                if holds is None:
                    return None
                if holds:
                    since = "; ".join(_changes(said, states))
                    return f"; it still held at commit {_named(commit)}; since then {since}"
            states.append((f"commit {_named(commit)}", said))
        return None

    def _newer(self) -> str:
        """Return how to name the state itself, whether or not it is a commit by now."""
        return f"after commit {(self.past.base or '')[:12]}"

    def _now(self, rests: _Rests) -> Said:
        snapshot = self.judged.snapshot
        # Only how long a blob's name is matters, and each commit is one of the same kind.
        like = self.past.base or ""
        blobs = {}
        for path in rests.files:
            with suppress(OSError):
                blobs[path] = self.past.name_of(snapshot.read(path), like)
        return dict(_said(rests, self.judged.checked.index, blobs))

    def _then(self, commit: Commit, rests: _Rests) -> Said | None:
        index = self._index(commit)
        if index is None:
            return None
        blobs = self.past.blobs(commit.id, rests.files) if rests.files else {}
        return dict(_said(rests, index, blobs))

    def _index(self, commit: Commit) -> Index | None:
        """Return what a commit's YAML files say; None where they are no project."""
        if commit.id not in self._indexes:
            blobs = self.past.tree(commit.id)
            new = [blob for blob in dict.fromkeys(blobs.values()) if blob not in self._contents]
            self._contents.update(self.past.contents(new))
            cache = FileCache(self.judged.store)
            loaded = load(_Committed(blobs, self._contents), cache)
            cache.flush()
            self._indexes[commit.id] = None
            if loaded.project is not None:
                project = as_of(loaded.project, commit.day)
                index = Index.of(project, (), loaded.left_out, loaded.whole, code=False)
                index = with_parameters(index, limits_found(index))
                self._indexes[commit.id] = with_measured(index, self.judged.checked.units)
        return self._indexes[commit.id]

    def _holds(self, commit: Commit, name: str) -> bool | None:
        """Return whether a range contained its estimate at a commit; None where that is unknown."""
        if commit.id not in self._outgrown:
            if len(self._outgrown) >= _EVALUATED:
                return None
            self._outgrown[commit.id] = self._evaluated(commit)
        return self._outgrown[commit.id].get(name)

    def _evaluated(self, commit: Commit) -> Mapping[str, bool]:
        """Return of each agreed range at a commit whether it held."""
        judged, units = self.judged, Units()
        with (
            open_commit(judged.snapshot.origin, commit.id) as old,
            Evaluator(old, judged.store, judged.options.jobs, alone=judged.options.alone) as ask,
        ):
            index = judged.model(old, ask)
            if index is None:
                return {}
            planned = plan(index, units, {}, judged.options.review)
            specs = {spec.name: spec for spec in index.specs}
            replies = ask.answer((), specs, below=planned.below, beside=planned.estimates)
        results = {question: reply.result for question, reply in replies.items()}
        found: dict[str, bool] = {}
        for request in planned.requests.values():
            for one in estimates_of(request, results):
                name = self._today(one.found.name)
                found[name] = found.get(name, True) and one.wrong is None
        return found

    def _today(self, name: str) -> str:
        return self.judged.checked.index.renamed.get("parameters", {}).get(name, name)


@dataclass(frozen=True, slots=True)
class _Committed:
    """The YAML files of a commit, as they are loaded."""

    blobs: Mapping[str, str]
    contents: Mapping[str, bytes]

    def files(self) -> tuple[str, ...]:
        """Return the sorted paths."""
        return tuple(sorted(self.blobs))

    def read(self, path: str) -> bytes:
        """Return a content; OSError where it was not fetched."""
        try:
            return self.contents[self.blobs[path]]
        except KeyError:
            raise FileNotFoundError(path) from None

    def digest(self, path: str) -> str | None:
        """Return the digest of a content, as a snapshot's."""
        content = self.contents.get(self.blobs.get(path, ""))
        return None if content is None else blake2b(content, digest_size=32).hexdigest()


def _named(commit: Commit) -> str:
    return f"{commit.id[:12]} of {commit.day}"


def _said(rests: _Rests, index: Index, blobs: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield what a state says of all that an estimate rests on."""
    for name, earlier in rests.parameters.items():
        for each in (name, *earlier):
            item = index.parameters.get(each) or index.linked.get(each)
            if item is not None:
                yield name, _text(item)
                break
    for requirement, analysis in sorted(rests.verifications):
        for name, given in _given(requirement, analysis, index).items():
            if name in rests.parameters:
                yield f"{name} of {requirement}", " and ".join(dict.fromkeys(given))
    for path in sorted(rests.files & blobs.keys()):
        yield path, _Blob(blobs[path])
    yield "the contingency of the project's policy", _Blob(index.project.charter.policy.contingency)


def _given(requirement: str, analysis: str, index: Index) -> Mapping[str, list[str]]:
    """Return the conditions under which a requirement asks an analysis."""
    found: dict[str, list[str]] = {}
    one = index.requirements.get(requirement)
    for verification in one.verification if one is not None else ():
        for name, condition in verification.criterion.given:
            if verification.analysis == analysis:
                found.setdefault(name, []).append(str(condition))
    return found


class _Blob(str):
    """What is compared and not shown."""

    __slots__ = ()

    def __new__(cls, value: object) -> _Blob:
        return super().__new__(cls, str(value))


def _text(item: Parameter | LinkedParameter) -> str:
    """Return what a parameter is as far as its ends go."""
    if isinstance(item, LinkedParameter):
        return f"from {item.link}"
    if item.spread.range is not None:
        low, high = item.spread.range
        text = f"[{low.text}, {high.text}]"
    else:
        text = " ".join(filter(None, (item.value.text, spread_text(item.spread))))
    beside = ", ".join(filter(None, (item.record if item.link else None, item.maturity)))
    return f"{text} ({beside})" if beside else text


def _changes(held: Said, states: list[tuple[str, Said]]) -> Iterator[str]:
    """Yield what is otherwise than in the state that held, and which state made it so.

    Args:
        states: those since then, the newest first, each with how it is named.
    """
    now = states[0][1]
    before = [said for _, said in states[1:]] + [held]
    for label in dict.fromkeys((*now, *held)):
        old, new = held.get(label), now.get(label)
        if old == new:
            continue
        by = next(
            name for (name, said), was in zip(states, before, strict=True)
            if said.get(label) != was.get(label)
        )  # fmt: skip
        yield f"{label} {_moved(old, new)} ({by})"


def _moved(old: str | None, new: str | None) -> str:
    if isinstance(old or new, _Blob):
        return "is new" if old is None else "is gone" if new is None else "changed"
    if old is None:
        return f"came in as {new}"
    return f"went from {old} to {new}" if new is not None else f"was {old}, and is gone"
