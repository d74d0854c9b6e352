"""What drives a verdict, where it breaks, and how its number is derived."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from closeout.model.question import Failure


class Driver(NamedTuple):
    """What one parameter does to a quantity, in the units of the analysis.

    ``effect_low`` and ``effect_high`` are what the slope makes of the two ends of its tolerance,
    ``share`` its part of the spread in percent (first order, of the squares). All are None where
    the quantity has no value beside the inputs. ``exact`` is False for a slope by differences.
    """

    parameter: str
    derivative: float | None
    effect_low: float | None
    effect_high: float | None
    share: float | None
    exact: bool


class Edge(NamedTuple):
    """Where a criterion turns along one parameter, the others at nominal or at worst.

    ``now`` and ``value`` are in ``unit``, the parameter's own. ``value`` is None where the verdict
    does not turn, and ``reason`` says how far was searched. ``tolerances`` is the distance in
    tolerances of that side, None without one. ``direction`` is above, below or neither; ``holds``
    tells whether the criterion holds where the search begins.
    """

    parameter: str
    unit: str
    now: float
    value: float | None
    others: str
    tolerances: float | None
    direction: str
    holds: bool
    monotone: bool
    reason: str | None


class Line(NamedTuple):
    """A quantity of a hand calculation: its formula, numbers put in, its value and unit."""

    quantity: str
    case: str | None
    latex: str
    mathml: str
    numbers_latex: str
    numbers_mathml: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Study:
    """What was found of one verification by analysis, in the case with the least margin.

    ``number`` is the place of the verification in its requirement, from 0; ``unit`` is the
    quantity's own. ``symbolic`` is why there is no symbolic form, None where there is one.
    ``reasons`` tells why a part (sensitivities, break even, derivation) is missing or not whole.
    """

    requirement: str
    number: int
    analysis: str
    quantity: str
    case: str | None
    unit: str
    failure: Failure | None = None
    symbolic: str | None = None
    drivers: tuple[Driver, ...] = ()
    edges: tuple[Edge, ...] = ()
    lines: tuple[Line, ...] = ()
    reasons: dict[str, str] = field(default_factory=dict)
