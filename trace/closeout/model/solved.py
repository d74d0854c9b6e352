"""A formula solved for a parameter where its limit is met.

A worker tells what it found (:class:`SolveFound`) in the units of the analysis, of which the
tool makes a :class:`Solved` in those of the project.

Named tuples, since workers load it (``evaluate/forking.py``).
"""

from __future__ import annotations

from typing import NamedTuple

from closeout.model.question import Failure


class Formula(NamedTuple):
    """A parameter as a formula, and the same with numbers: plain text, LaTeX and MathML of each."""

    text: str
    latex: str
    mathml: str
    numbers_text: str
    numbers_latex: str
    numbers_mathml: str


class Solution(NamedTuple):
    """A value of a parameter at which a quantity reaches its limit.

    ``other_inputs`` is nominal or worst. ``formula`` is the place of its formula, None where that
    is too long to write. ``value`` is in the parameter's own unit; ``reached`` is what the analysis
    gives there, in the quantity's. ``below`` and ``above`` say whether the criterion holds on that
    side, None where the analysis has no value there. ``settled`` is False where a worse corner of
    the other inputs may be left. ``remarks`` say what cannot be about it.
    """

    other_inputs: str
    formula: int | None
    value: float
    reached: float
    below: bool | None
    above: bool | None
    settled: bool
    remarks: tuple[str, ...] = ()


class SolvedLimit(NamedTuple):
    """One limit: ``bound`` in the quantity's unit, with what is taken off (``tightened``).

    ``reasons`` are why a solution may be missing.
    """

    limit: str
    bound: float
    formulas: tuple[Formula, ...]
    solutions: tuple[Solution, ...]
    reasons: tuple[str, ...]


class SolveFound(NamedTuple):
    """What a worker found, in the units of the analysis and without remarks.

    ``symbolic`` is why there is no formula, or None; ``acts`` whether the input has any part in it.
    """

    symbolic: str | None
    acts: bool
    limits: tuple[SolvedLimit, ...]


class Solved(NamedTuple):
    """A verification solved for a parameter, in the case with the least margin.

    ``stated`` is the limit in the words of the requirement, ``tightened`` what makes it tighter.
    ``unit`` is that of the quantity, ``parameter_unit`` the parameter's own; ``now``, ``low`` and
    ``high`` are its declared value and ends. ``symbolic`` is why the analysis is no formula, None
    where it is one; ``acts`` tells whether the parameter has any part in it.
    """

    requirement: str
    number: int
    analysis: str
    quantity: str
    case: str | None
    unit: str
    stated: str
    tightened: tuple[str, ...]
    parameter: str
    parameter_unit: str
    now: float
    low: float
    high: float
    failure: Failure | None = None
    symbolic: str | None = None
    acts: bool = True
    limits: tuple[SolvedLimit, ...] = ()
