"""Commands in processes of their own, forked from one in which the tool is loaded already.

What a command does is the same as after ``python -m closeout`` (``test_warm.py``), but a start
that imports everything takes longer than most commands over a small project.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import json
import os
import pkgutil
import runpy
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, NoReturn

# What Python reads once, when it starts.
_AT_START = ("PYTHON", "LC_", "LANG")


class Warm:
    """The process from which commands are forked; it ends when this one lets go of it."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._start = _read_at_start(environment)
        self._channel, theirs = socket.socketpair()
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, __file__, str(theirs.fileno())],
                env=environment,
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
            )

    def fits(self, environment: Mapping[str, str]) -> bool:
        """Whether Python would start in this environment as it started here."""
        return _read_at_start(environment) == self._start

    def run(
        self, arguments: Sequence[str], cwd: Path, environment: Mapping[str, str], backstop: float
    ) -> tuple[int, bytes, bytes]:
        """Return exit status, standard output and standard error of a command."""
        with tempfile.TemporaryFile() as output, tempfile.TemporaryFile() as errors:
            given = {"argv": list(arguments), "cwd": str(cwd), "env": dict(environment)}
            message = json.dumps(given).encode() + b"\n"
            sent = socket.send_fds(self._channel, [message], [output.fileno(), errors.fileno()])
            self._channel.sendall(message[sent:])
            with self._channel.makefile("rb") as told:
                pid, status = int(told.readline()), self._status(told, backstop)
            if status is None:
                os.kill(pid, signal.SIGKILL)
                self.end()
                raise subprocess.TimeoutExpired(["closeout", *arguments], backstop)
            return status, _content(output), _content(errors)

    def _status(self, told: IO[bytes], backstop: float) -> int | None:
        self._channel.settimeout(backstop)
        try:
            return int(told.readline())
        except TimeoutError:
            return None
        finally:
            self._channel.settimeout(None)

    def end(self) -> None:
        self._channel.close()
        self._process.wait()


def _content(file: IO[bytes]) -> bytes:
    file.seek(0)
    return file.read()


def _read_at_start(environment: Mapping[str, str]) -> dict[str, str]:
    return {name: text for name, text in environment.items() if name.startswith(_AT_START)}


# ---- in the process from which commands are forked


def _serve(channel: socket.socket) -> None:
    _load()
    gc.collect()
    gc.freeze()
    while True:
        message, fds, _, _ = socket.recv_fds(channel, 2**16, 2)
        while message and not message.endswith(b"\n"):
            message += channel.recv(2**16)
        if not message:
            return
        pid = os.fork()
        if pid == 0:
            channel.close()
            _become(fds, **json.loads(message))
        for fd in fds:
            os.close(fd)
        channel.sendall(b"%d\n" % pid)
        _, status = os.waitpid(pid, 0)
        channel.sendall(b"%d\n" % os.waitstatus_to_exitcode(status))


def _load() -> None:
    """Import what commands import, but for libraries of machine code, which may start threads."""
    import yaml  # noqa: F401

    import closeout

    for name in _LOADED:
        folder = [f"{path}/{name}" for path in closeout.__path__]
        for module in pkgutil.iter_modules(folder, f"closeout.{name}."):
            if module.name != "closeout.cli.starter":
                importlib.import_module(module.name)


_LOADED = ("cli", "compare", "judge", "load", "render", "rules", "run", "snapshot", "store")


def _become(fds: Sequence[int], argv: list[str], cwd: str, env: dict[str, str]) -> NoReturn:
    """Go on as ``python -m closeout`` in a folder."""
    try:
        for fd, place in zip(fds, (1, 2), strict=True):
            os.dup2(fd, place)
            os.close(fd)
        os.environ.clear()
        os.environ.update(env)
        os.chdir(cwd)
        sys.argv[1:] = argv
        sys.path[0] = os.getcwd()
        runpy.run_module("closeout", run_name="__main__", alter_sys=True)
    finally:
        os._exit(70)  # never back into the loop: the command ends its process itself


if __name__ == "__main__":
    with contextlib.closing(socket.socket(fileno=int(sys.argv[1]))) as given:
        _serve(given)
