"""The host process: forks one process for each module, which forks one for each evaluation.

A module is imported once; an evaluation runs in a process of its own, so that what it reads, what
it leaves behind and how it ends is its own affair. A shared worker would be faster and wrong: a
cache that one analysis fills hides from the next what that one reads. Only those that are shown to
touch nothing but their arguments (:mod:`closeout.evaluate.purity`) follow each other in one
process, for a moment.

Messages (:mod:`closeout.evaluate.wire`): tool -> host ``{module}`` with the module's channel; the
module tells ``{pid}``, then what it holds; tool -> module requests with a pipe for the results;
module -> tool ``{started}`` and ``{ended}`` of these; evaluation -> tool one result a request.

Little is imported here: see :mod:`closeout.evaluate.forking`.
"""

from __future__ import annotations

import importlib
import json
import os
import select
import signal
import socket
import sys
import time
from _thread import _count
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import cache
from typing import Any, NoReturn

from closeout import Analysis
from closeout.arithmetic import chain
from closeout.arithmetic.code import allowed
from closeout.arithmetic.code.allowed import NOTHING_SHOWN, Shown
from closeout.arithmetic.entry import answer
from closeout.arithmetic.interval import rounded
from closeout.arithmetic.proof.search import OtherCases
from closeout.arithmetic.types import Evaluate
from closeout.evaluate import describe, finder, forking, purity, wire
from closeout.evaluate.apart import Apart, Failed, with_each_apart
from closeout.evaluate.codec import decoded, encoded
from closeout.evaluate.path_owner import folders
from closeout.evaluate.process_limits import (
    GIGABYTE,
    MEMORY_LIMIT,
    limit_space,
    limit_time,
    spent_so_far,
)
from closeout.evaluate.recorder import Recorder
from closeout.model.question import Described, Failure, Request, functions_of

# As they are now: an analysis may put anything in their place.
_exit, _getpid = os._exit, os.getpid

OUTPUT_SHOWN = 2000
OUTPUT_RETAINED = 1024**2
TRACEBACK_SHOWN = 20_000
# Seconds of processor time after which an evaluation is not followed by another in its process.
TOGETHER = 0.02
# How long modules may take to end what they run, once the tool is gone.
GRACE = 1.0
# Frames of the tool's own code are no matter of the author.
_ENGINE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def main(fd: int) -> None:
    """Serve the tool on a channel until it closes, then see that every module ends."""
    channel = socket.socket(fileno=fd)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the tool's to handle
    folders()  # known in every process that is forked
    forking.load_unseen(rounded.load)
    forking.warm_up(_evaluate)
    forking.freeze()
    modules: set[int] = set()
    while True:
        message, fds = wire.receive(channel, fds=1)
        _reap(modules)
        if message is None:
            break
        pid = os.fork()
        if pid == 0:
            channel.close()
            _run_module(socket.socket(fileno=fds[0]), message)
        modules.add(pid)
        os.close(fds[0])
    _end_all(modules)


def _reap(pids: set[int]) -> None:
    while pids:
        pid, _ = os.waitpid(-1, os.WNOHANG)
        if pid == 0:
            return
        pids.discard(pid)


def _end_all(modules: set[int]) -> None:
    """Let modules end by themselves, since they end their evaluations first; then kill them."""
    until = time.monotonic() + GRACE
    while modules and time.monotonic() < until:
        _reap(modules)
        time.sleep(0.005 if modules else 0)
    for pid in modules:
        _end_group(pid)


def _run_module(channel: socket.socket, message: Any) -> NoReturn:
    """Import a module, tell what it holds, then fork an evaluation for each request."""
    try:
        os.setpgid(0, 0)
        wire.send(channel, {"pid": os.getpid()})
        os.chdir(message["root"])
        output = _redirect()
        limit_space()
        limit_time(message["time_limit"])
        recorder = Recorder(message["root"])
        finder.install(recorder)
        analyses, payload = _import(message["modules"], recorder)
        limit_time(None)
        wire.send(channel, {**payload, "read": recorder.report()})
        recorder.begin()
        forking.freeze()
        with suppress(OSError):
            os.close(output)
        _ModuleServer(channel, analyses, recorder).serve()
    finally:
        # Whatever happened: nothing of this process may run on in the host's loop.
        _exit(0)


