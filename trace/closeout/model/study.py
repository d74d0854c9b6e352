"""What drives a verdict, where it breaks, and how its number is derived.

A worker tells what it found (:class:`StudyFound`) in the units of the analysis, of which the
tool makes a :class:`Study` in those of the project.

Named tuples, since workers load it (``evaluate/forking.py``).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
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


class BreakEven(NamedTuple):
    """Where a criterion turns along one parameter, on one side of its nominal value.

    ``value`` is the outermost value at which the criterion still holds (where ``holds``, that is
    where it holds at the nominal value of the parameter), else the first at which it holds; the
    next number that differs from it, or as far as the search is exact, turns. None: not found,
    and ``reason`` says how far was searched, from ``low`` to ``high`` (None: not at all, or it was
    found). ``other_inputs`` is nominal or worst. ``tolerances`` is the
    distance in tolerances of that side: 1 is the end of the box; None without a tolerance.
    ``direction`` is above, below or (not found) neither. ``monotone`` tells whether the quantity
    only rose or only fell over all the points that were evaluated.
    """

    parameter: str
    value: float | None
    other_inputs: str
    tolerances: float | None
    direction: str
    holds: bool
    monotone: bool
    reason: str | None
    low: float | None = None
    high: float | None = None


class Edge(NamedTuple):
    """Where a criterion turns along one parameter, the other inputs at nominal or at worst.

    ``now`` and ``value`` are in ``unit``, the parameter's own. ``value`` is None where the verdict
    does not turn, and ``reason`` says how far was searched, in the unit of the analysis; ``low``
    and ``high`` say it in ``unit`` (None: it was not searched, or was found). ``tolerances`` is the
    distance in tolerances of that side, None without one. ``direction`` is above, below or neither;
    ``holds`` tells whether the criterion holds where the search begins.
    """

    parameter: str
    unit: str
    now: float
    value: float | None
    other_inputs: str
    tolerances: float | None
    direction: str
    holds: bool
    monotone: bool
    reason: str | None
    low: float | None = None
    high: float | None = None


class Line(NamedTuple):
    """A quantity of a hand calculation: its formula, numbers put in, its value and unit.

    Formula and numbers each as plain text, in LaTeX and in MathML.
    """

    quantity: str
    case: str | None
    text: str
    latex: str
    mathml: str
    numbers_text: str
    numbers_latex: str
    numbers_mathml: str
    value: float
    unit: str


class Differentiated(NamedTuple):
    """The derivative by one input, written, and the same with numbers; or why there is none."""

    parameter: str
    text: str = ""
    latex: str = ""
    mathml: str = ""
    numbers_text: str = ""
    numbers_latex: str = ""
    numbers_mathml: str = ""
    reason: str | None = None


class Slope(NamedTuple):
    """The derivative of a quantity by a parameter as a formula; ``reason`` is why there is none.

    ``value`` is its number, in the unit of the quantity for one of ``unit``, the argument's.
    Formula and numbers put in each as plain text, in LaTeX and in MathML.
    """

    parameter: str
    text: str
    latex: str
    mathml: str
    numbers_text: str
    numbers_latex: str
    numbers_mathml: str
    reason: str | None
    value: float
    unit: str


class Ends(NamedTuple):
    """The two ends of a quantity by one method, and a remark (how sure, how far off), or why not.

    In the quantity's own unit; the uncertainty of the model is not in it.
    """

    method: str
    low: float | None
    high: float | None
    remark: str


class Factor(NamedTuple):
    """Sobol indices of a parameter (or all of a group), each with its standard error."""

    names: tuple[str, ...]
    first: float
    first_error: float
    total: float
    total_error: float


class Quantiles(NamedTuple):
    """Bounds of a share of all values with a confidence, each one-sided, and the samples taken."""

    coverage: float
    confidence: float
    low: float
    high: float
    samples: int


Lines = tuple[tuple[tuple[float, float], ...], ...]


class Coordinate(NamedTuple):
    """A parameter of a plane in the units of the analysis: its value and its ends."""

    parameter: str
    now: float
    low: float
    high: float


class Plane(NamedTuple):
    """Where a criterion turns in the plane of two parameters, in the units of the analysis.

    ``nominal`` with the other parameters at nominal, ``worst`` with them at the worst corner.
    """

    first: Coordinate
    second: Coordinate
    nominal: Lines
    worst: Lines | None


class Axis(NamedTuple):
    """A parameter of a boundary: its unit as the project gives it, its value and its ends."""

    parameter: str
    unit: str
    now: float
    low: float
    high: float


class Boundary(NamedTuple):
    """Where a criterion turns in the plane of two parameters: lines of points, in their units.

    ``nominal`` with the other parameters at nominal, ``worst`` with them at the worst corner.
    """

    first: Axis
    second: Axis
    nominal: Lines
    worst: Lines | None

    @property
    def turns(self) -> bool:
        """Whether the criterion turns anywhere as far as was searched."""
        return bool(self.nominal or self.worst)


class Look(NamedTuple):
    """A table that a formula looks up: the name of its function, and its points."""

    name: str
    points: tuple[tuple[float, float], ...]


class Part(NamedTuple):
    """A number that a function took or gave, its name and its unit; empty where it has none."""

    name: str
    value: float
    unit: str


class Helper(NamedTuple):
    """A call of a function of the author on which a derivation rests.

    ``doc`` is its docstring, ``path`` and ``line`` are where it stands; ``took`` and ``gave`` its
    arguments and its result, field by field. ``is_analysis`` where it is one itself, which has a
    report of its own.
    """

    name: str
    doc: str
    path: str
    line: int
    took: tuple[Part, ...]
    gave: tuple[Part, ...]
    is_analysis: bool = False


class Given(NamedTuple):
    """An argument of an analysis: its value at the inputs and where it is decided, in ``unit``.

    ``there`` is None where no one point decides.
    """

    name: str
    unit: str
    value: float
    there: float | None


class Worst(NamedTuple):
    """A quantity at the point of the box that decides, as the analysis gives it there.

    ``at`` are the inputs that differ from the nominal ones; ``value`` and ``at`` are in the units
    of the analysis. ``lines`` are the same derivation with that point's numbers, ``helpers`` the
    functions that it uses; none of what has no symbolic form. ``arguments`` are all that the
    analysis is given there, also what other analyses compute for it.
    """

    value: float
    at: tuple[tuple[str, float], ...]
    lines: tuple[Line, ...]
    helpers: tuple[Helper, ...] = ()
    arguments: tuple[tuple[str, float], ...] = ()


class StudyFound(NamedTuple):
    """What a worker found of one quantity, in the units of the analysis.

    ``symbolic`` is why there is no symbolic form, None where there is one. ``drivers`` have the
    greatest first. ``break_even`` has the first values for the other inputs at nominal and each
    that turns nothing, then the same at worst. ``differentiated`` is of the strongest drivers.
    A part that cannot be had is empty, None or not whole, and ``reasons`` says why, by its name.
    ``worst`` is the quantity where the box decides, None where nothing has a tolerance; ``tables``
    are those that the derivation looks up, ``helpers`` the functions that it uses; ``arguments`` is
    what the analysis is given at the inputs.
    """

    symbolic: str | None
    drivers: tuple[Driver, ...]
    break_even: tuple[BreakEven, ...]
    boundary: Plane | None
    root_sum_square: Ends | None
    factors: tuple[Factor, ...]
    quantiles: Quantiles | None
    lines: tuple[Line, ...]
    differentiated: tuple[Differentiated, ...]
    reasons: Mapping[str, str]
    worst: Worst | None = None
    tables: tuple[Look, ...] = ()
    helpers: tuple[Helper, ...] = ()
    arguments: tuple[tuple[str, float], ...] = ()


class Study(NamedTuple):
    """What was found of one verification by analysis, in the case with the least margin.

    ``number`` is the place of the verification in its requirement, from 0; ``unit`` is the
    quantity's own. ``symbolic`` is why there is no symbolic form, None where there is one.
    ``reasons`` tells why a part (sensitivities, break-even, derivation, Sobol indices, quantiles,
    boundary) is missing or not whole. ``assumed`` are the parameters that are drawn as uniform
    because only their ends are given. ``arguments`` have their units, as they are given at the
    inputs and, where a point decides, there.
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
    slopes: tuple[Slope, ...] = ()
    ends: tuple[Ends, ...] = ()
    factors: tuple[Factor, ...] = ()
    assumed: tuple[str, ...] = ()
    quantiles: Quantiles | None = None
    boundary: Boundary | None = None
    reasons: Mapping[str, str] = MappingProxyType({})
    worst: Worst | None = None
    tables: tuple[Look, ...] = ()
    helpers: tuple[Helper, ...] = ()
    arguments: tuple[Given, ...] = ()
