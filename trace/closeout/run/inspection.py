"""A project that is read and checked, before any analysis runs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from closeout.evaluate.engine import Evaluator, Module
from closeout.evaluate.trace import Trace, TraceChecker
from closeout.graph import Index, Plan, check, plan
from closeout.graph.links import limits_found, with_parameters
from closeout.graph.reports import data_files
from closeout.judge import Validity, failures
from closeout.judge.measured_inputs import measured_inputs
from closeout.load import Loaded, load, locate
from closeout.measure import Units
from closeout.model.as_of import as_of
from closeout.model.dossier import Scale
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Finding, Problem, Severity, in_order
from closeout.model.records import Project, RulePolicy
from closeout.rules import Context, apply, check_rules, policy_findings
from closeout.run.days import commit_day, day_of, own_day
from closeout.run.modules import module_findings, unusable
from closeout.run.named_tests import is_there, looked_at
from closeout.run.options import Options
from closeout.run.read_options import Asked, read_options
from closeout.run.wording_findings import wording_findings
from closeout.snapshot import Past, Snapshot, SnapshotError, past_of
from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of

if TYPE_CHECKING:  # loaded where git, studies or attachments come into it
    from closeout.model.history import History


class FileCache:
    """What the loader found in files, in the store, under the engine that read them."""

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


@dataclass(frozen=True, slots=True)
class Checked:
    """A project that was read and checked as of a day, before any analysis runs.

    ``off`` are the rules that its policy switches off; ``rested_on`` is what the checks looked at
    outside the project's own YAML and Python files, and ``lasting`` whether another day may not
    show more; ``altered`` are records whose data file is not the one that they speak of.
    """

    loaded: Loaded
    day: str
    index: Index
    plan: Plan
    problems: tuple[Problem, ...]
    units: Units
    asked: Asked
    off: tuple[RulePolicy, ...]
    rested_on: Trace
    lasting: bool
    altered: frozenset[str]


def check_project(
    snapshot: Snapshot, store: Store, evaluator: Evaluator, options: Options, day: str
) -> Checked | tuple[tuple[Problem, ...], int]:
    """Return the checked project, or the problems and files of one that cannot be read at all."""
    cache = FileCache(store)
    loaded, modules = _read(snapshot, cache, evaluator, options)
    problems = [*snapshot.problems(), *loaded.problems]
    if loaded.project is None:
        return in_order(problems), loaded.files
    units = Units()
    index = index_of(as_of(loaded.project, day), loaded, modules, snapshot, options)
    data = list(data_files(index, snapshot.read))
    altered = frozenset(record.id for record, one in data if one.severity is Severity.ERROR)
    review = options.review or index.project.charter.next_review
    validity = Validity(index, units, review, {}, altered, snapshot.identity.under_git)
    measured = measured_inputs(validity)
    index = with_parameters(index, measured.parameters, measured.waiting)
    asked = read_options(options, index, units)
    planned = plan(index, units, dict(asked.settings), review)
    findings = [
        *module_findings(modules),
        *check(index, units),
        *(finding for _, finding in data),
        *measured.findings,
        *planned.findings,
    ]
    past = past_of(snapshot)
    history = _history(past, snapshot, loaded, cache, own_day(snapshot, day))
    # None is a history that git could not be made to tell.
    cut_off = past is not None and (history is None or history.cut_off)
    context, looks = _context(snapshot, index, review, history, cut_off)
    chosen = None if asked.chosen is None else asked.chosen.names
    context = replace(context, commit=commit_day(snapshot, options), chosen=chosen)
    ruled = [
        *check_rules(index, units, context),
        *failures(index, units, replace(validity, index=index), history),
        *wording_findings(index, units, snapshot, cache),
    ]
    applied = apply([*findings, *ruled], index)
    findings = [*policy_findings(index, ruled), *applied.findings]
    problems += placed(snapshot, findings, cache)
    cache.flush()
    return Checked(
        loaded, day, index, planned, in_order(problems), units, asked, applied.off,
        looks, not cut_off, altered,
    )  # fmt: skip


def _read(
    snapshot: Snapshot, cache: FileCache, evaluator: Evaluator, options: Options
) -> tuple[Loaded, Sequence[Module]]:
    """Return what the files say, and the modules of analyses.

    Modules are imported in processes of their own while the files are read in this one.
    """
    with ThreadPoolExecutor(1) as executor:
        described = executor.submit(evaluator.modules if options.code else list[Module])
        loaded = load(snapshot, cache)
        cache.flush()
        return loaded, described.result()


def index_of(
    project: Project,
    loaded: Loaded,
    modules: Sequence[Module],
    snapshot: Snapshot,
    options: Options,
) -> Index:
    """Return the index of a project and of the analyses that can be used."""
    index = Index.of(
        project,
        [spec for module in modules for spec in module.specs],
        (*loaded.left_out, *unusable(modules, snapshot)),
        whole=loaded.whole and not snapshot.problems(),
        code=options.code,
    )
    return with_parameters(index, limits_found(index))


def _history(
    past: Past | None, snapshot: Snapshot, loaded: Loaded, cache: FileCache, day: str
) -> History | None:
    """Return what git knows of the project, None where it knows nothing or cannot be asked."""
    if past is None or loaded.project is None:
        return None
    from closeout.rules.history.past import history_of

    try:
        history = history_of(past, snapshot, loaded.project, loaded.left_out, cache, day)
    except SnapshotError:
        return None
    cache.flush()
    return history


def _context(
    snapshot: Snapshot, index: Index, review: str | None, history: History | None, cut_off: bool
) -> tuple[Context, Trace]:
    """Return the facts for the rules, and what was looked at for them beside the project's files.

    Of the test of an analysis only whether it is there is a fact, not what stands in it. The data
    of records are looked at beside the rules.
    """
    named = sorted({path for spec in index.specs for path in spec.validated_by})
    there = {path for path in named if is_there(path, snapshot)}
    checker = TraceChecker(snapshot)
    data = (("file", record.data) for record in index.records.values() if record.data)
    asked = dict.fromkeys((*(looked_at(path) for path in named), *data))
    rested_on = tuple((kind, path, checker.now(kind, path)) for kind, path in asked)
    return Context(review, frozenset(there), history, cut_off), rested_on


def placed(
    snapshot: Snapshot, findings: Iterable[Finding], cache: FileCache | None = None
) -> list[Problem]:
    """Return findings as problems at their places."""
    in_code = [finding for finding in findings if finding.where.path.endswith(".py")]
    in_yaml = [finding for finding in findings if not finding.where.path.endswith(".py")]
    return [*locate(snapshot, in_yaml, cache), *map(_in_code, in_code)]


def _in_code(finding: Finding) -> Problem:
    """Return a finding in a Python file as a problem; its pointer holds the line."""
    line = next((step for step in finding.where.steps if isinstance(step, int)), 1)
    return Problem(
        finding.rule, finding.severity, finding.where.path, line, 1, finding.message, finding.cure
    )


@dataclass(frozen=True, slots=True)
class Looked:
    """What can be found without running an analysis, how much was read, and which rules are off."""

    problems: tuple[Problem, ...]
    scale: Scale
    state: SnapshotIdentity
    off: tuple[RulePolicy, ...] = ()


def inspect(snapshot: Snapshot, store: Store, options: Options) -> Looked:
    """Return every problem that can be found without running an analysis."""
    with Evaluator(snapshot, store, options.jobs) as evaluator:
        checked = check_project(snapshot, store, evaluator, options, day_of(snapshot, options))
    if isinstance(checked, tuple):
        problems, files = checked
        day = snapshot.dated.day()
        scale = Scale(files, 0, 0, 0, 0, 0, 0)
        return Looked(problems, scale, replace(snapshot.identity, date=day))
    project = checked.index.project
    scale = Scale(
        files=checked.loaded.files,
        requirements=len(project.requirements),
        verifications=sum(1 for _ in project.verifications()),
        parameters=len(project.parameters) + len(project.linked),
        analyses=len(checked.index.specs),
        evaluated=0,
        from_store=0,
    )
    state = replace(snapshot.identity, date=checked.day)
    return Looked(checked.problems, scale, state, checked.off)