def _import(
    modules: list[str], recorder: Recorder
) -> tuple[dict[str, Analysis[..., Any]], dict[str, Any]]:
    """Return the analyses of modules by full name, and the payload of the first or of a failure."""
    recorder.listen()
    try:
        found = [describe.analyses_of(importlib.import_module(module)) for module in modules]
        described = [_described(analysis) for analysis in found[0]]
    except BaseException as error:
        recorder.hush()
        return {}, {"failure": encoded(_failure(error, recorder.root))}
    finally:
        recorder.hush()
        if _count():  # whether it is done by the time of an evaluation is a matter of luck
            recorder.not_stored.add("its import left a thread running")
    names = [analysis.__name__ for analysis in found[0]]
    for i, name in enumerate(names):
        if names.count(name) > 1 and described[i].failure is None:
            text = f"there are {names.count(name)} analyses with this name in one module"
            described[i] = Described(name, failure=_plain("bad signature", text))
    analyses = {
        f"{module}.{analysis.__name__}": analysis
        for module, some in zip(modules, found, strict=True)
        for analysis in some
    }
    # What a thread does meanwhile, or a file that was read unseen, may change a name.
    shown = {} if recorder.not_stored else analyses
    pure = [name for name, analysis in shown.items() if purity.is_pure(analysis.function)]
    return analyses, {"analyses": [encoded(one) for one in described], "pure": pure}


def _described(analysis: Analysis[..., Any]) -> Described:
    name = analysis.__name__
    try:
        return Described(name, describe.describe(analysis))
    except describe.BadSignature as error:
        failure = _plain("bad signature", str(error))
        code = getattr(analysis.function, "__code__", None)
        if code is not None:
            failure = failure._replace(path=code.co_filename, line=code.co_firstlineno)
        return Described(name, failure=failure)


class _ModuleServer:
    """The loop of a module's process: requests come in, evaluations end, the tool may vanish."""

    def __init__(
        self,
        channel: socket.socket,
        analyses: dict[str, Analysis[..., Any]],
        recorder: Recorder,
    ) -> None:
        self._channel = channel
        self._analyses = analyses
        self._recorder = recorder
        self._running: dict[int, tuple[int, int]] = {}  # pid -> request's number, what it prints

    def serve(self) -> None:
        """Serve until the tool closes the channel; then end what still runs."""
        # A signal wakes the loop when an evaluation ends.
        wake, waker = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        signal.pthread_sigmask(signal.SIG_SETMASK, ())  # the module may have blocked it
        signal.set_wakeup_fd(waker, warn_on_full_buffer=False)
        while True:
            ready, _, _ = select.select([self._channel.fileno(), wake], [], [])
            if wake in ready:
                os.read(wake, 4096)
                self._reap()
            if self._channel.fileno() in ready and not self._request():
                break
        for pid in self._running:
            _end_group(pid)

    def _request(self) -> bool:
        message, fds = wire.receive(self._channel, fds=1)
        if message is None:
            return False
        output = _scratch()
        requests = [decoded(Request, row) for row in message["requests"]]
        for request in requests:  # known in every fork
            for name in functions_of(request) if request.question.box else ():
                if name in self._analyses:
                    _shown(self._analyses[name].function)
        pid = os.fork()
        if pid == 0:
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            self._channel.close()
            os.dup2(output, 1)
            os.dup2(output, 2)
            _run_evaluations(self._analyses, requests, fds[0], self._recorder)
        os.close(fds[0])
        with suppress(ProcessLookupError, PermissionError):
            os.setpgid(pid, pid)  # the child does it too; whoever comes first
        self._running[pid] = (message["number"], output)
        self._tell({"started": message["number"], "pid": pid})
        return True

    def _reap(self) -> None:
        while self._running:
            pid, status = os.waitpid(-1, os.WNOHANG)
            if pid == 0:
                return
            if pid not in self._running:
                continue
            _end_group(pid)  # what it started and left behind
            number, output = self._running.pop(pid)
            code = os.waitstatus_to_exitcode(status)
            self._tell({"ended": number, "status": code, "output": _tail(output)})
            os.close(output)

    def _tell(self, message: dict[str, Any]) -> None:
        with suppress(OSError):  # the tool may be gone; the loop sees it
            wire.send(self._channel, message)


