"""Answers to questions: from the store where what they rested on still holds, else by running.

A result is stored under what was asked (engine, analysis, inputs, box), with the trace of what was
read meanwhile. It is true again whenever one of its traces holds: no time stamp is looked at.

A worst case is asked together with the limits, since a proof may end where the verdict is certain.
The answer is stored with them only where other limits might have had another: of most formulas the
ends are known before there is anything to stop, and a changed limit runs nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from inspect import cleandoc
from pathlib import PurePosixPath
from time import monotonic
from typing import Any, Self, TypeVar

from closeout.evaluate.allowance import CLOCK, far
from closeout.evaluate.asking import (
    NOTHING_BELOW,
    BelowOf,
    LimitsOf,
    answered,
    settled_alone,
)
from closeout.evaluate.codec import decoded, encoded
from closeout.evaluate.trace import Dependency, Files, Trace, TraceChecker, read_trace, trace_key
from closeout.evaluate.workers import IMPORT_LIMIT, Payload, Task, WorkerPool
from closeout.model.answer import Answer, Sought
from closeout.model.question import (
    WORST_CASE,
    AnalysisSpec,
    Described,
    Failure,
    Question,
    Request,
)
from closeout.model.reply import Reply
from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of

Progress = Callable[[int, int], None]

KEEP_AFTER = 1.0  # seconds
SOLVE_LIMIT = 10.0  # of processor time: SymPy may search for ever

T = TypeVar("T", bound=tuple[Any, ...])


@dataclass(frozen=True, slots=True)
class Module:
    """What a module of analyses says of itself; ``failures`` by function (None: the import)."""

    name: str
    path: str
    specs: tuple[AnalysisSpec, ...] = ()
    failures: tuple[tuple[str | None, Failure], ...] = ()


class Evaluator:
    """Describes modules and answers questions over one snapshot."""

    def __init__(
        self,
        files: Files,
        store: Store,
        jobs: int = 1,
        progress: Progress | None = None,
        *,
        alone: bool = True,
    ) -> None:
        """Make an evaluator over a snapshot.

        Args:
            alone: whether this process serves nothing else; then a process that an analysis
                started in a session of its own is ended too.
        """
        self._alone = alone
        self._files = files
        self._store = store
        self._jobs = max(1, jobs)
        self._progress = progress
        self._checker = TraceChecker(files)
        self._pool: WorkerPool | None = None
        self._used: set[Trace] = set()
        self._not_stored: set[Trace] = set()
        self._rows: list[tuple[str, str, str]] = []
        self._stored_at = 0.0
        self.complete = True

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        self.close()

    def close(self) -> None:
        """End every process."""
        if self._pool is not None:
            self._pool.close()

    @property
    def rested_on(self) -> Trace:
        """Everything that the answers so far rested on; whole where ``complete``."""
        return tuple(sorted(set().union(*self._used), key=lambda d: (d[0], d[1], d[2] or "")))

    @property
    def spent(self) -> float:
        """The processor time in s of all evaluations so far."""
        return 0.0 if self._pool is None else self._pool.spent

    @property
    def looked_at(self) -> frozenset[Dependency]:
        """All that was looked at, as far as it is known, for answers that cannot be stored too."""
        return frozenset().union(*self._used, *self._not_stored)

    # modules

    def modules(self) -> list[Module]:
        """Return every module below analyses/ that may hold an analysis, in the order of paths."""
        names = _importable(self._candidates())
        asked = {path: self._key("module", name) for path, name in names.items()}
        stored = self._find(asked.values())
        found: dict[str, Module] = {}
        missed: list[str] = []
        for path, key in asked.items():
            if key in stored:
                found[path] = _module_from(stored[key], names[path], path)
            else:
                missed.append(path)
        for number, payload in self._run([Task((names[path],)) for path in missed]):
            path = missed[number]
            content, _ = self._taken(asked[path], payload)
            found[path] = _module_from(content, names[path], path)
        return [found[path] for path in sorted(found)]

    def _candidates(self) -> list[str]:
        """Return the Python files that speak of an analysis; the rest are helpers."""
        paths = [p for p in self._files.files() if p.startswith("analyses/") and p.endswith(".py")]
        found = []
        for path in paths:
            try:
                if b"analysis" in self._files.read(path):
                    found.append(path)
            except OSError:
                continue  # the snapshot has reported it as a problem
        return found

    # questions

    def answer(
        self,
        questions: Iterable[Question],
        specs: Mapping[str, AnalysisSpec],
        limits: LimitsOf = lambda _: {},
        *,
        whole: bool = True,
        below: BelowOf = NOTHING_BELOW,
        beside: Iterable[Question] = (),
    ) -> dict[Question, Reply]:
        """Return a reply to each question; ``specs`` by the analysis' name.

        ``limits`` gives those of all verdicts that the answers to some questions serve; unless
        ``whole`` extents are wanted, a proof may end once they are met. ``below`` is what is asked
        of the analyses below each question, and ``beside`` are questions whose whole ends are
        wanted too.
        """
        return answered(self._answers, questions, specs, limits, below, whole=whole, beside=beside)

    def _answers(
        self,
        questions: Iterable[Question],
        specs: Mapping[str, AnalysisSpec],
        limits: LimitsOf,
        whole: bool,
    ) -> dict[Question, Reply]:
        replies = self._replies(questions, specs, limits, whole)
        return {
            question: Reply(_result(Answer, content), from_store, not_stored, _read(content))
            for question, (content, from_store, not_stored) in replies.items()
        }

    def study(
        self,
        kind: type[T],
        questions: Iterable[Question],
        specs: Mapping[str, AnalysisSpec],
        below: BelowOf = NOTHING_BELOW,
    ) -> dict[Question, T | Failure]:
        """Return the answers to questions about more than extents, all of one class.

        :class:`closeout.model.study.StudyFound` of a study,
        :class:`closeout.model.solved.SolveFound` of a formula solved for an input, and
        :class:`closeout.model.attachment.Made` of what is attached to an analysis. ``below`` as in
        :meth:`answer`.
        """
        asked = settled_alone(self._answers, questions, specs, below)
        replies = self._replies(asked.values(), specs, lambda _: {}, True)
        return {question: _result(kind, replies[one][0]) for question, one in asked.items()}

    def _replies(
        self,
        questions: Iterable[Question],
        specs: Mapping[str, AnalysisSpec],
        limits: LimitsOf,
        whole: bool,
    ) -> dict[Question, tuple[Payload, bool, tuple[str, ...]]]:
        """Return the payload of each question, if from the store, and why it cannot be stored."""
        asked = {
            question: self._key(
                "answer", specs[question.analysis].module, specs[question.analysis].function,
                question.kind, question.inputs, question.box, question.detail,
                question.ends, question.evaluations, question.chain,
            )
            for question in questions
        }  # fmt: skip
        stored = self._find(asked.values())
        limits_by, of_limits = _with_limits(asked, stored, limits, whole)
        stored |= self._find(of_limits.values())
        replies: dict[Question, tuple[Payload, bool, tuple[str, ...]]] = {}
        missed: list[Question] = []
        for question, key in asked.items():
            found = stored.get(key) or stored.get(of_limits.get(question, ""))
            if found is not None:
                replies[question] = (found, True, ())
            else:
                missed.append(question)
        missed.sort(key=lambda question: _modules(question, specs))
        tasks = [
            Task(_modules(q, specs), _request(q, specs, limits_by.get(q), whole)) for q in missed
        ]
        for number, payload in self._run(tasks):
            question = missed[number]
            # How far a proof goes may decide whether it comes to where the analysis fails.
            result = _result(Answer, payload) if question.kind == WORST_CASE else None
            depends = result.of_limits if isinstance(result, Answer) else question.box
            key = (of_limits if depends else asked).get(question, asked[question])
            content, not_stored = self._taken(key, payload)
            replies[question] = (content, False, not_stored)
        return {question: replies[question] for question in asked}

    # what both share

    def _key(self, *asked: Any) -> str:
        return key_of(engine_fingerprint(answering=True), *asked)

    def _find(self, keys: Iterable[str]) -> dict[str, Payload]:
        """Return what is stored and still true, by what was asked."""
        found: dict[str, Payload] = {}
        for key, texts in self._store.traces(keys).items():
            for text in texts:
                content = json.loads(text)
                trace = read_trace(content["trace"])
                if self._checker.holds(trace):
                    found[key] = content
                    self._used.add(trace)
                    break
        return found

    def _taken(self, key: str, payload: Payload) -> tuple[Payload, tuple[str, ...]]:
        """Return a worker's payload, and why that is not stored; else see to it that it is."""
        read = payload.pop("read", None)
        content, not_stored = payload, _not_stored(payload, read)
        trace: Trace = ()
        if read is not None:
            trace, changed = self._checker.trace_of(read)
            if changed:
                text = f"{', '.join(changed[:3])} changed while it was read; run again"
                content = {"failure": encoded(Failure("changed", text, ""))}
                not_stored = (text,)
        if not_stored:
            self.complete = False
            self._not_stored.add(trace)
            return content, not_stored
        self._used.add(trace)
        stored = {**payload, "trace": trace}
        text = json.dumps(stored, separators=(",", ":"))
        self._rows.append((key, trace_key(trace), text))
        return stored, ()

    def _run(self, tasks: list[Task]) -> Iterator[tuple[int, Payload]]:
        """Give each task's number and the payload of its worker, as soon as that is known.

        What is taken of it meanwhile is stored now and then, so that a run that is ended before it
        is over was not in vain.
        """
        if not tasks:
            return
        if self._pool is None:
            self._pool = WorkerPool(self._files.root, self._jobs, alone=self._alone)
        self._report(0, len(tasks))
        try:
            for done, (number, payload) in enumerate(self._pool.run(tasks), 1):
                request = tasks[number].request
                yield (
                    number,
                    _failed(payload, IMPORT_LIMIT if request is None else request.time_limit),
                )
                self._report(done, len(tasks))
                self._keep(KEEP_AFTER)
        finally:
            self._keep(0.0)

    def _keep(self, after: float) -> None:
        now = monotonic()
        if now - self._stored_at >= after:
            self._store.keep_traces(self._rows)
            self._rows.clear()
            self._stored_at = monotonic()

    def _report(self, done: int, total: int) -> None:
        if self._progress is not None:
            self._progress(done, total)


