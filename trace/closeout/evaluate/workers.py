"""The tool's side of the workers: one loop that starts, follows and ends them in time."""

from __future__ import annotations

import contextlib
import os
import selectors
import signal
import socket
import subprocess
import time
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from closeout.evaluate import wire
from closeout.evaluate.allowance import CLOCK, PROCESSOR, Allowance
from closeout.evaluate.codec import decoded, encoded
from closeout.evaluate.environment import start_host
from closeout.evaluate.orphans import Orphans
from closeout.model.question import Failure, Request, functions_of

# Seconds of processor time.
IMPORT_LIMIT = 300.0
# Seconds in which a process that was killed must have been heard of.
STUCK = 30.0
# How often a task is begun where its module's process is ended by another.
MOST_TRIES = 3
# Evaluations that are asked of one process, where all are of pure analyses.
MOST_TOGETHER = 16
# Imported modules that stay for a later question.
MOST_MODULES = 64

Payload = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Task:
    """A module to be imported and described, or (with a request) an evaluation in it.

    ``modules`` are all that an evaluation takes, beginning with that of the analysis asked.
    """

    modules: tuple[str, ...]
    request: Request | None = None

    @property
    def module(self) -> str:
        """The name under which the process that holds the modules is known."""
        return "+".join(self.modules)


@dataclass(slots=True, eq=False)
class _Module:
    """A module's process: ``description`` says what it holds, None while it is imported.

    ``killed`` is when it was, since it was late.
    """

    name: str
    channel: socket.socket
    allowance: Allowance
    reader: wire.Reader = field(default_factory=wire.Reader)
    description: Payload | None = None
    pure: frozenset[str] = frozenset()
    pid: int | None = None
    killed: float | None = None
    running: dict[int, _Running] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class _Running:
    """A process that evaluates: its tasks by their numbers, the first payloads, its pipe.

    The allowance is that of the first task without a payload. Payloads count once the process has
    ended and its module lives.
    """

    tasks: list[tuple[int, Task]]
    pipe: int
    allowance: Allowance
    payloads: list[Payload] = field(default_factory=list)
    reader: wire.Reader = field(default_factory=wire.Reader)
    pid: int | None = None
    killed: float | None = None
    spent: float = 0.0


