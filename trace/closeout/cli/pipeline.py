"""From a snapshot to a dossier: the steps of every command, in their one order.

load -> graph -> evaluate -> judge. Side effects (store, processes) are begun and ended here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from fnmatch import fnmatchcase

from closeout.cli.errors import UserError
from closeout.cli.options import Options
from closeout.evaluate.engine import Evaluator, Module, Progress
from closeout.evaluate.witness import Trace
from closeout.graph import Index, Plan, check, plan
from closeout.graph.checks import nearest
from closeout.judge import Run, judge
from closeout.load import Loaded, load, locate
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount, AmountError, read_amount
from closeout.model.dossier import Compliance, Dossier, Scale
from closeout.model.problem import Finding, Pointer, Problem, Severity, in_order
from closeout.model.records import Charter
from closeout.snapshot import Snapshot
from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of


@dataclass(frozen=True, slots=True)
class Checked:
    """A project that was read and checked, before any analysis runs."""

    loaded: Loaded
    index: Index
    plan: Plan
    problems: tuple[Problem, ...]
    units: Units
    settings: tuple[tuple[str, Amount], ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """A dossier, and what it rested on outside the project's own YAML and Python files.

    ``rested_on`` is None where something could not be kept, so that the run cannot be repeated
    from the store.
    """

    dossier: Dossier
    rested_on: Trace | None


def assess(
    snapshot: Snapshot, store: Store, options: Options, progress: Progress | None = None
) -> Outcome:
    """Return the dossier of a snapshot.

    Raises:
        UserError: an option names something that the project does not have.
    """
    with _evaluator(snapshot, store, options.jobs, progress) as evaluator:
        checked = _check(snapshot, store, evaluator, options)
        if isinstance(checked, tuple):
            problems, files = checked
            return Outcome(_unreadable(snapshot, problems, files), None)
        return _judge(snapshot, evaluator, checked, options)


def inspect(snapshot: Snapshot, store: Store, jobs: int = 1) -> tuple[tuple[Problem, ...], Scale]:
    """Return every problem that can be told without running an analysis, and how much was read."""
    with _evaluator(snapshot, store, jobs, None) as evaluator:
        checked = _check(snapshot, store, evaluator, Options())
    if isinstance(checked, tuple):
        problems, files = checked
        return problems, Scale(files, 0, 0, 0, 0, 0, 0)
    project = checked.index.project
    scale = Scale(
        files=checked.loaded.files,
        requirements=len(project.requirements),
        verifications=sum(1 for _ in project.verifications()),
        parameters=len(project.parameters),
        analyses=len(checked.index.specs),
        evaluated=0,
        from_store=0,
    )
    return checked.problems, scale


@contextmanager
def _evaluator(
    snapshot: Snapshot, store: Store, jobs: int, progress: Progress | None
) -> Iterator[Evaluator]:
    evaluator = Evaluator(snapshot, store, jobs, progress)
    try:
        yield evaluator
    finally:
        evaluator.close()


def _check(
    snapshot: Snapshot, store: Store, evaluator: Evaluator, options: Options
) -> Checked | tuple[tuple[Problem, ...], int]:
    """Return the checked project, or the problems and files of one that cannot be read at all."""
    # Modules are imported in processes of their own while the files are read in this one.
    with ThreadPoolExecutor(1) as executor:
        described = executor.submit(evaluator.modules)
        kept = _KeptFiles(store)
        loaded = load(snapshot, kept)
        kept.flush()
        modules = described.result()
    problems = [*snapshot.problems(), *loaded.problems]
    if loaded.project is None:
        return in_order(problems), loaded.files
    memo = _UnitMemo(store)
    units = Units(memo)
    index = Index.of(loaded.project, [spec for module in modules for spec in module.specs])
    settings = _settings(options.settings, index, units)
    _check_review(options.review, loaded.project.charter)
    planned = plan(index, units, dict(settings))
    findings = [*_module_findings(modules), *check(index, units), *planned.findings]
    memo.flush()
    placed = locate(snapshot, [f for f in findings if not f.where.path.endswith(".py")])
    problems += [*placed, *(_in_code(f) for f in findings if f.where.path.endswith(".py"))]
    return Checked(loaded, index, planned, in_order(problems), units, settings)


def _judge(snapshot: Snapshot, evaluator: Evaluator, checked: Checked, options: Options) -> Outcome:
    index = checked.index
    chosen = _chosen(options.only, index)
    questions = checked.plan.of(chosen).questions
    replies = evaluator.answer(questions, {spec.name: spec for spec in index.specs})
    dossier = judge(
        Run(
            index=index,
            plan=checked.plan.of(chosen),
            replies=replies,
            units=checked.units,
            snapshot=snapshot.identity,
            problems=checked.problems,
            files=checked.loaded.files,
            review=options.review or index.project.charter.next_review,
            settings=checked.settings,
            chosen=chosen,
        )
    )
    return Outcome(dossier, evaluator.rested_on if evaluator.complete else None)


def _unreadable(snapshot: Snapshot, problems: tuple[Problem, ...], files: int) -> Dossier:
    return Dossier(
        project="(unreadable project)",
        note=None,
        snapshot=snapshot.identity,
        review=None,
        reviews=(),
        requirements=(),
        problems=problems,
        analyses=(),
        evaluations=(),
        scale=Scale(files, 0, 0, 0, 0, 0, 0),
        exit_status=2,
        totals={code.value: 0 for code in Compliance} | {"closed": 0},
    )


def _settings(texts: Iterable[str], index: Index, units: Units) -> tuple[tuple[str, Amount], ...]:
    """Return the ``--set`` of a run as amounts; every mistake among them at once."""
    found: dict[str, Amount] = {}
    wrong: list[tuple[str, str]] = []
    for text in texts:
        name, equals, value = text.partition("=")
        name = name.strip()
        if not equals:
            wrong.append((f"--set {text}: no =", "write NAME=AMOUNT, as sleep_current=130uA"))
            continue
        parameter = index.parameters.get(name)
        if parameter is None:
            near = nearest(name, index.parameters)
            cure = f"did you mean {near}?" if near else "name a parameter of the project"
            wrong.append((f"--set {text}: there is no parameter {name}", cure))
            continue
        try:
            amount = read_amount(value)
            units.convert(amount, parameter.value.unit)
            found[name] = amount
        except (AmountError, UnitError) as error:
            wrong.append((f"--set {text}: {error.message}", error.cure))
    if wrong:
        raise UserError(*wrong)
    return tuple(found.items())


def _check_review(review: str | None, charter: Charter) -> None:
    if review is not None and review not in charter.reviews:
        listed = ", ".join(charter.reviews) or "none"
        raise UserError((f"--review {review}: there is no such review", f"there are {listed}"))


def _chosen(patterns: Iterable[str], index: Index) -> frozenset[str] | None:
    """Return the requirements that the patterns name, with all that is derived from them."""
    chosen: set[str] = set()
    wrong: list[tuple[str, str]] = []
    asked = list(patterns)
    for pattern in asked:
        found = [name for name in index.requirements if fnmatchcase(name, pattern)]
        if not found:
            near = nearest(pattern, index.requirements)
            cure = f"did you mean {near}?" if near else "name a requirement, or a pattern as PWR-*"
            wrong.append((f"--only {pattern}: no requirement has this identifier", cure))
        chosen.update(found)
    if wrong:
        raise UserError(*wrong)
    return frozenset(index.below(chosen)) if asked else None


def _module_findings(modules: Iterable[Module]) -> Iterator[Finding]:
    for module in modules:
        for function, failure in module.failures:
            path, line = failure.path or module.path, failure.line or 1
            if function is None:
                rule, text = "analysis-import", f"{module.name} cannot be imported"
                cure = failure.traceback or "see that the module can be imported"
            else:
                rule, text = "analysis-signature", f"{function} cannot be used as an analysis"
                cure = "give each argument and each field of the result a unit"
            message = f"{text}: {failure.message}"
            yield Finding(rule, Severity.ERROR, Pointer(path, (line,)), message, cure)


def _in_code(finding: Finding) -> Problem:
    """Return a finding in a Python file as a problem; its pointer holds the line."""
    line = next((step for step in finding.where.steps if isinstance(step, int)), 1)
    return Problem(
        finding.rule, finding.severity, finding.where.path, line, 1, finding.message, finding.cure
    )


class _KeptFiles:
    """What the loader keeps of files, in the store, under the engine that read them."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._new: list[tuple[str, str]] = []

    def get(self, key: str) -> str | None:
        return self._store.get("file", key_of(engine_fingerprint(), key))

    def put(self, key: str, text: str) -> None:
        self._new.append((key_of(engine_fingerprint(), key), text))

    def flush(self) -> None:
        self._store.put_many("file", self._new)
        self._new.clear()


class _UnitMemo(dict[str, str]):
    """What unit texts mean, read from the store at once and written back where it grew."""

    def __init__(self, store: Store) -> None:
        super().__init__()
        self._store = store
        self._key = key_of(engine_fingerprint(), "units")
        self._load()

    def _load(self) -> None:
        import json

        text = self._store.get("units", self._key)
        if text is not None:
            self.update(json.loads(text))
        self._size = len(self)

    def flush(self) -> None:
        import json

        if len(self) > self._size:
            self._store.put("units", self._key, json.dumps(dict(self)))
