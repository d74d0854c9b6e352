"""A study of one quantity: its derivation, what drives it, where its criterion breaks.

Everything is bounded by counts of evaluations, never by the clock, so that a study repeats. An
analysis without a symbolic form may be a slow one (a march in time) and is searched less far.
Pure: no process, no file.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, NamedTuple, TypeVar

from closeout.arithmetic.chance import spread
from closeout.arithmetic.recorded.recorded import Value
from closeout.arithmetic.study.break_even import (
    FINEST,
    REACH,
    Possible,
    boundary,
    break_even,
    nearest_first,
)
from closeout.arithmetic.study.derivation import derivation
from closeout.arithmetic.study.helpers import helpers
from closeout.arithmetic.study.sensitivity import Sensitivity, sensitivities
from closeout.arithmetic.study.worst_corners import WorstCorners
from closeout.arithmetic.symbol.symbolic import Symbolic, nodes_below, symbolic
from closeout.arithmetic.types import At, Box, Evaluate, Key
from closeout.model.answer import Bounds
from closeout.model.study import (
    BreakEven,
    Coordinate,
    Differentiated,
    Driver,
    Helper,
    Line,
    Look,
    Plane,
    Quantiles,
    StudyFound,
    Worst,
)

T = TypeVar("T")

FIRST = 5
# Drivers by which the quantity is differentiated as a formula.
STRONGEST = 3


class Budget(NamedTuple):
    """How far break-even values are searched, with how many evaluations, and how exactly.

    Reach and exactness are in tolerances.
    """

    reach: float
    evaluations: int
    finest: float


# A formula costs some microseconds; of a march in time, each evaluation may cost a tenth second.
# Five digits are shown; the last bits of a march are its rounding and the length of its steps.
FORMULA = Budget(REACH, 20_000, FINEST)
MARCH = Budget(8.0, 600, 1e-7)
# Rays of a boundary; each costs a few dozen evaluations.
# Where no parameter alone turns the verdict within so many tolerances, two of them do not within
# four: straight lines at right angles are nearer by no more than the root of two.
NEAR = 6.0
RAYS = 72
MARCH_RAYS = 24
# How exact the points of a boundary are, in tolerances: it is a picture.
DRAWN_TO = 1e-4


class _Spent(BaseException):
    """The evaluations are used up; no Exception, which a search takes for a fault of the author."""


class _Counted:
    """An analysis that may be evaluated so many times, and once at the point where all begin."""

    def __init__(self, evaluate: Evaluate, left: int, begin: Mapping[str, Any]) -> None:
        self._evaluate = evaluate
        self._begin = begin
        self._there: Mapping[Key, Any] | None = None
        self.left = left

    def __call__(self, point: Mapping[str, Any]) -> Mapping[Key, Any]:
        begins = point == self._begin
        if begins and self._there is not None:
            return self._there
        if self.left <= 0:
            raise _Spent
        self.left -= 1
        found = self._evaluate(point)
        if begins:
            self._there = found
        return found


def study(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, detail: Mapping[str, Any]
) -> StudyFound:
    """Return what was found of a quantity.

    A part that cannot be had is empty or not whole, and ``reasons`` says why, by its name. Only
    what the analysis raises at the inputs goes through to the caller.

    Args:
        evaluate: the analysis on numbers, arrays and symbols, which it must let through.
        inputs: the nominal point.
        box: low and high end of each parameter that has a spread.
        detail: ``quantity``, ``case``, ``at_least``, ``at_most`` (in the analysis' unit, None where
            there is none), ``corner`` (names and values at the worst point of the box),
            ``decides`` (those at the point that the verdict is about, if any), ``units``
            (by quantity); ``groups``, ``sides``, ``drawn``, ``seed`` as for
            :mod:`.chance.spread`; ``boundary`` (two parameters, empty for the two that
            drive most, None for none), ``quantile`` (coverage and confidence, or None),
            ``possible`` (what arguments can be at all), ``unset`` (inputs that nobody can set, as
            what a model below is off: they turn no verdict), ``met_everywhere`` (whether the
            criterion is known to hold all over the box), ``marches`` (break-even values without a
            symbolic form too), ``differentiated`` (derivatives as formulas too, for which SymPy is
            imported).
    """
    key: Key = (detail["quantity"], detail["case"])
    evaluate(inputs)
    form, why = _form(evaluate, inputs, box, key)
    parts = _Parts(evaluate, inputs, box, key, detail, form)
    driven = parts.several("sensitivities", lambda: sensitivities(evaluate, inputs, box, key, form))
    able = [name for name in _in_order(inputs, driven) if name not in detail["unset"]]
    edges = parts.edges(able)
    drawn = detail["drawn"]
    return StudyFound(
        symbolic=why,
        drivers=tuple(_driver(one) for one in driven),
        break_even=tuple(edges),
        boundary=parts.boundary(driven, edges),
        root_sum_square=parts.spread("root sum square", spread.root_sum_square),
        factors=(parts.spread("Sobol indices", spread.sobol) if drawn else None) or (),
        quantiles=parts.quantiles(),
        lines=parts.derivation(),
        differentiated=parts.differentiated(driven),
        reasons=parts.reasons,
        worst=parts.worst(),
        tables=parts.tables(),
        helpers=parts.helpers(),
    )


def _driver(one: Sensitivity) -> Driver:
    return Driver(
        one.parameter, one.derivative, one.effect_low, one.effect_high, one.share, one.exact
    )


class _Parts:
    """The parts of one study; why one cannot be had goes to ``reasons``."""

    def __init__(
        self,
        evaluate: Evaluate,
        inputs: Mapping[str, float],
        box: Box,
        key: Key,
        detail: Mapping[str, Any],
        form: Symbolic | None,
    ) -> None:
        self.reasons: dict[str, str] = {}
        self._evaluate = evaluate
        self._inputs = inputs
        self._box = box
        self._key = key
        self._detail = detail
        self._form = form
        self._bounds = Bounds(detail["at_least"], detail["at_most"])
        self._corner: At = tuple((name, value) for name, value in detail["corner"])
        self._decides: At = tuple((name, value) for name, value in detail["decides"])

    def part(self, name: str, make: Callable[[], T]) -> T | None:
        """Return a part of the study; None where it cannot be had, with the reason."""
        try:
            return make()
        except Exception as error:
            self.reasons[name] = _message(error)
            return None

    def several(self, name: str, make: Callable[[], tuple[T, ...]]) -> tuple[T, ...]:
        """Return a part that has several; none where it cannot be had."""
        return self.part(name, make) or ()

    def spread(self, name: str, make: Callable[..., T]) -> T | None:
        """Return a part of :mod:`closeout.arithmetic.chance.spread`, if anything has a spread."""
        if not self._box:
            return None
        return self.part(
            name, lambda: make(self._evaluate, self._inputs, self._box, self._key, self._detail)
        )

    def quantiles(self) -> Quantiles | None:
        """Return the bounds of a share of all values, where they are asked for."""
        if not self._detail["quantile"]:
            return None
        if not self._box:
            self.reasons["quantiles"] = "no input has a tolerance here"
        return self.spread("quantiles", spread.quantiles)

    def edges(self, names: list[str]) -> list[BreakEven]:
        """Return break-even values with the other inputs at nominal, then at worst."""
        if self._bounds == Bounds():
            self.reasons["break-even"] = "there is no limit"
            return []
        if self._form is None and not self._detail["marches"]:
            self.reasons["break-even"] = "it computes step by step; closeout explain searches them"
            return []
        budget = MARCH if self._form is None else FORMULA
        found: list[BreakEven] = []
        for corner in (None, self._corner) if self._corner else (None,):
            found += _edges(
                self._evaluate, self._inputs, self._box, self._key, self._bounds, corner, names,
                budget, self.reasons, self._detail["possible"], self._detail["met_everywhere"],
            )  # fmt: skip
        return found

    def boundary(self, driven: tuple[Sensitivity, ...], edges: list[BreakEven]) -> Plane | None:
        """Return where the criterion turns in the plane of two parameters.

        Where none are named, not of a march, nor where no parameter turns the verdict anywhere
        near.
        """
        wanted = self._detail["boundary"]
        if wanted is None:
            return None
        if self._bounds == Bounds():
            self.reasons["boundary"] = "there is no limit"
            return None
        unset = self._detail["unset"]
        names = list(wanted) or [
            o.parameter for o in driven if o.share and o.parameter not in unset
        ]
        names = names[:2]
        near = any(e.tolerances is not None and e.tolerances <= NEAR for e in edges)
        if len(names) < 2 or (not wanted and (self._form is None or not near)):
            return None
        return self.part("boundary", lambda: self._plane(*names))

    def _plane(self, first: str, second: str) -> Plane:
        for name in (first, second):
            if name not in self._inputs:
                raise LookupError(f"{name} is no argument of the analysis")
        rays = RAYS if self._form is not None else MARCH_RAYS
        lines = [
            boundary(
                self._evaluate, self._inputs, self._box, self._key, self._bounds, first, second,
                corner, rays=rays, finest=DRAWN_TO, possible=self._detail["possible"],
            )
            for corner in ((None, self._corner) if self._corner else (None,))
        ]  # fmt: skip
        return Plane(
            self._coordinate(first), self._coordinate(second),
            lines[0], lines[1] if len(lines) > 1 else None,
        )  # fmt: skip

    def _coordinate(self, name: str) -> Coordinate:
        now = self._inputs[name]
        low, high = next(((a, b) for side, a, b in self._box if side == name), (now, now))
        return Coordinate(name, now, low, high)

    def derivation(self) -> tuple[Line, ...]:
        """Return the lines of a hand calculation, where there is a symbolic form."""
        form = self._form
        if form is None:
            return ()
        units = self._detail["units"]
        return self.several("derivation", lambda: derivation(form, units, self._key))

    def worst(self) -> Worst | None:
        """Return the quantity where it is decided, derived there too; None where no point is."""
        if not self._decides:
            return None
        return self.part("the deciding point", self._where_it_is_decided)

    def _where_it_is_decided(self) -> Worst:
        point = {**self._inputs, **dict(self._decides)}
        value = float(self._evaluate(point)[self._key])
        lines: tuple[Line, ...] = ()
        used: tuple[Helper, ...] = ()
        if self._form is not None:
            # Recorded anew: another branch of the formula may be taken there.
            form, _ = _form(self._evaluate, point, (), self._key)
            if form is not None:
                lines = derivation(form, self._detail["units"], self._key)
                used = helpers(form, self._key)
        return Worst(value, self._decides, lines, used)

    def helpers(self) -> tuple[Helper, ...]:
        """Return the functions that the derivation uses, with what they took and gave."""
        form = self._form
        return () if form is None else self.several("functions", lambda: helpers(form, self._key))

    def tables(self) -> tuple[Look, ...]:
        """Return the tables that the derivation looks up, each once."""
        stage = None if self._form is None else self._form.stage(self._key)
        if self._form is None or stage is None or not isinstance(stage.node, Value):
            return ()
        needed = set(nodes_below([stage.node]))
        found: dict[Look, None] = {}
        for node, name in self._form.tables.items():
            if node not in needed:
                continue
            points = tuple((float(x), float(y)) for x, y in node.operands[1])
            found[Look(name, points)] = None
        return tuple(found)

    def differentiated(self, driven: tuple[Sensitivity, ...]) -> tuple[Differentiated, ...]:
        """Return the derivatives by the strongest drivers as formulas, where they are wanted."""
        form = self._form
        slopes = {
            one.parameter: one.derivative
            for one in driven[:STRONGEST]
            if one.exact and one.share and one.derivative is not None
        }
        if form is None or not slopes or not self._detail["differentiated"]:
            return ()
        from closeout.arithmetic.symbol.differentiated import differentiated

        return self.several("differentiated", lambda: differentiated(form, self._key, slopes))


def _message(error: Exception) -> str:
    first = (str(error).strip().splitlines() or [""])[0][:300]
    return f"{type(error).__name__}: {first}" if first else type(error).__name__


def _form(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, key: Key
) -> tuple[Symbolic | None, str | None]:
    """Return the symbolic form of a quantity, or why it has none."""
    try:
        form = symbolic(evaluate, inputs, box, [key])
    except Exception as error:
        return None, _message(error)
    if form.stage(key) is None:
        return None, form.reasons.get(key, "the analysis does not give it on symbols")
    return form, None


def _in_order(inputs: Mapping[str, float], driven: tuple[Sensitivity, ...]) -> list[str]:
    """Return the arguments, what drives the quantity most first: what is left out matters least."""
    first = [one.parameter for one in driven]
    return first + [name for name in inputs if name not in first]


def _edges(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    key: Key,
    bounds: Bounds,
    corner: At | None,
    names: list[str],
    budget: Budget,
    reasons: dict[str, str],
    possible: Possible,
    met_everywhere: bool,
) -> list[BreakEven]:
    """Return the first five break-even values, over as many arguments as the budget allows.

    Then each argument that turns nothing, with how far was searched.
    """
    counted = _Counted(evaluate, budget.evaluations, {**inputs, **dict(corner or ())})
    found: list[BreakEven] = []
    for number, name in enumerate(names):
        side = tuple(one for one in box if one[0] == name)
        at, label = {name: inputs[name]}, None if corner is None else ()
        corners = WorstCorners(counted, inputs, box, key, bounds, corner or ())
        along = partial(
            break_even, corners, at, side, key, bounds, label, budget.reach, possible,
            met_everywhere, budget.finest,
        )  # fmt: skip
        try:
            # One argument at a time, so that what was found of the earlier ones stays.
            edges = along()
            # Of a march only the worst corner of the whole box: each look costs many evaluations.
            while corner is not None and budget is FORMULA and _worse(corners, edges):
                edges = along()
            found += edges
        except _Spent:
            place = "nominal" if corner is None else "worst"
            text = (
                f"with the other inputs at {place}, {number} of {len(names)} parameters were "
                f"searched within {budget.evaluations} evaluations"
            )
            reasons["break-even"] = "; ".join(filter(None, (reasons.get("break-even"), text)))
            break
    found.sort(key=lambda one: nearest_first(one, inputs))
    turning = [one for one in found if one.value is not None]
    return turning[:FIRST] + [one for one in found if one.value is None]


def _worse(corners: WorstCorners, edges: tuple[BreakEven, ...]) -> bool:
    """Return whether a worse corner of the other inputs was found where the criterion turns."""
    return any(corners.improve(one.parameter, one.value) for one in edges if one.value is not None)
