"""The host process: forks one process for each module, which forks one for each evaluation.

A module is imported once; an evaluation runs in a process of its own, so that what it reads, what
it leaves behind and how it ends is its own affair. A shared worker would be faster and wrong: a
cache that one analysis fills hides from the next what that one reads.

Channels (:mod:`closeout.evaluate.wire`): tool -> host ``{module}`` with the module's channel; tool
-> module ``{function, inputs, box}`` with a control channel and a result pipe; module -> tool
``started`` and ``ended`` on the control channel; evaluation -> tool the result, on the pipe.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import os
import resource
import selectors
import signal
import socket
import sys
import tempfile
import traceback
from typing import Any, NoReturn

from closeout import Analysis
from closeout.arithmetic.search import OtherCases, answer
from closeout.evaluate import describe, finder, wire
from closeout.evaluate.recorder import Recorder

MEMORY_LIMIT = 8 * 1024**3
FILE_LIMIT = 256 * 1024**2
OUTPUT_SHOWN = 2000
TRACEBACK_SHOWN = 20_000
# Frames of the tool's own code are no matter of the author.
_ENGINE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def main(fd: int) -> None:
    """Serve the tool on a channel until it closes."""
    channel = socket.socket(fileno=fd)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the tool's to handle
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    gc.freeze()
    while True:
        message, fds = wire.receive(channel, fds=1)
        if message is None:
            return
        if os.fork() == 0:
            channel.close()
            _run_module(socket.socket(fileno=fds[0]), message["root"], message["module"])
        os.close(fds[0])


def _run_module(channel: socket.socket, root: str, module: str) -> NoReturn:
    """Import a module, tell what it holds, then fork an evaluation for each request."""
    os.setpgid(0, 0)
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    _die_with_parent()
    os.chdir(root)
    output = _redirect()
    recorder = Recorder(root)
    finder.install(root, recorder)
    analyses: dict[str, Analysis[..., Any]] = {}
    told: dict[str, Any]
    recorder.active = True
    try:
        loaded = importlib.import_module(module)
        recorder.active = False
        found = describe.analyses_of(loaded)
        analyses = {analysis.__name__: analysis for analysis in found}
        told = {"specs": [_described(analysis) for analysis in found]}
    except BaseException as error:
        recorder.active = False
        told = {"failure": _failure(error)}
    wire.send(channel, {**told, "read": recorder.told()})
    _ModuleServer(channel, analyses, recorder, output).serve()
    os._exit(0)


def _described(analysis: Analysis[..., Any]) -> dict[str, Any]:
    try:
        return describe.describe(analysis)
    except describe.BadSignature as error:
        line = analysis.function.__code__.co_firstlineno
        path = analysis.function.__code__.co_filename
        failure = {"kind": "bad signature", "message": str(error), "traceback": "", "path": path}
        return {"function": analysis.__name__, "failure": {**failure, "line": line}}


class _ModuleServer:
    """The loop of a module's process: requests come in, evaluations end, the tool may vanish."""

    def __init__(
        self,
        channel: socket.socket,
        analyses: dict[str, Analysis[..., Any]],
        recorder: Recorder,
        output: int,
    ) -> None:
        self._channel = channel
        self._analyses = analyses
        self._recorder = recorder
        self._output = output
        self._running: dict[int, tuple[socket.socket, int]] = {}

    def serve(self) -> None:
        """Serve until the tool closes the channel; then end what still runs."""
        # A signal handler of its own process wakes the selector when an evaluation ends.
        wake, waker = socket.socketpair()
        waker.setblocking(False)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        signal.set_wakeup_fd(waker.fileno(), warn_on_full_buffer=False)
        with selectors.DefaultSelector() as selector:
            selector.register(self._channel, selectors.EVENT_READ)
            selector.register(wake, selectors.EVENT_READ)
            while True:
                ready = {key.fileobj for key, _ in selector.select()}
                if wake in ready:
                    wake.recv(4096)
                    self._reap()
                if self._channel in ready and not self._request(wake, waker):
                    break
        for pid in self._running:
            _end_group(pid)

    def _request(self, *close: socket.socket) -> bool:
        message, fds = wire.receive(self._channel, fds=2)
        if message is None:
            return False
        control, result = socket.socket(fileno=fds[0]), fds[1]
        output = _scratch()
        pid = os.fork()
        if pid == 0:
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            for one in (self._channel, control, *close):
                one.close()
            os.dup2(output, 1)
            os.dup2(output, 2)
            _run_evaluation(
                self._analyses.get(message["function"]), message, result, self._recorder
            )
        os.close(result)
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.setpgid(pid, pid)  # the child does it too; whoever comes first
        self._running[pid] = (control, output)
        with contextlib.suppress(OSError):
            wire.send(control, {"started": pid})
        return True

    def _reap(self) -> None:
        while self._running:
            try:
                pid, status = os.waitpid(-1, os.WNOHANG)
            except ChildProcessError:
                return
            if pid == 0:
                return
            if pid not in self._running:
                continue
            _end_group(pid)  # what it started and left behind
            control, output = self._running.pop(pid)
            code = os.waitstatus_to_exitcode(status)
            with contextlib.suppress(OSError):
                wire.send(control, {"ended": code, "output": _tail(output)})
            control.close()
            os.close(output)


