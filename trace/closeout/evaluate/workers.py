"""The tool's side of the workers: a host for each snapshot, modules, evaluations in time."""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

from closeout.evaluate import wire

IMPORT_LIMIT = 60.0
# The same numbers on every machine: no hash seed, time zone, locale or thread count from outside.
_FIXED = {
    "PYTHONHASHSEED": "0",
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "LANG": "C.UTF-8",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "NUMEXPR_NUM_THREADS": "1",
    "HOME": "/nonexistent",
    "MPLBACKEND": "Agg",
}
_PASSED = ("PATH", "LD_LIBRARY_PATH", "OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE", "TMPDIR")
_START = (
    "import sys, json; told = json.loads(sys.argv[1]); sys.path[:] = told['path'];"
    " from closeout.evaluate.host import main; main(told['fd'])"
)


class WorkerLost(Exception):
    """A process of the tool's own ended or sent nonsense; the text says which."""


class Host:
    """The bare process of which every worker is a fork."""

    def __init__(self, root: Path) -> None:
        self._root = str(root)
        self._lock = threading.Lock()
        self._channel, theirs = socket.socketpair()
        path = [entry for entry in sys.path if entry and Path(entry) != Path.cwd()]
        told = json.dumps({"fd": theirs.fileno(), "path": path})
        environment = {**_FIXED, **{k: os.environ[k] for k in _PASSED if k in os.environ}}
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-s", "-B", "-c", _START, told],
            cwd=self._root,
            env=environment,
            pass_fds=[theirs.fileno()],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            process_group=0,
        )
        theirs.close()

    def module(self, name: str) -> ModuleWorker:
        """Return a worker that imports a module; what it tells is read by ``told()``."""
        mine, theirs = socket.socketpair()
        with theirs, self._lock:
            try:
                message = {"root": self._root, "module": name}
                wire.send(self._channel, message, (theirs.fileno(),))
            except OSError as error:
                raise WorkerLost("the host process has ended") from error
        return ModuleWorker(mine)

    def close(self) -> None:
        """End the host and all that it forked."""
        self._channel.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(2)
        self._process.kill()
        self._process.wait()


class ModuleWorker:
    """The process that holds one imported module."""

    def __init__(self, channel: socket.socket) -> None:
        self._channel = channel
        self._lock = threading.Lock()

    def told(self) -> dict[str, Any]:
        """Wait for what the module says of itself: specs or a failure, and what was read.

        Raises:
            TimeoutError: the import took longer than IMPORT_LIMIT.
            WorkerLost: the process ended without a word.
        """
        self._channel.settimeout(IMPORT_LIMIT)
        try:
            message, _ = wire.receive(self._channel)
        except ValueError as error:
            raise WorkerLost("the module's process sent nonsense") from error
        except OSError as error:
            if isinstance(error, TimeoutError):
                raise
            raise WorkerLost("the module's process ended while it was imported") from error
        if message is None:
            raise WorkerLost("the module's process ended while it was imported")
        self._channel.settimeout(None)
        told: dict[str, Any] = message
        return told

    def evaluate(self, request: dict[str, Any]) -> dict[str, Any]:
        """Return what an evaluation told, or how it ended: ``{"ended": code, "output": text}``.

        Raises:
            TimeoutError: it ran longer than ``request["time_limit"]`` and was ended.
            WorkerLost: the module's process ended.
        """
        control, theirs = socket.socketpair()
        read, write = os.pipe()
        try:
            with theirs, self._lock:
                wire.send(self._channel, request, (theirs.fileno(), write))
        except OSError as error:
            os.close(read)
            control.close()
            raise WorkerLost("the module's process has ended") from error
        finally:
            os.close(write)
        try:
            return _follow(control, read, request["time_limit"])
        finally:
            control.close()
            os.close(read)

    def close(self) -> None:
        """End the process and what it still runs."""
        self._channel.close()


def _follow(control: socket.socket, pipe: int, limit: float) -> dict[str, Any]:
    """Collect the result of one evaluation, and end it when its time is up."""
    result, words = wire.Reader(), wire.Reader()
    deadline = time.monotonic() + limit
    told: dict[str, Any] | None = None
    pid: int | None = None
    late = False
    with selectors.DefaultSelector() as selector:
        selector.register(pipe, selectors.EVENT_READ)
        selector.register(control, selectors.EVENT_READ)
        while True:
            ready = selector.select(None if late else max(0.0, deadline - time.monotonic()))
            if not ready and not late:
                late = True
                if pid is not None:
                    with contextlib.suppress(ProcessLookupError, PermissionError):
                        os.killpg(pid, signal.SIGKILL)
            for key, _ in ready:
                if key.fd == pipe:
                    data = os.read(pipe, 1 << 20)
                    result.feed(data)
                    told = told or result.take()
                    if not data:
                        selector.unregister(pipe)
                    continue
                data = control.recv(1 << 16)
                if not data:
                    raise WorkerLost("the module's process has ended")
                words.feed(data)
            while (word := words.take()) is not None:
                if "started" in word:
                    pid = word["started"]
                    continue
                if late:
                    raise TimeoutError(word.get("output", ""))
                return told or _rest(pipe, result) or dict(word)


def _rest(pipe: int, result: wire.Reader) -> dict[str, Any] | None:
    """Read what an evaluation wrote before it ended; it may come after the word of its end."""
    os.set_blocking(pipe, False)
    with contextlib.suppress(BlockingIOError):
        while data := os.read(pipe, 1 << 20):
            result.feed(data)
    told: dict[str, Any] | None = result.take()
    return told