def _with_limits(
    asked: Mapping[Question, str], stored: Container[str], limits: LimitsOf, whole: bool
) -> tuple[Mapping[Question, tuple[Sought, ...]], dict[Question, str]]:
    """Return limits and keys of what is not stored whatever the limits are."""
    missing = {question for question, key in asked.items() if key not in stored}
    limits_by = limits(missing) if missing else {}
    keys = {
        question: key_of(asked[question], "limits", limits_by.get(question), whole)
        for question in missing
        if question.kind == WORST_CASE
    }
    return limits_by, keys


def _not_stored(payload: Payload, read: Payload | None) -> tuple[str, ...]:
    """Return why a payload may be another the next time, although nothing changes."""
    kind = decoded(Failure, payload["failure"]).kind if "failure" in payload else None
    if kind in ("killed", "timed out"):
        return (f"it was {kind}" if kind == "killed" else f"it {kind}",)
    if read is None:
        return ("it did not report what it read",)
    return tuple(read["not_stored"])


def _failed(payload: Payload, limit: float) -> Payload:
    """Return a worker's payload, ends without a word turned into failures."""
    if "timed_out" in payload:
        text = f"it ran longer than {limit:g} s of processor time and was ended"
        if payload["timed_out"] == CLOCK:
            text = (
                f"it did not end within {far(limit):g} s by the clock, neither in parallel nor"
                f" alone, and used less than its {limit:g} s of processor time:"
                " it waits for something"
            )
        return {"failure": encoded(Failure("timed out", text, ""))}
    if "lost" in payload:
        return {"failure": encoded(Failure("killed", payload["lost"], ""))}
    if "ended" in payload:
        return {"failure": encoded(_ended(payload["ended"], payload["output"]))}
    return payload


