"""Margins of states between two states: each choice of code and data in a folder of its own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction

from closeout.compare.functions import changed_functions
from closeout.compare.mixed import Between, Key, Side, between
from closeout.compare.pairs import Pair
from closeout.evaluate.engine import Evaluator
from closeout.graph import Index, Plan, plan_of
from closeout.judge import Run, evidence_of
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.changes import Factor
from closeout.model.dossier import Evidence
from closeout.model.earlier_names import Names
from closeout.run.asked import answers_to
from closeout.run.inspection import index_of
from closeout.run.pipeline import Assessment
from closeout.snapshot import Snapshot, open_mixture

# A margin for each case of a verification, in the unit of the later state, or why there is none.
Margins = Mapping[str | None, Fraction] | str
_Files = frozenset[str]


@dataclass(frozen=True, slots=True)
class _World:
    """Code and data as they are in a mixture, and who evaluates them."""

    snapshot: Snapshot
    evaluator: Evaluator
    index: Index


class Mixtures:
    """Evaluates what lies between two states; kept by content, as every evaluation is."""

    def __init__(self, was: Assessment, now: Assessment, names: Names, stack: ExitStack) -> None:
        """Make one for two states that are answered; ``stack`` closes what is opened."""
        self._was, self._now = was, now
        self._called = {new: old for old, new in names.get("parameters", {}).items()}
        self._stack = stack
        self._worlds: dict[_Files, _World] = {
            frozenset(): _World(now.snapshot, now.evaluator, now.checked.index)
        }

    @property
    def spent(self) -> float:
        """The processor time in s of all evaluations between the states so far."""
        return sum(world.evaluator.spent for world in self._worlds.values())

    def between(self, pair: Pair) -> Between:
        """Return a verification by analysis between the two states, with its factors."""
        before, after = pair.keys
        sides = (
            self._side(self._was, before, self._called),
            self._side(self._now, after, {}),
        )
        code, data = self._files(before, after)
        return between(*sides, code, data)

    def margins(
        self, one: Between, key: Key, unit: str, choices: Sequence[frozenset[Factor]]
    ) -> list[Margins]:
        """Return for each choice the margins with these factors as they were, all asked at once.

        They are in the unit that is given, that of a margin.
        """
        found: list[Margins] = [""] * len(choices)
        by_world: dict[_Files, list[int]] = {}
        for place, earlier in enumerate(choices):
            by_world.setdefault(self._old_files(earlier), []).append(place)
        for files, places in by_world.items():
            world = self._world(files)
            if isinstance(world, str):
                for place in places:
                    found[place] = world
                continue
            asked = [self._plan(one, key, choices[place], world) for place in places]
            for place, margins in zip(places, self._answered(asked, key, unit, world), strict=True):
                found[place] = margins
        return found

    def _side(self, one: Assessment, key: Key, called: Mapping[str, str]) -> Side:
        index = one.checked.index
        verification = index.requirements[key[0]].verification[key[1]]
        return Side(index, verification, one.checked.plan.review, called)

    def _files(self, before: Key, after: Key) -> tuple[Factor | None, list[Factor]]:
        """Return the code that differs, as one factor, and each data file, by what was read."""
        read = self._read(self._was, before) | self._read(self._now, after)
        differ = [
            path
            for path in sorted(read)
            if self._was.snapshot.digest(path) != self._now.snapshot.digest(path)
            and not path.endswith((".yaml", ".yml"))
        ]
        modules = [path for path in differ if path.endswith(".py")]
        data = [Factor("data", path) for path in differ if not path.endswith(".py")]
        return (self._code(modules) if modules else None), data

    def _read(self, one: Assessment, key: Key) -> frozenset[str]:
        request = one.checked.plan.requests.get(key)
        if request is None:
            return frozenset()
        questions = [*request.questions, *(below.question for below in request.below)]
        replies = (one.replies.get(question) for question in questions)
        return frozenset().union(*(r.read for r in replies if r is not None and r.read is not None))

    def _code(self, modules: Iterable[str]) -> Factor:
        names = []
        for path in modules:
            texts = (_text(self._was.snapshot, path), _text(self._now.snapshot, path))
            changed = changed_functions(*texts)
            names.append(f"{path}: {', '.join(changed)}" if changed else path)
        return Factor("code", "; ".join(names))

    def _old_files(self, earlier: frozenset[Factor]) -> _Files:
        data = {one.name for one in earlier if one.kind == "data"}
        code = self._old_code() if any(one.kind == "code" for one in earlier) else ()
        return frozenset({*data, *code})

    def _old_code(self) -> Iterator[str]:
        """Yield all Python files of the project that differ: some only import what is read."""
        both = {*self._was.snapshot.files(), *self._now.snapshot.files()}
        for path in both:
            digests = (one.snapshot.digest(path) for one in (self._was, self._now))
            if path.endswith(".py") and len(set(digests)) > 1:
                yield path

    def _world(self, files: _Files) -> _World | str:
        if files not in self._worlds:
            now = self._now
            instead = {path: _text(self._was.snapshot, path) for path in files}
            looked = [name for kind, name, _ in now.evaluator.looked_at if kind == "file"]
            snapshot = self._stack.enter_context(open_mixture(now.snapshot, looked, instead))
            evaluator = self._stack.enter_context(
                Evaluator(snapshot, now.store, now.options.jobs, alone=now.options.alone)
            )
            checked = now.checked
            index = index_of(
                checked.index.project, checked.loaded, evaluator.modules(), snapshot, now.options
            )
            self._worlds[files] = _World(snapshot, evaluator, index)
        return self._worlds[files]

    def _plan(self, one: Between, key: Key, earlier: frozenset[Factor], world: _World) -> Plan:
        index, verification = one.mixed(earlier, world.index)
        checked = self._now.checked
        return plan_of({key: verification}, index, checked.units, {}, checked.plan.review)

    def _answered(self, plans: Sequence[Plan], key: Key, unit: str, world: _World) -> list[Margins]:
        replies = answers_to(plans, world.evaluator, world.index.specs)
        found: list[Margins] = []
        for plan in plans:
            request = plan.requests[key]
            if request.fault or request.pending:
                found.append(request.fault or request.pending or "")
                continue
            evidence = evidence_of(
                Run(
                    index=plan.index, plan=plan, replies=replies, units=self._now.checked.units,
                    snapshot=self._now.snapshot.identity, problems=(), files=0, review=plan.review,
                    altered=self._now.checked.altered,
                )
            )  # fmt: skip
            found.append(_margins(evidence[key], unit, self._now.checked.units))
        return found


def _margins(entries: Iterable[Evidence], unit: str, units: Units) -> Margins:
    found: dict[str | None, Fraction] = {}
    for entry in entries:
        if entry.margin is None:
            return entry.message or "it has no margin"
        margin = in_unit(entry.margin, entry.margin_unit, unit, units)
        if margin is None:
            return f"its margin is in {entry.margin_unit}"
        found.setdefault(entry.case, margin)
    return found


def in_unit(margin: float, own: str | None, unit: str, units: Units) -> Fraction | None:
    """Return a margin in another unit of a difference; None where that is none of its own."""
    if (own or "1") == unit:
        return Fraction(margin)
    try:
        return units.convert_difference(Amount("", Fraction(margin), own or "1"), unit, Fraction(0))
    except UnitError:
        return None


def _text(snapshot: Snapshot, path: str) -> bytes | None:
    return None if snapshot.digest(path) is None else snapshot.read(path)
