"""A project for programs and notebooks: what the commands answer, as values."""

from __future__ import annotations

import os
import warnings
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path

from closeout.evaluate.engine import Evaluator
from closeout.graph import Index, Request, ask
from closeout.graph.at_declared import at_declared
from closeout.graph.links import reach_of
from closeout.graph.new_findings import nearest
from closeout.model.answer import Answer
from closeout.model.changes import Changes
from closeout.model.dossier import Dossier
from closeout.model.errors import UserError
from closeout.model.impact import Impact, Unused
from closeout.model.margin_history import MarginHistory
from closeout.model.problem import Problem
from closeout.model.question import AnalysisSpec
from closeout.model.reply import Reply
from closeout.model.sweep import Sweep
from closeout.run import opening
from closeout.run.changes import TREE, compared_states, open_state
from closeout.run.days import day_of, read_day
from closeout.run.explanation import Explanation, about, first_part, rest_part
from closeout.run.inspection import Checked, check_project
from closeout.run.margin_history import margin_history
from closeout.run.options import Options
from closeout.run.pipeline import Outcome, assessing
from closeout.run.read_options import read_settings
from closeout.run.runs import dossier_of
from closeout.run.studies import Wanted
from closeout.run.sweep import swept
from closeout.run.values import Absent, Cases, Found, Value, Values
from closeout.snapshot import Snapshot, store_folder
from closeout.store.database import Store, open_store


class Verified(Dossier):
    """A dossier that a notebook shows as a table, a line a requirement."""

    __slots__ = ()

    def _repr_html_(self) -> str:
        from closeout.render.fragments import dossier_table

        return dossier_table(self)


class Swept(Sweep):
    """A sweep that a notebook shows as a figure."""

    __slots__ = ()

    def _repr_svg_(self) -> str:
        from closeout.render.sweep_picture import sweep_svg

        return sweep_svg(self)


class Impacts(Impact):
    """What rests on what, which a notebook shows as a figure."""

    __slots__ = ()

    def _repr_svg_(self) -> str:
        from closeout.render.impact_picture import impact_svg

        return impact_svg(self)