def _ended(code: int, output: str) -> Failure:
    tail = f"; it printed last:\n{output.strip()}" if output.strip() else ""
    if code < 0:
        import signal

        name = signal.Signals(-code).name if -code in signal.valid_signals() else f"signal {-code}"
        return Failure("killed", f"its process was ended by {name}{tail}", "")
    return Failure("exited", f"its process ended with status {code} and no result{tail}", "")


def _importable(paths: Iterable[str]) -> dict[str, str]:
    """Return the names of modules by path; of a module and a package of one name, the package."""
    found: dict[str, str] = {}
    for path in paths:
        if name := _module_name(path):
            found[name] = path if path.endswith("/__init__.py") else found.get(name, path)
    return {path: name for name, path in found.items()}


def _module_name(path: str) -> str | None:
    parts = PurePosixPath(path).with_suffix("").parts
    if parts[-1] == "__init__":
        parts = parts[:-1]
    return ".".join(parts) if all(part.isidentifier() for part in parts) else None


def _modules(question: Question, specs: Mapping[str, AnalysisSpec]) -> tuple[str, ...]:
    """Return the modules that a question takes, that of its analysis first."""
    own = specs[question.analysis].module
    members = () if question.chain is None else question.chain.members
    return (own, *sorted({one.module for one in members} - {own}))