def _run_evaluation(
    analysis: Analysis[..., Any] | None, message: Any, result: int, recorder: Recorder
) -> NoReturn:
    """Evaluate at the inputs and over the box, write the answer, end without clean-up."""
    with contextlib.suppress(PermissionError):
        os.setpgid(0, 0)
    _die_with_parent()
    _limit(message["time_limit"])
    try:
        told = {"answer": _evaluate(analysis, message, recorder)}
    except MemoryError:
        told = {"failure": _plain("killed", f"it ran out of memory ({MEMORY_LIMIT >> 30} GiB)")}
    except describe.BadResult as error:
        told = {"failure": _plain("bad result", str(error))}
    except OtherCases as error:
        told = {"failure": _plain("bad result", str(error))}
    except BaseException as error:
        told = {"failure": _failure(error)}
    recorder.active = False
    wire.write_all(result, wire.pack({**told, "read": recorder.told()}))
    os._exit(0)


def _evaluate(analysis: Analysis[..., Any] | None, message: Any, recorder: Recorder) -> Any:
    if analysis is None:
        raise LookupError(f"no analysis {message['function']} in its module any more")
    function = analysis.function

    def at(point: Any) -> dict[tuple[str, str | None], float]:
        recorder.active = True
        try:
            result = function(**point)
        finally:
            recorder.active = False
        return describe.values_of(analysis, result)

    box = tuple((name, low, high) for name, low, high in message["box"])
    found = answer(at, dict(message["inputs"]), box)
    extents = [
        [*key, e.value, e.low, e.high, e.low_at, e.high_at, e.absent]
        for key, e in found.extents.items()
    ]
    return [extents, found.assurance.value, found.evaluations]


def _failure(error: BaseException) -> dict[str, Any]:
    """Return an exception as the author must see it: own frames, names as in the project."""
    if isinstance(error, SystemExit):
        kind, message = "exited", f"it called sys.exit({error.code!r})"
    else:
        kind, message = "raised", "".join(traceback.format_exception_only(error)).strip()
    frames = [
        _portable(frame)
        for frame in traceback.extract_tb(error.__traceback__)
        if not frame.filename.startswith(("<frozen", _ENGINE))
    ]
    own = [frame for frame in frames if not frame.filename.startswith((".../", "<"))]
    if own:  # before the first own frame stands only how the tool came there
        frames = frames[frames.index(own[0]) :]
    text = "".join(traceback.format_list(frames))
    if text:
        text = "Traceback (most recent call last):\n" + text + message
    line = error.lineno if isinstance(error, SyntaxError) else own[-1].lineno if own else None
    path = error.filename if isinstance(error, SyntaxError) else own[-1].filename if own else None
    return {
        "kind": kind,
        "message": message[:OUTPUT_SHOWN],
        "traceback": text[-TRACEBACK_SHOWN:],
        "path": path,
        "line": line,
    }


def _portable(frame: traceback.FrameSummary) -> traceback.FrameSummary:
    """Return a frame without this machine: a library's file keeps its last two names."""
    if not os.path.isabs(frame.filename):
        return frame
    name = ".../" + "/".join(frame.filename.split(os.sep)[-2:])
    return traceback.FrameSummary(name, frame.lineno, frame.name, line=frame.line or "")


def _plain(kind: str, message: str) -> dict[str, Any]:
    return {"kind": kind, "message": message, "traceback": "", "path": None, "line": None}


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
    if hasattr(os, "memfd_create"):
        return os.memfd_create("output", os.MFD_CLOEXEC)
    with tempfile.TemporaryFile() as file:
        return os.dup(file.fileno())


def _tail(fd: int) -> str:
    size = os.fstat(fd).st_size
    start = max(0, size - OUTPUT_SHOWN)
    return os.pread(fd, size - start, start).decode("utf-8", "replace")


def _limit(seconds: float) -> None:
    limits = {
        resource.RLIMIT_AS: MEMORY_LIMIT,
        resource.RLIMIT_CORE: 0,
        resource.RLIMIT_FSIZE: FILE_LIMIT,
        resource.RLIMIT_CPU: int(seconds) + 10,
    }
    for limit, value in limits.items():
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(limit, (value, value))


def _end_group(pid: int) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)


def _die_with_parent() -> None:
    """Ask Linux to kill this process when its parent ends, however that ended."""
    if _prctl is not None:
        _prctl(1, signal.SIGKILL)


def _load_prctl() -> Any:
    if not sys.platform.startswith("linux"):
        return None
    import ctypes

    return ctypes.CDLL(None).prctl


_prctl = _load_prctl()
