"""An analysis evaluated at each point in a process of its own, as if nothing had run before.

A process is forked before the first evaluation; it evaluates nothing itself, and forks one for each
point that is asked of it. So what an analysis keeps, in a module or anywhere else, is there as its
import left it.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Mapping
from typing import Any, NoReturn

from closeout import Absent
from closeout.arithmetic.code.reached import NotAllowed
from closeout.arithmetic.types import Evaluate, Key, Side
from closeout.arithmetic.undecided import Undecided
from closeout.evaluate import wire

# As they are now: an analysis may put anything in their place.
_exit, _fork, _waitpid = os._exit, os.fork, os.waitpid


class Failed(Exception):
    """The analysis failed in its own process; ``failure`` is what the tool is told."""

    def __init__(self, failure: dict[str, Any]) -> None:
        super().__init__(failure["message"])
        self.failure = failure


class Apart:
    """Evaluates an analysis on numbers; see the module. ``why`` is told of whatever else it gets.

    Args:
        evaluate: the analysis, by point.
        failure: returns what the tool is told of an error.
    """

    def __init__(
        self,
        evaluate: Evaluate,
        failure: Callable[[BaseException], dict[str, Any]],
    ) -> None:
        self.differed = False
        self.why = "it is evaluated in processes of its own"
        self._evaluate = evaluate
        self._failure = failure
        self._channel, theirs = socket.socketpair()
        if _fork() == 0:
            self._channel.close()
            self._serve(theirs)
        theirs.close()

    def __call__(self, point: Mapping[str, Any]) -> dict[Key, Any]:
        """Return the values at a point of numbers.

        Raises:
            Failed: the analysis raised an error there.
            NotAllowed: it is asked about anything but numbers.
        """
        if not all(type(value) is float for value in point.values()):
            raise NotAllowed(self.why)
        wire.send(self._channel, dict(point))
        told, _ = wire.receive(self._channel)
        if told is None:
            raise Failed({**_ENDED})
        if "failure" in told:
            raise Failed(told["failure"])
        return {
            (name, case): value if absent is None else Absent(absent)
            for name, case, value, absent in told["values"]
        }

    def differs(
        self, evaluate: Evaluate, inputs: Mapping[str, float], box: tuple[Side, ...]
    ) -> bool:
        """Return whether an analysis gives here what it does not give in a process of its own.

        It is evaluated at the inputs and at a corner, after all that it was evaluated for before.
        ``differed`` and ``why`` say so from then on.
        """
        corner = {name: high if high != inputs[name] else low for name, low, high in box}
        for point in (inputs, {**inputs, **corner}):
            here, there = _outcome(evaluate, point), _outcome(self, point)
            if here != there and there is not None:
                at = ", ".join(f"{name} = {point[name]!r}" for name, _, _ in box)
                self.why = (
                    "it stores a value from one evaluation to the next, and returns another value "
                    f"in a process of its own, at {at}"
                )
                self.differed = True
                break
        return self.differed

    def close(self) -> None:
        """End the process that waits for points."""
        self._channel.close()

    def _serve(self, channel: socket.socket) -> NoReturn:
        try:
            while (point := wire.receive(channel)[0]) is not None:
                pid = _fork()
                if pid == 0:
                    self._tell(channel, point)
                if os.waitstatus_to_exitcode(_waitpid(pid, 0)[1]) != 0:
                    wire.send(channel, {"failure": _ENDED})
        finally:
            _exit(0)

    def _tell(self, channel: socket.socket, point: Mapping[str, float]) -> NoReturn:
        status = 1
        try:
            wire.send(channel, self._told(point))
            status = 0
        finally:
            _exit(status)

    def _told(self, point: Mapping[str, float]) -> dict[str, Any]:
        try:
            found = self._evaluate(point)
        except BaseException as error:
            return {"failure": self._failure(error)}
        values = []
        for (name, case), value in found.items():
            absent = value.reason if isinstance(value, Absent) else None
            values.append([name, case, None if absent is not None else value, absent])
        return {"values": values}


def _outcome(evaluate: Evaluate, point: Mapping[str, float]) -> dict[Key, str] | None:
    """Return the values as they can be compared; None where there is an error."""
    try:
        found = evaluate(point)
    except MemoryError:
        raise
    except (Exception, Undecided):  # told where the analysis is evaluated for its answer
        return None
    return {
        key: value.reason if isinstance(value, Absent) else repr(value)
        for key, value in found.items()
    }


_ENDED = {
    "kind": "killed",
    "message": "its process ended without a result",
    "traceback": "",
    "path": None,
    "line": None,
}
