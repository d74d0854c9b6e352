"""A question to an analysis and its answer, as JSON: which arithmetic is asked, with what."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from closeout.arithmetic.code import allowed
from closeout.arithmetic.code.allowed import NOTHING_SHOWN, Shown
from closeout.arithmetic.proof.worst import answer as worst
from closeout.arithmetic.types import Box, Evaluate
from closeout.arithmetic.undecided import Undecided
from closeout.evaluate.apart import Apart
from closeout.model.answer import Bounds, Sought


@cache
def shown(function: Any) -> Shown:
    """Return what the code of an analysis shows, looked at once in a module's process."""
    try:
        return allowed.shown(function)
    except Exception:  # some object of the module does not let itself be looked at
        return NOTHING_SHOWN


def asked_twice(
    at: Evaluate, apart: Apart, inputs: Mapping[str, float], box: Box, message: Any, known: Shown
) -> dict[str, Any]:
    """Return the answer of an analysis that might keep something from one evaluation to the next.

    Where it does (``apart.differed`` says so), each point is evaluated in a process of its own.
    Whatever the analysis raises goes through to the caller.
    """
    found: dict[str, Any] | None = None
    failure: BaseException | None = None
    try:
        found = asked(at, inputs, box, message, known)
    except (Exception, Undecided) as error:
        failure = error
    if apart.differs(at, inputs, box):
        return asked(apart, inputs, box, message, known)
    if found is None:
        assert failure is not None
        raise failure
    return found


def asked(
    at: Evaluate, inputs: Mapping[str, float], box: Box, message: Any, known: Shown
) -> dict[str, Any]:
    """Return the answer to a question about numbers."""
    if message["kind"] == "probability":
        from closeout.arithmetic.chance.trials import answer as decide

        return {"answer": decide(at, inputs, box, message["detail"])}
    if message["kind"] == "study":
        from closeout.arithmetic.study.study import study

        return {"answer": study(at, inputs, box, message["detail"])}
    if message["kind"] == "solve":
        from closeout.arithmetic.symbol.solve import solve

        return {"answer": solve(at, inputs, box, message["detail"])}
    if message["kind"] == "root sum square":
        from closeout.arithmetic.chance.linear import answer as linear

        found = linear(at, inputs, box, message["detail"], shown=known)
    else:
        limits = message["limits"]
        if limits is not None:
            limits = [Sought(name, row and Bounds(*row)) for name, row in limits]
        found = worst(
            at, inputs, box, message["detail"], limits, message["whole"], shown=known,
            evaluations=message["evaluations"], ends=[(name, end) for name, end in message["ends"]],
        )  # fmt: skip
    extents = [[*key, *extent] for key, extent in found.extents.items()]
    answer = [extents, found.assurance.value, found.evaluations]
    return {"answer": answer, "of_limits": True} if found.of_limits else {"answer": answer}
