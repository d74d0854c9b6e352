"""An analysis evaluated at each point in a process of its own, as if nothing had run before.

A process is forked before the first evaluation; it evaluates nothing itself, and forks one for each
point that is asked of it. So what an analysis keeps, in a module or anywhere else, is there as its
import left it.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, NoReturn, TypeVar

from closeout import Absent
from closeout.arithmetic.code.reached import NotAllowed
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.arithmetic.undecided import Undecided
from closeout.evaluate import wire
from closeout.evaluate.codec import decoded, encoded
from closeout.model.question import Failure, Question

# As they are now: an analysis may put anything in their place.
_exit, _fork, _waitpid = os._exit, os.fork, os.waitpid


class Failed(Exception):
    """The analysis failed in its own process; ``failure`` is what is reported to the tool."""

    def __init__(self, failure: Failure) -> None:
        super().__init__(failure.message)
        self.failure = failure


class _Value(NamedTuple):
    """A value of a result; ``absent`` is the reason why there is none."""

    quantity: str
    case: str | None
    value: float | None
    absent: str | None


class _Values(NamedTuple):
    rows: tuple[_Value, ...]


class Apart:
    """Evaluates an analysis on numbers; see the module. ``why`` is the answer to whatever else.

    Args:
        evaluate: the analysis, by point.
        failure: returns what is reported to the tool of an error.
    """

    def __init__(
        self,
        evaluate: Evaluate,
        failure: Callable[[BaseException], Failure],
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
        payload, _ = wire.receive(self._channel)
        if payload is None:
            raise Failed(_ENDED)
        if "failure" in payload:
            raise Failed(decoded(Failure, payload["failure"]))
        return {
            (one.quantity, one.case): one.value if one.absent is None else Absent(one.absent)
            for one in decoded(_Values, payload["values"]).rows
        }

    def differs(self, evaluate: Evaluate, inputs: Mapping[str, float], box: Box) -> bool:
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
                    wire.send(channel, {"failure": encoded(_ENDED)})
        finally:
            _exit(0)

    def _tell(self, channel: socket.socket, point: Mapping[str, float]) -> NoReturn:
        status = 1
        try:
            wire.send(channel, self._payload(point))
            status = 0
        finally:
            _exit(status)

    def _payload(self, point: Mapping[str, float]) -> dict[str, Any]:
        try:
            found = self._evaluate(point)
        except BaseException as error:
            return {"failure": encoded(self._failure(error))}
        rows = tuple(
            _Value(*key, None, value.reason) if isinstance(value, Absent) else
            _Value(*key, value, None)
            for key, value in found.items()
        )  # fmt: skip
        return {"values": encoded(_Values(rows))}


T = TypeVar("T")


def with_each_apart(
    answer: Callable[[Evaluate], T], evaluate: Evaluate, apart: Apart, question: Question
) -> T:
    """Return the answer of an analysis that might keep something from one evaluation to the next.

    Where it does (``apart.differed`` says so), each point is evaluated in a process of its own.
    Whatever the analysis raises goes through to the caller.

    Args:
        answer: answers the question with what evaluates the analysis.
    """
    found: list[T] = []
    failure: BaseException | None = None
    try:
        found.append(answer(evaluate))
    except (Exception, Undecided) as error:
        failure = error
    if apart.differs(evaluate, dict(question.inputs), question.box):
        return answer(apart)
    if failure is not None:
        raise failure
    return found[0]


def _outcome(evaluate: Evaluate, point: Mapping[str, float]) -> dict[Key, str] | None:
    """Return the values as they can be compared; None where there is an error."""
    try:
        found = evaluate(point)
    except MemoryError:
        raise
    except (Exception, Undecided):  # reported where the analysis is evaluated for its answer
        return None
    return {
        key: value.reason if isinstance(value, Absent) else repr(value)
        for key, value in found.items()
    }


_ENDED = Failure("killed", "its process ended without a result", "")