@dataclass(frozen=True, slots=True)
class Project:
    """The project that a folder belongs to.

    Nothing stays open between two calls: each looks at the files as they are then, and runs only
    what is not known yet. ``jobs`` is how many analyses run at once. Analyses are code and are run:
    use it on projects that you trust. A process that one of them starts in a session of its own is
    not ended here, since it cannot be distinguished from those of the program.
    """

    place: str | os.PathLike[str] = "."
    jobs: int = (os.cpu_count() or 1) + 1

    def verify(
        self,
        review: str | None = None,
        *,
        set: Mapping[str, str] | None = None,
        only: tuple[str, ...] | str | None = None,
        at: str | None = None,
        today: str | None = None,
        whole: bool = True,
    ) -> Dossier:
        """Return every verdict, as ``closeout verify`` with the options of the same names.

        Args:
            set: a what-if, from parameters to amounts as they are written: ``{"hold": "45 d"}``
            at: a commit to judge in place of the working tree
            whole: follow each proof to its end; without it a proof may end where the verdict is
                certain, and its margin is then "at least"

        Raises:
            UserError: there is no project, or something that is named does not exist in it.
        """
        options = self._options(review, set, only, today)
        with self._opened(at) as (snapshot, store):
            dossier = dossier_of(snapshot, store, options, whole=whole)
        return Verified(*(getattr(dossier, one.name) for one in fields(Dossier)))

    def explain(
        self,
        identifier: str,
        *,
        review: str | None = None,
        set: Mapping[str, str] | None = None,
        at: str | None = None,
        today: str | None = None,
        width: int = 100,
    ) -> Explanation:
        """Return what stands behind an identifier, as ``closeout explain`` prints it.

        Args:
            width: columns of the text

        Raises:
            UserError: nothing has this identifier, or an option names what the project has not.
        """
        options = self._options(review, set, (), today)
        wanted = Wanted({identifier})
        of = partial(about, identifier)
        with (
            self._opened(at) as (snapshot, store),
            assessing(snapshot, store, options, about=of, verdicts_alone=not set) as found,
        ):
            if isinstance(found, Outcome):
                raise UserError.all_of(_messages(found.dossier.problems))
            first = first_part(found, found.outcome(), identifier, colour=False, width=width)
            rest, outcome = rest_part(found, first, wanted)
        return Explanation(identifier, first.text + rest, outcome.dossier, outcome.studies)

    def sweep(
        self,
        values: Mapping[str, str],
        *,
        points: int | tuple[int, int] | None = None,
        review: str | None = None,
        set: Mapping[str, str] | None = None,
        only: tuple[str, ...] | str | None = None,
        at: str | None = None,
        today: str | None = None,
        whole: bool = False,
    ) -> Sweep:
        """Return the margins of every requirement that rests on a parameter, over its values.

        Or over the values of two, as ``closeout sweep`` with the options of the same names. A
        notebook shows it as a figure. ``windows()`` of what comes back says where all hold among
        the points that were tried; between these nothing is claimed.

        Args:
            values: from one or two parameters to both ends as they are written:
                ``{"hold_duration": "20 d..45 d"}``
            points: how many values are tried, both ends among them; of two parameters also a pair
            set: a what-if that holds at every point, as of :meth:`verify`
            at: a commit to judge in place of the working tree
            whole: search the worst case at each point also where it cannot be proved; without it
                such a verification is judged at nominal values

        Raises:
            UserError: there is no project, something that is named does not exist in it, or no
                requirement rests on a parameter.
        """
        given = (points,) if isinstance(points, int) else points
        options = replace(
            self._options(review, set, only, today),
            sweep=_ends(values),
            points=None if given is None else ",".join(map(str, given)),
        )
        with self._opened(at) as (snapshot, store):
            found = swept(snapshot, store, options, whole=whole)
        if isinstance(found, Outcome):
            raise UserError.all_of(_messages(found.dossier.problems))
        return Swept(*(getattr(found, one.name) for one in fields(Sweep)))

    def history(
        self, identifier: str, *, since: str | None = None, review: str | None = None
    ) -> MarginHistory:
        """Return how a requirement stood, as ``closeout explain --history``.

        Args:
            since: a day (``"2026-03-01"``) or a commit with which it begins

        Raises:
            UserError: there is no such requirement or commit, or the project is not under git.
        """
        with self._opened(None) as (snapshot, store):
            options = self._options(review, None, None, None)
            return margin_history(snapshot, store, options, identifier, since)

    def compare(
        self,
        before: str,
        after: str = TREE,
        *,
        review: str | None = None,
        today: str | None = None,
        exact: bool = False,
    ) -> Changes:
        """Return what changed from one state to another, as ``closeout compare``.

        Args:
            before: a commit, or ``"index"``
            after: likewise, or ``"tree"``
            exact: split each change of a margin exactly, however long that takes

        Raises:
            UserError: there is no project or no such state, or one of them cannot be read.
        """
        options = self._options(review, None, None, today)
        root = opening.root_of(Path(self.place))
        with (
            open_store(store_folder(root)) as store,
            open_state(root, before) as was,
            open_state(root, after) as now,
        ):
            found = compared_states(was, now, store, options, exact=exact)
        if isinstance(found, Outcome):
            raise UserError.all_of(_messages(found.dossier.problems))
        return found

    def impact(
        self,
        *names: str,
        review: str | None = None,
        at: str | None = None,
        today: str | None = None,
    ) -> Impact:
        """Return what rests on items or files, and what these rest on, as ``closeout impact``.

        A notebook shows it as a figure.

        Args:
            names: identifiers, ``analysis.quantity``, paths from the project's root, or one range
                of commits ``A..B``
            at: a commit to judge in place of the working tree

        Raises:
            UserError: there is no project, or something that is named does not exist in it.
        """
        from closeout.run.impact import impact_of, opened_for  # imports networkx

        options = self._options(review, None, None, today)
        root = opening.root_of(Path(self.place))
        if not names:
            raise UserError("nothing is named", "name an item or a file of the project")
        with opened_for(root, names, at) as (snapshot, store, since):
            found = impact_of(names, snapshot, store, options, since=since)
        if isinstance(found, Outcome):
            raise UserError.all_of(_messages(found.dossier.problems))
        return Impacts(*(getattr(found, one.name) for one in fields(Impact)))

    def unused(self, *, at: str | None = None, today: str | None = None) -> Unused:
        """Return what no requirement rests on, as ``closeout impact --unused``.

        Args:
            at: a commit to judge in place of the working tree

        Raises:
            UserError: there is no project, or no such commit.
        """
        from closeout.run.impact import unused_of  # imports networkx

        options = self._options(None, None, None, today)
        with self._opened(at) as (snapshot, store):
            found = unused_of(snapshot, store, options)
        if isinstance(found, Outcome):
            raise UserError.all_of(_messages(found.dossier.problems))
        return found

    def evaluate(self, analysis: str, /, **inputs: str) -> Values:
        """Return what an analysis gives at the project's values, or at other ones.

        Conditions too are at their declared values where they are not given here. Nothing is
        judged: spreads are left out.

        Args:
            analysis: its name, as requirements have it
            inputs: its arguments, and those of analyses below it, with amounts as they are written:
                ``cell_temperature="5 degC"``

        Raises:
            UserError: there is no such analysis or argument, an amount cannot be read in the
                argument's unit, or the analysis fails there.
        """
        with (
            self._opened(None) as (snapshot, store),
            Evaluator(snapshot, store, self.jobs, alone=False) as evaluator,
        ):
            checked = _checked(snapshot, store, evaluator, Options(jobs=self.jobs, alone=False))
            index, units = checked.index, checked.units
            spec = _spec(analysis, index)
            taken = reach_of(spec, index).parameters
            wrong = [*_no_texts(inputs), *_not_taken(spec, taken, inputs)]
            texts = [t for t in _settings(inputs) if t.partition("=")[0] in taken]
            settings = read_settings(texts, index, units, wrong, "")
            if wrong:
                raise UserError.all_of(wrong)
            asked = ask(at_declared(spec, index), index, units, dict(settings))
            if asked.question is None:
                reason = asked.fault or asked.pending
                raise UserError(f"{analysis} cannot be run: {reason}", "closeout lint")
            specs = {one.name: one for one in index.specs}
            reply = evaluator.answer([asked.question], specs)[asked.question]
        return _values(spec, asked, reply)

    def _options(
        self,
        review: str | None,
        set: Mapping[str, str] | None,
        only: tuple[str, ...] | str | None,
        today: str | None,
    ) -> Options:
        if set is not None and not isinstance(set, Mapping):
            cure = 'write set={"cell_temperature": "5 degC"}'
            raise UserError(f"set={set!r} maps no parameters to amounts", cure)
        if wrong := _no_texts(set or {}):
            raise UserError.all_of(wrong)
        day = None if today is None else read_day(today)
        return Options(review, _settings(set or {}), _texts(only), self.jobs, day, alone=False)

    @contextmanager
    def _opened(self, revision: str | None) -> Iterator[tuple[Snapshot, Store]]:
        root = opening.root_of(Path(self.place))
        with opening.opened(root, revision) as (snapshot, store):
            yield snapshot, store
            for note in store.notes:
                warnings.warn(note, stacklevel=4)


