"""What the analyses predict of what records measured: by the model now, and as it was then."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from closeout.evaluate.engine import Evaluator
from closeout.graph import Index
from closeout.graph.links import with_parameters
from closeout.judge import Validity
from closeout.judge.compared import (
    Asking,
    Bench,
    Pair,
    ask_of,
    compared,
    correlated,
    pairs_of,
    prediction,
)
from closeout.judge.measured_inputs import measured_inputs
from closeout.load import load
from closeout.measure import Units
from closeout.model.compared import Compared, Prediction
from closeout.model.question import Question
from closeout.model.reply import Reply
from closeout.run.inspection import Checked, FileCache, index_of
from closeout.run.options import Options
from closeout.snapshot import Snapshot, SnapshotError, open_commit
from closeout.snapshot.earlier import Line, line_of
from closeout.store.database import Store

_NO_COMMIT = "the project is in no commit, so its model before the test is not known"
Key = tuple[str, str, str]


def compared_now(
    checked: Checked, evaluator: Evaluator, review: str | None
) -> tuple[Compared, ...]:
    """Return each measured quantity that an analysis predicts, beside what it predicts now.

    Where only some requirements are wanted, it is of records about them, and by their analyses.
    """
    index, units = checked.index, checked.units
    pairs = _of(checked.asked.needed, pairs_of(index, units), index)
    if not pairs:
        return ()
    asking = ask_of(pairs, index, Bench(index), units)
    replies = _replies(asking, evaluator, index)
    found = (compared(one, replies, index, units) for one in asking.each)
    return tuple(correlated(one, index, units, review) for one in found)


def _of(needed: Iterable[str] | None, pairs: tuple[Pair, ...], index: Index) -> tuple[Pair, ...]:
    if needed is None or not pairs:
        return pairs
    names = set(needed)
    used = {
        spec.name
        for name in names & set(index.requirements)
        for verification in index.requirements[name].verification
        if (spec := index.analyses.get(verification.analysis or "")) is not None
    }
    return tuple(one for one in pairs if names & set(one.requirements) or one.analysis in used)


def _replies(asking: Asking, evaluator: Evaluator, index: Index) -> Mapping[Question, Reply]:
    questions = dict.fromkeys(question for one in asking.each for question in one.questions)
    specs = {spec.name: spec for spec in index.specs}
    return evaluator.answer(questions, specs, below=asking.below)


@dataclass(frozen=True, slots=True)
class Judged:
    """The state that is judged, of which earlier models are asked."""

    checked: Checked
    snapshot: Snapshot
    store: Store
    options: Options

    def by_model(self, commit: tuple[str, str], pairs: list[Pair]) -> list[Prediction | str]:
        """Return what the model of a commit predicts of each pair, or why that is not known."""
        (name, day), index = commit, self.checked.index
        units = Units()
        try:
            with (
                open_commit(self.snapshot.origin, name) as old,
                Evaluator(
                    old, self.store, self.options.jobs, alone=self.options.alone
                ) as evaluator,
            ):
                model = self.model(old, evaluator)
                if model is None:
                    text = f"commit {name[:12]} of {day} holds no project that can be read"
                    return [text] * len(pairs)
                asking = ask_of(pairs, model, Bench(index), units)
                replies = _replies(asking, evaluator, model)
        except SnapshotError as error:
            return [error.message] * len(pairs)
        return [
            replace(prediction(one, replies, index, units), commit=name, day=day)
            for one in asking.each
        ]

    def model(self, snapshot: Snapshot, evaluator: Evaluator) -> Index | None:
        """Return the analyses and parameters of a state; None where it cannot be read."""
        kept = FileCache(self.store)
        loaded = load(snapshot, kept)
        kept.flush()
        if loaded.project is None:
            return None
        modules = evaluator.modules()
        index = index_of(loaded.project, loaded, modules, snapshot, self.options)
        return with_measured(index, self.checked.units)


def with_measured(index: Index, units: Units) -> Index:
    """Return the index of a state in git with the inputs that its records measured."""
    measured = measured_inputs(Validity(index, units, None, under_git=True))
    return with_parameters(index, measured.parameters, measured.waiting)


def with_earlier(
    found: tuple[Compared, ...], wanted: Iterable[Compared], judged: Judged
) -> tuple[Compared, ...]:
    """Return comparisons, some of them also with what the model before the test predicts.

    That is the one of the last commit before the day of the test. So it shows whether the model was
    changed once the result was known.
    """
    some = {_key(one) for one in wanted}
    if not some:
        return found
    try:
        line = line_of(judged.snapshot)
    except SnapshotError as error:
        return _without(found, some, error.message)
    if line is None:
        return _without(found, some, _NO_COMMIT)
    by_commit: dict[tuple[str, str], list[Compared]] = {}
    earlier: dict[Key, Compared] = {}
    for one in found:
        if _key(one) in some:
            commit = line.before(one.day)
            if commit is None:
                earlier[_key(one)] = replace(one, no_before=_too_early(one, line))
            else:
                by_commit.setdefault(commit, []).append(one)
    pairs = {_key_of(one): one for one in pairs_of(judged.checked.index, judged.checked.units)}
    for commit, its in by_commit.items():
        compared = judged.by_model(commit, [pairs[_key(one)] for one in its])
        earlier |= {
            _key(one): _with_reason(one, said) for one, said in zip(its, compared, strict=True)
        }
    return tuple(earlier.get(_key(one), one) for one in found)


def _key(one: Compared) -> Key:
    return one.record, one.quantity, one.analysis


def _key_of(pair: Pair) -> Key:
    return pair.record.id, pair.quantity, pair.analysis


def _without(found: tuple[Compared, ...], some: set[Key], reason: str) -> tuple[Compared, ...]:
    return tuple(replace(one, no_before=reason) if _key(one) in some else one for one in found)


def _too_early(one: Compared, line: Line) -> str:
    if not line.whole:
        return f"the commits before {one.day} are not in this clone"
    return f"no commit is from before {one.day}; the first is of {line.commits[-1][1]}"


def _with_reason(one: Compared, said: Prediction | str) -> Compared:
    if isinstance(said, str):
        return replace(one, no_before=said)
    return replace(one, before=said)