def _request(
    question: Question,
    specs: Mapping[str, AnalysisSpec],
    limits: tuple[Sought, ...] | None,
    whole: bool,
) -> Request:
    spec = specs[question.analysis]
    function = f"{spec.module}.{spec.function}"
    return Request(function, question, limits, whole, time_limit(question, specs))


def time_limit(question: Question, specs: Mapping[str, AnalysisSpec]) -> float:
    """Return the processor time in s that the answer to a question may take: of all its chain."""
    members = () if question.chain is None else question.chain.members
    names = (question.analysis, *(one.analysis for one in members))
    limit = sum(specs[name].time_limit for name in names)
    return min(limit, SOLVE_LIMIT) if question.kind == "solve" else limit


def _module_from(content: Payload, name: str, path: str) -> Module:
    if "failure" in content:
        return Module(name, path, failures=((None, decoded(Failure, content["failure"])),))
    described = [decoded(Described, row) for row in content["analyses"]]
    specs = tuple(_cleaned(one.spec) for one in described if one.spec is not None)
    failures = tuple((one.function, one.failure) for one in described if one.failure is not None)
    return Module(name, path, specs, failures)


def _cleaned(spec: AnalysisSpec) -> AnalysisSpec:
    """Return an analysis with its docstrings without the indentation of the code."""
    attached = tuple(one._replace(caption=cleandoc(one.caption)) for one in spec.attached)
    return spec._replace(doc=cleandoc(spec.doc), attached=attached)


def _read(content: Payload) -> frozenset[str] | None:
    """Return the project's files that a payload rests on."""
    if "trace" not in content:
        return None
    return frozenset(name for kind, name, _ in content["trace"] if kind == "file")


def _result(kind: type[T], content: Payload) -> T | Failure:
    """Return the answer of a worker, which is of that class, or why there is none."""
    if "failure" in content:
        return decoded(Failure, content["failure"])
    return decoded(kind, content["answer"])