def _run_evaluations(
    analyses: dict[str, Analysis[..., Any]],
    requests: list[Request],
    result: int,
    recorder: Recorder,
) -> NoReturn:
    """Write the answer to each request while there is time, end without clean-up."""
    status, me = 1, _getpid()
    try:
        with suppress(PermissionError):
            os.setpgid(0, 0)
        for request in requests:
            limit_time(request.time_limit)
            payload = _answered(analyses, request, recorder)
            # Mostly nothing but the module itself was read, and the tool knows that already.
            read = recorder.report() if recorder.has_more() else None
            spent = spent_so_far()
            if _getpid() == me:  # else it is a process that the analysis forked
                wire.write_all(result, wire.pack({**payload, "read": read, "spent": spent}))
            if read is not None or spent > TOGETHER:
                break
        status = 0
    finally:
        _exit(status)


def _answered(
    analyses: dict[str, Analysis[..., Any]], request: Request, recorder: Recorder
) -> dict[str, Any]:
    recorder.listen()
    try:
        return {"answer": encoded(_evaluate(analyses, request, recorder))}
    except BaseException as error:
        return {"failure": encoded(_failed(error, recorder))}
    finally:
        recorder.hush()


def _failed(error: BaseException, recorder: Recorder) -> Failure:
    if isinstance(error, Failed):
        return error.failure
    if isinstance(error, chain.InputFailed):
        failure = _plain("input", error.reason)
        if error.__cause__ is not None:
            failure = _failed(error.__cause__, recorder)
        message = f"{error.variable}: {error.analysis}: {failure.message}"
        return failure._replace(kind="input", message=message)
    if isinstance(error.__cause__, chain.InputFailed):  # at some of many samples
        return _failed(error.__cause__, recorder)
    if isinstance(error, (describe.BadResult, OtherCases)):
        return _plain("bad result", str(error))
    recorder.hush()
    return _failure(error, recorder.root)


def _evaluate(
    analyses: dict[str, Analysis[..., Any]], request: Request, recorder: Recorder | None = None
) -> tuple[Any, ...]:
    missing = [name for name in functions_of(request) if name not in analyses]
    if missing:
        raise LookupError(f"no analysis {missing[0]} in its module any more")
    question, inputs = request.question, dict(request.question.inputs)
    functions = [analyses[name] for name in functions_of(request)]
    evaluates = [_at(analysis, inputs) for analysis in functions]
    at, members = evaluates[0], evaluates[1:]
    if question.chain is not None:
        at = chain.composed(question.chain, members, at)

    def answered(evaluate: Evaluate) -> tuple[Any, ...]:
        found = answer(evaluate, question, request.limits, request.whole, shown=known)
        return chain.completed(found, question, members)

    known = _all_shown(functions) if question.box else NOTHING_SHOWN
    if question.kind in ("figure", "artifact"):
        from closeout.evaluate.attached import drawn

        if question.chain is not None:
            inputs = chain.arguments(question.chain, members, inputs)
        name = json.loads(question.detail)["name"]
        return drawn(functions[0], question.kind, name, inputs)
    if recorder is None or not question.box or not known.keeps:
        return answered(at)
    with recorder.paused():
        apart = Apart(at, lambda error: _failed(error, recorder))
    found = with_each_apart(answered, at, apart, question)
    if apart.differed:
        recorder.not_stored.add("it stores a value from one evaluation to the next")
    return found


def _at(analysis: Analysis[..., Any], inputs: Mapping[str, float]) -> Evaluate:
    """Return an analysis as what evaluates it at a point; a failure says where, off the inputs."""

    def at(point: Mapping[str, Any]) -> dict[tuple[str, str | None], Any]:
        numbers = all(type(value) is float for value in point.values())
        try:
            found = describe.values_of(analysis, analysis.function(**point), numbers)
        except Exception as error:
            if numbers:
                _note_point(error, point, inputs)
            raise
        _trim_output()
        return found

    return at


def _all_shown(functions: Sequence[Analysis[..., Any]]) -> Shown:
    """Return what the code of some analyses shows together."""
    shown = [_shown(analysis.function) for analysis in functions]
    return Shown(
        all(one.pure for one in shown),
        any(one.keeps for one in shown),
        tuple(place for one in shown for place in one.places),
    )