def _no_texts(amounts: Mapping[str, object]) -> list[tuple[str, str]]:
    """Return the mistake of each amount that is no text: a bare number has no unit."""
    return [
        (f"{name}={amount!r}: an amount is a text", f'write it with its unit, as {name}="5 degC"')
        for name, amount in amounts.items()
        if not isinstance(amount, str)
    ]


def _ends(values: Mapping[str, str]) -> tuple[str, ...]:
    """Return the values of a sweep as the command line takes them.

    Raises:
        UserError: there are none, or some are no texts.
    """
    cure = 'write {"hold_duration": "20 d..45 d"}'
    if not isinstance(values, Mapping):
        raise UserError(f"{values!r} maps no parameters to their ends", cure)
    if wrong := _no_texts(values):
        raise UserError.all_of(wrong)
    if not values:
        raise UserError("no parameter to sweep", cure)
    return _settings(values)


def _settings(amounts: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(f"{name}={text}" for name, text in amounts.items() if isinstance(text, str))


def _texts(texts: tuple[str, ...] | str | None) -> tuple[str, ...]:
    return (texts,) if isinstance(texts, str) else tuple(texts or ())


def _checked(snapshot: Snapshot, store: Store, evaluator: Evaluator, options: Options) -> Checked:
    """Return the checked project.

    Raises:
        UserError: it cannot be read at all.
    """
    checked = check_project(snapshot, store, evaluator, options, day_of(snapshot, options))
    if isinstance(checked, tuple):
        problems, _ = checked
        raise UserError.all_of(_messages(problems))
    return checked


def _messages(problems: Iterable[Problem]) -> Iterator[tuple[str, str]]:
    yield from ((f"{one.path}:{one.line}: {one.message}", one.cure) for one in problems)


def _spec(name: str, index: Index) -> AnalysisSpec:
    if name in index.analyses:
        return index.analyses[name]
    if name in index.shared:
        several = ", ".join(index.shared[name])
        raise UserError(f"{name} is the name of several analyses", f"write one of {several}")
    near = nearest(name, index.analyses)
    cure = f"did you mean {near}?" if near else f"there are {', '.join(index.analyses) or 'none'}"
    raise UserError(f"there is no analysis {name} that can be used", cure)


def _not_taken(
    spec: AnalysisSpec, taken: Collection[str], inputs: Iterable[str]
) -> Iterator[tuple[str, str]]:
    """Yield the mistake of each input that neither an analysis nor one below it takes."""
    own = ", ".join(argument.name for argument in spec.arguments)
    for name in inputs:
        if name not in taken:
            near = nearest(name, taken)
            cure = f"did you mean {near}?" if near else f"it takes {own}"
            yield f"{spec.name} does not take {name}", cure


def _values(spec: AnalysisSpec, asked: Request, reply: Reply) -> Values:
    answer = reply.result
    if not isinstance(answer, Answer):
        raise UserError(f"{spec.name}: {answer.message}", answer.traceback)
    found: dict[str, Found | Cases] = {}
    for field in spec.fields:
        cases: dict[str | None, Found] = {
            case: Absent(extent.absent or "")
            if extent.value is None
            else Value(extent.value, field.unit)
            for case, extent in answer.of(field.name)
        }
        whole = cases.pop(None, None)
        found[field.name] = {c or "": one for c, one in cases.items()} if whole is None else whole
    return Values(spec.name, found, asked.inputs)
