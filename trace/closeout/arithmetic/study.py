"""A study of one quantity: its derivation, what drives it, where its criterion breaks.

Everything is bounded by counts of evaluations, never by the clock, so that a study repeats. An
analysis without a symbolic form may be a slow one (a march in time) and is searched less far.
Pure: no process, no file.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, TypeVar

from closeout.arithmetic.break_even import (
    REACH,
    BreakEven,
    Corner,
    Limits,
    break_even,
    nearest_first,
)
from closeout.arithmetic.derivation import Step, derivation
from closeout.arithmetic.recorded import Key
from closeout.arithmetic.sensitivity import Sensitivity, sensitivities
from closeout.arithmetic.symbolic import Symbolic, symbolic

Evaluate = Callable[[Mapping[str, Any]], Mapping[Key, Any]]
Box = tuple[tuple[str, float, float], ...]
T = TypeVar("T")

FIRST = 5


class Budget(NamedTuple):
    """How far break-even values are searched, in tolerances, and with how many evaluations."""

    reach: float
    evaluations: int


# A formula costs some microseconds; of a march in time, each evaluation may cost a tenth second.
FORMULA = Budget(REACH, 20_000)
MARCH = Budget(8.0, 600)


class _Spent(BaseException):
    """The evaluations are used up; no Exception, which a search takes for a fault of the author."""


class _Counted:
    """An analysis that may be evaluated so many times."""

    def __init__(self, evaluate: Evaluate, left: int) -> None:
        self._evaluate = evaluate
        self.left = left

    def __call__(self, point: Mapping[str, Any]) -> Mapping[Key, Any]:
        if self.left <= 0:
            raise _Spent
        self.left -= 1
        return self._evaluate(point)


def study(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, detail: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what was found of a quantity, in lists and numbers that JSON can hold.

    A part that cannot be had is empty or not whole, and ``reasons`` says why, by its name. Only
    what the analysis raises at the inputs goes through to the caller.

    Args:
        evaluate: the analysis on numbers and symbols, which it must let through.
        inputs: the nominal point.
        box: low and high end of each parameter that has a spread.
        detail: ``quantity``, ``case``, ``at_least``, ``at_most`` (in the analysis' unit, None where
            there is none), ``corner`` (names and values at the worst point of the box) and
            ``units`` (by quantity).

    Returns:
        ``symbolic`` is why there is no symbolic form, or None. ``sensitivities`` has rows of
        parameter, derivative, effect_low, effect_high, share, exact; the greatest first.
        ``break_even`` has the first five rows for the others at nominal, then at worst, each with
        the fields of BreakEven. ``derivation`` has rows of quantity, case, latex, mathml,
        numbers_latex, numbers_mathml, value, unit.
    """
    key: Key = (detail["quantity"], detail["case"])
    limits: Limits = (detail["at_least"], detail["at_most"])
    reasons: dict[str, str] = {}
    evaluate(inputs)
    form, why = _form(evaluate, inputs, box, key)
    driven = _part(
        reasons, "sensitivities", lambda: sensitivities(evaluate, inputs, box, key, form)
    )
    corner = tuple((name, value) for name, value in detail["corner"])
    edges: list[BreakEven] = []
    if limits == (None, None):
        reasons["break even"] = "there is no limit"
    else:
        names = _in_order(inputs, driven)
        budget = MARCH if form is None else FORMULA
        for at in (None, corner) if corner else (None,):
            edges += _edges(evaluate, inputs, box, key, limits, at, names, budget, reasons)
    steps: tuple[Step, ...] = ()
    if form is not None:
        steps = _part(reasons, "derivation", lambda: derivation(form, detail["units"], key))
    return {
        "symbolic": why,
        "sensitivities": [_row(one) for one in driven],
        "break_even": [list(one) for one in edges],
        "derivation": [
            [s.quantity, s.case, s.latex, s.mathml, s.numbers_latex, s.numbers_mathml, s.value,
             s.unit] for s in steps
        ],
        "reasons": reasons,
    }  # fmt: skip


def _part(reasons: dict[str, str], name: str, make: Callable[[], tuple[T, ...]]) -> tuple[T, ...]:
    """Return a part of the study; empty where it cannot be had, with the reason."""
    try:
        return make()
    except Exception as error:
        reasons[name] = _told(error)
        return ()


def _told(error: Exception) -> str:
    first = (str(error).strip().splitlines() or [""])[0][:300]
    return f"{type(error).__name__}: {first}" if first else type(error).__name__


def _form(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, key: Key
) -> tuple[Symbolic | None, str | None]:
    """Return the symbolic form of a quantity, or why it has none."""
    try:
        form = symbolic(evaluate, inputs, box, [key])
    except Exception as error:
        return None, _told(error)
    if form.stage(key) is None:
        return None, form.reasons.get(key, "the analysis does not give it on symbols")
    return form, None


def _row(one: Sensitivity) -> list[Any]:
    return [
        one.parameter, one.derivative, one.effect_low, one.effect_high, one.share, one.exact,
    ]  # fmt: skip


def _in_order(inputs: Mapping[str, float], driven: tuple[Sensitivity, ...]) -> list[str]:
    """Return the arguments, what drives the quantity most first: what is left out matters least."""
    first = [one.parameter for one in driven]
    return first + [name for name in inputs if name not in first]


def _edges(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    key: Key,
    limits: Limits,
    corner: Corner | None,
    names: list[str],
    budget: Budget,
    reasons: dict[str, str],
) -> list[BreakEven]:
    """Return the first five break-even values, over as many arguments as the budget allows."""
    counted = _Counted(evaluate, budget.evaluations)
    others = {**inputs, **dict(corner or ())}
    found: list[BreakEven] = []
    for number, name in enumerate(names):
        side = tuple(one for one in box if one[0] == name)
        try:
            # One argument at a time, so that what was found of the others stays.
            found += break_even(
                lambda point: counted({**others, **point}),
                {name: inputs[name]}, side, key, limits, None if corner is None else (),
                budget.reach,
            )  # fmt: skip
        except _Spent:
            label = "nominal" if corner is None else "worst"
            text = (
                f"with the others at {label}, {number} of {len(names)} parameters were searched "
                f"within {budget.evaluations} evaluations"
            )
            reasons["break even"] = "; ".join(filter(None, (reasons.get("break even"), text)))
            break
    return sorted(found, key=lambda one: nearest_first(one, inputs))[:FIRST]
