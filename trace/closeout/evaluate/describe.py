"""What the analyses of a module say of themselves, and what their results must look like."""

from __future__ import annotations

import keyword
import math
import types
import typing
from collections.abc import Mapping
from functools import cache
from numbers import Real
from typing import Any

from closeout import Absent, Analysis
from closeout.arithmetic.recorded.hints import unit_of
from closeout.model.errors import UserError
from closeout.model.question import AnalysisSpec, Argument, Attached, Field

MOST_EVALUATIONS = 10_000_000
LONGEST = 7 * 24 * 3600  # seconds that one evaluation may be given
RESERVED = ("count", "index")
# Flags of a code object: it takes *args, **kwargs (Python's documentation of the module inspect,
# which itself would double what a worker has loaded).
_VARARGS, _VARKEYWORDS = 4, 8


class BadSignature(UserError):
    """An analysis whose arguments or result cannot be used; the text says which and the cure."""


class BadResult(UserError):
    """A result of a wrong type, with a wrong field, or with a value that is no number."""


def analyses_of(module: types.ModuleType) -> list[Analysis[..., Any]]:
    """Return the analyses that a module defines itself, in the order of its text."""
    found = [
        value
        for value in vars(module).values()
        if isinstance(value, Analysis) and value.__module__ == module.__name__
    ]
    return list({id(value): value for value in found}.values())  # one may have two names


def clean(text: str) -> str:
    """Return text without characters that act on a terminal or are no Unicode."""
    return "".join(
        c if c.isprintable() or c in "\n\t" else c.encode("unicode_escape").decode() for c in text
    )


def describe(analysis: Analysis[..., Any]) -> AnalysisSpec:
    """Return arguments, fields and the rest of an analysis; docstrings as they are written.

    Raises:
        BadSignature: what is wrong with the signature, one a line.
    """
    if not isinstance(analysis.function, types.FunctionType):
        kind = type(analysis.function).__name__
        raise BadSignature(f"it is no plain function but {kind}; put @analysis on the function")
    wrong = _marks(analysis)
    uncertainty = _model_uncertainty(analysis, wrong)
    hints = _hints(analysis.function)
    code = analysis.function.__code__
    arguments = _arguments(code, hints, wrong)
    result = hints.get("return")
    fields = _fields(result, wrong)
    if not fields and not wrong:
        wrong.append("the result has no field; a NamedTuple with one field a quantity is needed")
    names = [field.name for field in fields]
    for name in uncertainty:
        if names and name not in names:
            listed = ", ".join(names)
            wrong.append(f"model_uncertainty names {name}, which is no quantity of it: {listed}")
    if wrong:
        raise BadSignature("\n".join(wrong))
    _declared(analysis.function)  # known in every fork
    module, function = analysis.__module__, analysis.__name__
    return AnalysisSpec(
        name=f"{module.removeprefix('analyses.')}.{function}",
        module=module,
        function=function,
        path=code.co_filename,
        line=code.co_firstlineno,
        doc=clean(analysis.__doc__ or ""),
        arguments=arguments,
        fields=tuple(fields),
        validated_by=tuple(analysis.validated_by),
        time_limit=float(analysis.time_limit),
        model_uncertainty=tuple(uncertainty.items()),
        attached=_attached(analysis),
        evaluations=analysis.evaluations,
    )


def _arguments(
    code: types.CodeType, hints: Mapping[str, Any], wrong: list[str]
) -> tuple[Argument, ...]:
    found: list[Argument] = []
    if code.co_flags & (_VARARGS | _VARKEYWORDS):
        wrong.append("it takes * or ** arguments; name each argument, each is a parameter")
    if code.co_posonlyargcount:
        wrong.append("it has arguments by position only; leave out the /")
    for name in code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]:
        unit, by_case = unit_of(hints.get(name))
        if unit is None or by_case:
            wrong.append(f"argument {name} has no unit; write {name}: W_h, or Annotated[float,"
                          ' Unit("W h")]')  # fmt: skip
        else:
            found.append(Argument(name, unit))
    return tuple(found)


def _attached(analysis: Analysis[..., Any]) -> tuple[Attached, ...]:
    """Return each figure and each set of files."""
    return tuple(
        Attached(kind, function.__name__, clean((function.__doc__ or "").strip().split("\n\n")[0]))
        for kind, some in (("figure", analysis.figures), ("artifact", analysis.artifacts))
        for function in some
    )