class WorkerPool:
    """The host and its modules over one folder; ``jobs`` processes work at once.

    ``spent`` is the processor time in s of all evaluations that told something, without the imports
    before them.
    """

    def __init__(self, root: Path, jobs: int, *, alone: bool = True) -> None:
        self._root = str(root)
        self._jobs = jobs
        self.spent = 0.0
        self._selector = selectors.DefaultSelector()
        self._modules: dict[str, _Module] = {}
        self._orphans = Orphans() if alone else None
        self._host = start_host(self._root)
        # Of the present run: tasks to start, tasks that wait for their module, payloads.
        self._left: deque[tuple[int, Task]] = deque()
        self._waiting: dict[str, list[tuple[int, Task]]] = {}
        self._results: dict[int, Payload] = {}
        # How often each task was lost with its module, and the import of each module was begun.
        self._tries: Counter[int] = Counter()
        self._opened: Counter[str] = Counter()
        # Modules whose process was ended from inside: they run one evaluation at a time.
        self._careful: set[str] = set()
        # Tasks that are asked alone, since one of those together with them ended their process.
        self._alone: set[int] = set()
        # Tasks that the load of the machine may have ended: asked again when nothing else runs.
        self._last: deque[tuple[int, Task]] = deque()
        self._again: set[int] = set()

    def run(self, tasks: list[Task]) -> Iterator[tuple[int, Payload]]:
        """Give each task's number and its payload, as soon as that is known.

        A payload is ``specs`` or ``answer``, with ``read``; or ``failure``; or, where the
        process ended without a word, ``ended`` with its status and what it printed last; or
        ``timed_out`` with what was used up; or ``lost``.
        """
        self._left, self._waiting, self._results = deque(enumerate(tasks)), {}, {}
        for of_run in (self._tries, self._alone, self._opened, self._last, self._again):
            of_run.clear()
        given = 0
        while given < len(tasks):
            self._start()
            if not self._results:
                self._follow()
            given += len(self._results)
            while self._results:
                yield self._results.popitem()

    def close(self) -> None:
        """End every process."""
        for module in list(self._modules.values()):
            self._drop(module)
        self._selector.close()
        self._end_host()
        if self._orphans is not None:
            self._orphans.end()

    def _end_host(self) -> None:
        process, channel = self._host
        channel.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(STUCK)
        process.kill()
        process.wait()

    # starting

    def _busy(self) -> int:
        return sum(len(m.running) + (m.description is None) for m in self._modules.values())

    def _start(self) -> None:
        """Start tasks while there is room; one whose module is not ready waits for it."""
        room = self._jobs - self._busy()
        if self._last and room == self._jobs and not (self._left or self._waiting):
            self._start_again(*self._last.popleft())
        while self._left and room > 0:
            number, task = self._left.popleft()
            module = self._modules.get(task.module)
            if module is None:
                module = self._open(task.module)
                if module is None:
                    self._end(number, task, {"lost": "the host process has ended"})
                    continue
                room -= 1
            one_at_a_time = task.module in self._careful and module.running
            if module.description is None or one_at_a_time:
                self._waiting.setdefault(task.module, []).append((number, task))
            elif task.request is None or "failure" in module.description:
                self._end(number, task, dict(module.description))
            else:
                self._evaluate(module, [(number, task), *self._following(module, number, task)])
                room -= 1

    def _start_again(self, number: int, task: Task) -> None:
        """Let a task be the next and the only one, in a module that is imported anew."""
        self._again.add(number)
        self._left.append((number, task))
        if task.module in self._modules:
            self._drop(self._modules[task.module])
        self._opened.pop(task.module, None)

    def _end(self, number: int, task: Task, payload: Payload) -> None:
        """Take what became of a task; an end that load may have brought about is no result yet."""
        if number not in self._again and _may_be_load(payload):
            self._last.append((number, task))
        else:
            self._results[number] = payload

    def _open(self, name: str) -> _Module | None:
        if len(self._modules) >= MOST_MODULES:
            # Tasks come sorted by module: the one that was opened first is needed last.
            idle = (
                m for m in self._modules.values() if not m.running and m.description is not None
            )
            for module in list(idle)[:1]:
                self._drop(module)
        mine = self._ask_host(name) or self._ask_new_host(name)
        if mine is None:
            return None
        self._opened[name] += 1
        module = _Module(name, mine, Allowance(IMPORT_LIMIT))
        self._modules[name] = module
        self._selector.register(mine, selectors.EVENT_READ, module)
        return module

    def _ask_host(self, name: str) -> socket.socket | None:
        """Return a channel to a module's process, or None where there is no host."""
        mine, theirs = socket.socketpair()
        try:
            with theirs:
                message = {
                    "root": self._root,
                    "modules": name.split("+"),
                    "time_limit": IMPORT_LIMIT,
                }
                wire.send(self._host[1], message, (theirs.fileno(),))
        except OSError:
            mine.close()
            return None
        return mine

    def _ask_new_host(self, name: str) -> socket.socket | None:
        """Take another host for one that was ended by a module; the other modules live on."""
        self._host[0].kill()
        self._end_host()
        self._host = start_host(self._root)
        return self._ask_host(name)

    def _following(self, module: _Module, number: int, task: Task) -> Iterator[tuple[int, Task]]:
        """Take the next tasks that can follow one in its process."""
        for _ in range(MOST_TOGETHER - 1):
            if not self._left or not self._shares(module, number, task):
                return
            number, task = self._left[0]
            if not self._shares(module, number, task):
                return
            yield self._left.popleft()

    def _shares(self, module: _Module, number: int, task: Task) -> bool:
        """Return whether a task may run in a process together with more of a module."""
        return (
            task.module == module.name
            and task.request is not None
            and module.pure.issuperset(functions_of(task.request))
            and not (number in self._alone or number in self._again)
            and module.name not in self._careful
        )

    def _evaluate(self, module: _Module, tasks: list[tuple[int, Task]]) -> None:
        requests = [task.request for _, task in tasks if task.request is not None]
        read, write = os.pipe2(os.O_CLOEXEC)
        os.set_blocking(read, False)
        allowance = Allowance(requests[0].time_limit)
        running = _Running(tasks, read, allowance)
        number = tasks[0][0]
        module.running[number] = running
        self._selector.register(read, selectors.EVENT_READ, running)
        try:
            rows = [encoded(request) for request in requests]
            wire.send(module.channel, {"number": number, "requests": rows}, (write,))
        except OSError:
            self._lost(module)
        finally:
            os.close(write)

    # following

    def _follow(self) -> None:
        """Wait for the next thing that happens, or until somebody is to be looked at."""
        looks = [
            one.allowance.look if one.killed is None else one.killed + STUCK
            for module in self._modules.values()
            for one in _timed(module)
        ]
        pause = max(0.0, min(looks) - time.monotonic()) if looks else None
        for key, _ in self._selector.select(pause):
            if isinstance(key.data, _Running):
                self._read_result(key.data)
            elif key.data in self._modules.values():
                self._read_words(key.data)
        self._end_late()

    def _read_result(self, running: _Running) -> None:
        if running.pipe < 0:
            return  # its end was reported before, in the same round
        try:
            data = os.read(running.pipe, 1 << 20)
        except BlockingIOError:
            return
        if data:
            running.reader.feed(data)
            self._take_results(running)
        else:
            self._selector.unregister(running.pipe)

    def _take_results(self, running: _Running) -> None:
        """Take each result that is whole by now; the next task begins with a new allowance."""
        while len(running.payloads) < len(running.tasks):
            payload = _taken(running.reader)
            if payload is None:
                return
            spent = payload.pop("spent")
            self.spent += spent - running.spent
            running.spent = spent
            if not running.allowance.allows(spent):
                # Whether it was seen in time is a matter of luck.
                payload = {"timed_out": PROCESSOR}
            running.payloads.append(payload)
            for _, task in running.tasks[len(running.payloads) :][:1]:
                if task.request is not None:
                    running.allowance = Allowance(task.request.time_limit, spent)

    def _read_words(self, module: _Module) -> None:
        try:
            data = module.channel.recv(1 << 20)
        except OSError:
            data = b""
        if not data:
            self._lost(module)
            return
        module.reader.feed(data)
        while (word := self._word(module)) is not None:
            if "started" in word:
                if word["started"] in module.running:
                    module.running[word["started"]].pid = word["pid"]
            elif "ended" in word:
                self._ended(module, word)
            elif "pid" in word:
                module.pid = word["pid"]
            else:
                module.pure = frozenset(word.pop("pure", ()))
                module.description = word
                self._put_back(module)

    def _word(self, module: _Module) -> Payload | None:
        try:
            word: Payload | None = module.reader.take()
        except ValueError:  # something else wrote to the channel
            self._lost(module)
            return None
        return word

    def _put_back(self, module: _Module) -> None:
        """Let what waited for a module be started."""
        self._left.extendleft(reversed(self._waiting.pop(module.name, [])))

    def _ended(self, module: _Module, word: Payload) -> None:
        """Take the results of a process that has ended; all it wrote is in the pipe by now.

        What it has no result for is asked again, but where that was asked of it alone.
        """
        running = module.running.pop(word["ended"])
        with contextlib.suppress(BlockingIOError):
            while data := os.read(running.pipe, 1 << 20):
                running.reader.feed(data)
        with contextlib.suppress(KeyError):
            self._selector.unregister(running.pipe)
        os.close(running.pipe)
        running.pipe = -1
        self._put_back(module)
        self._take_results(running)
        for (number, task), payload in zip(running.tasks, running.payloads, strict=False):
            if payload.get("read", ...) is None and module.description is not None:
                payload["read"] = module.description["read"]  # it read nothing more than its module
            self._end(number, task, payload)
        left, status = running.tasks[len(running.payloads) :], word["status"]
        if len(running.tasks) > 1:
            if left and status != 0:
                self._alone.add(left[0][0])
            self._left.extendleft(reversed(left))
        elif left and (late := running.allowance.late or (status == -signal.SIGXCPU and PROCESSOR)):
            self._end(*left[0], {"timed_out": late})
        elif left:
            self._end(*left[0], {"ended": status, "output": word["output"]})

    def _lost(self, module: _Module) -> None:
        """Tell whose fault it was that a module's process has ended or hangs; begin the rest anew.

        With several evaluations under way nobody knows which did it: they are done again one at a
        time, and then the last that ran did.
        """
        _kill(module.pid)
        if module.description is None:
            self._not_imported(module)
        running = list(module.running.values())
        for one in running:
            _kill(one.pid)
            found = len(running) == len(one.tasks) == 1 and one.pid is not None
            for number, task in one.tasks:
                self._tries[number] += 1
                if one.allowance.late and len(one.tasks) == 1:
                    self._end(number, task, {"timed_out": one.allowance.late})
                elif found or self._tries[number] >= MOST_TRIES:
                    self._end(number, task, {"lost": "it ended the process around it"})
                else:
                    self._waiting.setdefault(module.name, []).append((number, task))
        self._careful.add(module.name)
        self._drop(module)
        self._put_back(module)

    def _not_imported(self, module: _Module) -> None:
        """Tell what waited for a module that it could not be imported.

        One that never began is asked for again: another module may have ended the host.
        """
        late = module.allowance.late
        if module.pid is None and not late and self._opened[module.name] < MOST_TRIES:
            return
        payload: Payload = {"lost": "its process ended while its module was imported"}
        for number, task in self._waiting.pop(module.name, []):
            self._end(number, task, {"timed_out": late} if late else dict(payload))

    def _end_late(self) -> None:
        for module in list(self._modules.values()):
            waited = _timed(module)
            for one in waited:
                if one.killed is None and one.allowance.check(one.pid):
                    one.killed = time.monotonic()
                    _kill(one.pid)
            now = time.monotonic()
            if any(one.killed is not None and now >= one.killed + STUCK for one in waited):
                if module.pid is None:  # the host itself does not answer
                    self._host[0].kill()
                self._lost(module)

    def _drop(self, module: _Module) -> None:
        del self._modules[module.name]
        self._selector.unregister(module.channel)
        module.channel.close()
        for running in module.running.values():
            with contextlib.suppress(KeyError):
                self._selector.unregister(running.pipe)
            os.close(running.pipe)
            running.pipe = -1


def _timed(module: _Module) -> list[_Module] | list[_Running]:
    """Return whose time counts: the import of a module, then each process that evaluates."""
    return [module] if module.description is None else list(module.running.values())


def _may_be_load(payload: Payload) -> bool:
    """Return whether a task may have ended so since there was too little of the machine for it.

    By the clock, or ended by the system when memory or processes ran out; none of these is reported
    as an error before it was the same alone.
    """
    failure = payload.get("failure")
    return (
        payload.get("timed_out") == CLOCK
        or "lost" in payload
        or payload.get("ended") == -signal.SIGKILL
        or (failure is not None and decoded(Failure, failure).kind == "killed")
    )


def _taken(reader: wire.Reader) -> Payload | None:
    """Return the next result that is whole; something else may have written between them."""
    try:
        payload = reader.take()
    except ValueError:
        return None
    return payload if isinstance(payload, dict) and "spent" in payload else None


def _kill(pid: int | None) -> None:
    if pid is not None:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(pid, signal.SIGKILL)