@cache
def _shown(function: Any) -> Shown:
    """Return what the code of an analysis shows, looked at once in a module's process."""
    try:
        return allowed.shown(function)
    except Exception:  # some object of the module does not let itself be looked at
        return NOTHING_SHOWN


def _note_point(error: Exception, point: Mapping[str, float], inputs: Mapping[str, float]) -> None:
    """Say where in the box an analysis failed, where it is not at the inputs."""
    moved = [f"{name} = {value!r}" for name, value in point.items() if value != inputs.get(name)]
    if moved:
        error.add_note("evaluated at " + ", ".join(moved))


def _trim_output() -> None:
    """Forget what was printed by then, where that is much; only its end is ever shown."""
    with suppress(OSError):
        if os.fstat(1).st_size > OUTPUT_RETAINED:
            os.ftruncate(1, 0)
            os.lseek(1, 0, os.SEEK_SET)


def _failure(error: BaseException, root: str) -> Failure:
    """Return an exception as the author must see it: own frames, names as in the project."""
    if isinstance(error, MemoryError):
        return _plain("killed", f"it ran out of memory ({MEMORY_LIMIT / GIGABYTE:.3g} GiB)")
    try:
        with suppress(OSError):
            os.chdir(root)  # the names of own files are relative to it
        return _shown_failure(error, root)
    except BaseException:  # no memory or descriptors are left, or it does not let itself be shown
        return _plain("raised", type(error).__name__)


def _shown_failure(error: BaseException, root: str) -> Failure:
    import traceback

    if isinstance(error, SystemExit):
        kind, message = "exited", f"it called sys.exit({error.code!r})"
    else:
        kind, message = "raised", "".join(traceback.format_exception_only(error)).strip()
    # A folder of this run (an exported commit's) is no name that anybody knows.
    message = describe.clean(message.replace(root + os.sep, ""))[:OUTPUT_SHOWN]
    frames = [
        traceback.FrameSummary(_short(f.filename, root), f.lineno, f.name, line=f.line or "")
        for f in traceback.extract_tb(error.__traceback__)
        if not f.filename.startswith(("<frozen", _ENGINE))
    ]
    own = [frame for frame in frames if not frame.filename.startswith((".../", "<"))]
    if own:  # before the first own frame stands only how the tool came there
        frames = frames[frames.index(own[0]) :]
    text = describe.clean("".join(traceback.format_list(frames)))
    path, line = (own[-1].filename, own[-1].lineno) if own else (None, None)
    if isinstance(error, SyntaxError) and isinstance(error.filename, str):
        name = _short(error.filename, root)
        if not name.startswith((".../", "<")):
            path, line = name, error.lineno
    shown = f"Traceback (most recent call last):\n{text}{message}"[-TRACEBACK_SHOWN:]
    return Failure(kind, message, shown, path, line)


def _short(filename: str, root: str) -> str:
    """Return a file's name from the project's root; a library's keeps its last two parts."""
    if not os.path.isabs(filename):
        return filename
    if filename.startswith(root + os.sep):
        return filename[len(root) + 1 :]
    return ".../" + "/".join(filename.split(os.sep)[-2:])  # the rest is of this machine


def _plain(kind: str, message: str) -> Failure:
    return Failure(kind, describe.clean(message)[:OUTPUT_SHOWN], "")


def _redirect() -> int:
    """Give the process no input, and a scratch file for what it prints; return that file."""
    null = os.open(os.devnull, os.O_RDONLY)
    os.dup2(null, 0)
    os.close(null)
    output = _scratch()
    os.dup2(output, 1)
    os.dup2(output, 2)
    # What was printed must be there even if the process ends at once.
    sys.stdout = open(1, "w", buffering=1, encoding="utf-8", errors="replace")  # noqa: SIM115
    return output


def _scratch() -> int:
    """Return a file without a name."""
    if hasattr(os, "memfd_create"):
        return os.memfd_create("output", os.MFD_CLOEXEC)
    import tempfile

    with tempfile.TemporaryFile() as file:
        return os.dup(file.fileno())


def _tail(fd: int) -> str:
    size = os.fstat(fd).st_size
    start = max(0, size - OUTPUT_SHOWN)
    return os.pread(fd, size - start, start).decode("utf-8", "replace")


def _end_group(pid: int) -> None:
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)
