"""What only who writes an analysis understands, in words of the trade: failures and reasons.

What is passed on as it is, is listed; whatever else an analysis or a library may say becomes a
sentence of ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from closeout.model.answer import NOT_ASKED
from closeout.model.question import Failure

_ENDED = {
    "raised": "it ended with an error",
    "exited": "its process ended without a result",
    "killed": "its process was ended",
    "timed out": "it took longer than it may",
    "bad result": "its result cannot be judged",
    "bad signature": "it cannot be called",
    "input": "it rests on an analysis that gives no value",
    "cut": "it rests on an analysis that is no formula",
}
# Errors of which the kind alone tells an engineer something.
_RAISED = {
    "ZeroDivisionError": "it divides by zero",
    "OverflowError": "a number in it becomes too large",
    "MemoryError": "it needs more memory than there is",
    "FileNotFoundError": "a file that it reads is missing",
    "OtherCases": "it gives other cases within the tolerances than at the inputs",
}
# Beginnings of reasons that say nothing of code.
_PROOF = (
    NOT_ASKED,
    "a value was found outside the bounds",
    "a number lies outside its bounds",
    "its bounds are not finite",
    "it takes too many operations",
)
_PARTS = (
    "no input has a tolerance",
    "there is no limit",
    "with the other inputs at ",
    "break-even of the criterion itself",
    "root sum square holds for independent parameters only",
)
_OF_CODE = re.compile(
    r"\.py:\d|[a-z](Error|Exception|Warning)\b|Traceback|@\w|\bcloseout[ .]|Python|NumPy"
    r"|decorator|docstring|evaluations=|validated_by|\w\(\)|`"
)
_RESTS = re.compile(r"(?:^|; )(?:\w+: )?([\w.]+) is searched: ")
# The reason in it has brackets of its own.
_LINEARISED = re.compile(r"; nothing is proved: .*?\)(?=, which is more|; [\w, ]+ checked at|$)")
_ONE_BY_ONE = re.compile(r"(; samples evaluated one by one): .*$")
_OWN_NAME = re.compile(r"^[A-Z]\w+: ")
_SAMPLES = re.compile(r"^\d+ samples are needed, more than \d+$")


def is_of_code(text: str) -> bool:
    """Return whether a text speaks of code: of files of Python, exceptions, names of ours."""
    return _OF_CODE.search(text) is not None


def failed(analysis: str, failure: Failure, known: Iterable[str]) -> str:
    """Return that an analysis failed and how, without the text of an exception.

    ``known`` are the names of all analyses, of which the failure may name the one below it that
    failed.
    """
    if failure.kind == "input":
        names = set(known)
        below = [part for part in failure.message.split(": ") if part in names]
        if below:
            return f"the analysis {analysis} rests on {below[-1]}, which gives no value"
    return f"the analysis {analysis} failed: {ended(failure)}"


def ended(failure: Failure) -> str:
    """Return how an evaluation ended: ``it divides by zero``."""
    otherwise = _ENDED.get(failure.kind, "it could not be evaluated")
    if failure.kind != "raised":
        return otherwise
    return _RAISED.get(failure.message.partition(":")[0], otherwise)


def unproved(reason: str) -> str:
    """Return why an end is not proved."""
    if reason.startswith(_PROOF):
        return reason
    if names := dict.fromkeys(_RESTS.findall(reason)):
        return f"it rests on {' and '.join(names)}, of which the ends are searched"
    if reason.startswith("linearisation error"):
        return linearised(reason)
    if "may be zero" in reason:
        return "a divisor in it may be zero within the tolerances"
    if "is a range, and" in reason or "on a range is refused" in reason or reason.startswith("["):
        return "it decides, or looks up, by a value of which only a range is known"
    if "do not agree with numbers" in reason:
        return "its formula gives over ranges another value than at single inputs"
    return "its formula cannot be followed over a range of inputs"


def linearised(text: str) -> str:
    """Return how far a linearisation may be off, without why the extremes are not proved."""
    return _ONE_BY_ONE.sub(r"\1", _LINEARISED.sub("; nothing is proved)", text))


def symbolic(reason: str) -> str:
    """Return why a quantity has no formula that can be printed."""
    if "decision of Python" in reason or "compared with" in reason:
        return "it decides by an input which way it computes"
    if "InputFailed" in reason:
        return "an analysis that it rests on has none"
    if "operations" in reason:
        return "it computes in too many steps, as over time"
    return "it does not compute by one formula"


def part(reason: str) -> str:
    """Return why a part of a study is missing or not whole."""
    said = _OWN_NAME.sub("", reason)
    if said.startswith(_PARTS) or _SAMPLES.match(said):
        return said
    if said.startswith("it computes step by step"):
        return "not searched here, since it computes step by step"
    if said.startswith("samples cannot be taken in one call"):
        return "it takes inputs one at a time, so that too few samples can be taken"
    return "could not be found"