def _marks(analysis: Analysis[..., Any]) -> list[str]:
    """Return what is wrong with what was said beside the function itself."""
    limit = analysis.time_limit
    wrong = []
    if isinstance(limit, bool) or not isinstance(limit, Real) or not 0 < limit <= LONGEST:
        wrong.append(f"time_limit is {limit!r}; give it in seconds, above 0, at most {LONGEST}")
    most = analysis.evaluations
    if most is not None and not (type(most) is int and 1 <= most <= MOST_EVALUATIONS):
        wrong.append(
            f"evaluations is {most!r}; give a whole number from 1 to {MOST_EVALUATIONS}, or none"
        )
    if not all(isinstance(path, str) for path in analysis.validated_by):
        wrong.append("validated_by is no text; write the path of the test as text")
    return wrong


def _model_uncertainty(analysis: Analysis[..., Any], wrong: list[str]) -> dict[str, str]:
    said = analysis.model_uncertainty
    if isinstance(said, Mapping) and all(
        isinstance(text, str) for row in said.items() for text in row
    ):
        return dict(said)
    wrong.append('model_uncertainty is no mapping of texts; write {"margin": "0.5 dB"}')
    return {}


def values_of(
    analysis: Analysis[..., Any], result: Any, numbers: bool = True
) -> dict[tuple[str, str | None], Any]:
    """Return the values of a result by quantity and case.

    Args:
        numbers: each value has to be a finite number; else it is let through as it is, since the
            analysis was evaluated on something else (ranges, arrays, symbols).

    Raises:
        BadResult: what is wrong with the result, one a line.
    """
    declared, fields = _declared(analysis.function)
    if type(result) is not declared:
        raise BadResult(f"returned {type(result).__name__}, not the declared {declared.__name__}")
    values: dict[tuple[str, str | None], Any] = {}
    wrong: list[str] = []
    take = _take if numbers else _let_through
    for name, by_case in fields:
        value = getattr(result, name)
        if not by_case:
            take(values, wrong, name, None, value)
        elif not isinstance(value, Mapping):
            wrong.append(f"{name} is {type(value).__name__}, not a mapping from case to value")
        elif not value:
            wrong.append(f"{name} has no case: the mapping is empty")
        else:
            for case, one in value.items():
                if not isinstance(case, str) or not case.strip() or not case.isprintable():
                    wrong.append(f"{name} has the case {case!r}; a case is a name on one line")
                elif (name, case) in values:
                    wrong.append(f"{name} has the case {case} twice")
                else:
                    take(values, wrong, name, case, one)
    if wrong:
        raise BadResult("\n".join(wrong))
    return values


@cache
def _declared(function: Any) -> tuple[Any, tuple[tuple[str, bool], ...]]:
    """Return the declared class of a result, and which of its fields have cases."""
    declared = _hints(function)["return"]
    hints = _hints(declared)
    return declared, tuple((name, unit_of(hints[name])[1]) for name in declared._fields)


def _let_through(
    values: dict[tuple[str, str | None], Any], _: list[str], name: str, case: str | None, value: Any
) -> None:
    values[name, case] = value


def _take(
    values: dict[tuple[str, str | None], Any],
    wrong: list[str],
    name: str,
    case: str | None,
    value: Any,
) -> None:
    shown = name if case is None else f"{name}[{case}]"
    if isinstance(value, Absent):
        if case is None:
            wrong.append(f"{shown} is absent; only a case of a quantity may be absent")
        if clean(value.reason) != value.reason:
            wrong.append(f"{shown} is absent for {value.reason!r}, which cannot be shown")
        values[name, case] = value
    elif isinstance(value, bool) or not isinstance(value, Real):
        wrong.append(f"{shown} is {type(value).__name__}, not a number")
    else:
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            wrong.append(f"{shown} is {number}")
        values[name, case] = number


def _fields(result: Any, wrong: list[str]) -> list[Field]:
    if not (isinstance(result, type) and issubclass(result, tuple) and hasattr(result, "_fields")):
        wrong.append("the result is no NamedTuple; write -> Name, a NamedTuple of quantities")
        return []
    fields: list[Field] = []
    hints = _hints(result)
    for name in result._fields:
        unit, by_case = unit_of(hints.get(name))
        if name in RESERVED or keyword.iskeyword(name):
            wrong.append(f"field {name} is named like a method of tuple; rename it")
        elif unit is None:
            wrong.append(f"field {name} has no unit; write {name}: W_h, or Annotated[float,"
                          ' Unit("W h")]')  # fmt: skip
        else:
            fields.append(Field(name, unit, by_case))
    return fields


def _hints(function: Any) -> dict[str, Any]:
    try:
        return typing.get_type_hints(function, include_extras=True)
    except Exception as error:
        raise BadSignature(f"its annotations cannot be read: {error}") from error
