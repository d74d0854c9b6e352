"""Verifications by analysis solved for one parameter, where the limit is met."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from closeout.evaluate.engine import Evaluator
from closeout.graph import Index, Plan, Request, required_margins
from closeout.graph.acceptance import acceptance
from closeout.graph.checks import nearest
from closeout.graph.links import reach_of
from closeout.measure import UnitError, Units
from closeout.measure.scale import LINEAR
from closeout.model.answer import Bounds
from closeout.model.errors import UserError
from closeout.model.question import AnalysisSpec, Failure, Question
from closeout.model.reply import Reply
from closeout.model.solved import Solved, SolvedLimit, SolveFound
from closeout.run.studies import Key, Owned, Ready, Wanted, questions


def check_solve(identifier: str, name: str, index: Index) -> None:
    """Raise what is wrong with solving a requirement for a parameter, as far as is known at once.

    Raises:
        UserError: no such parameter or requirement, no analysis, or none that takes it.
    """
    asked = f"--solve {name}"
    wrong: list[tuple[str, str]] = []
    if name not in index.parameters:
        near = nearest(name, index.parameters)
        cure = f"did you mean {near}?" if near else "name a parameter of the project"
        wrong.append((f"{asked}: there is no parameter {name}", cure))
    if identifier not in index.requirements:
        text = f"{asked}: {identifier} is no requirement, so it has no limit"
        wrong.append((text, _users_named(identifier, index)))
    elif not wrong:
        wrong += _not_taken(asked, identifier, name, index)
    if wrong:
        raise UserError.all_of(wrong)


def _users_named(identifier: str, index: Index) -> str:
    """Return which requirement to name: one that an analysis of that name verifies, if any."""
    spec = index.analyses.get(identifier)
    users = [
        requirement.id
        for requirement, _, verification in index.project.verifications()
        if spec is not None and index.analyses.get(verification.analysis or "") is spec
    ]
    return f"it verifies {', '.join(users)}: name one of them" if users else (
        "name a requirement that an analysis verifies"
    )  # fmt: skip


def _not_taken(asked: str, identifier: str, name: str, index: Index) -> list[tuple[str, str]]:
    """Return why no analysis that verifies a requirement can be solved for a parameter."""
    specs = _specs(identifier, index)
    if not specs:
        cure = "name a requirement that an analysis verifies with a number"
        return [(f"{asked}: no analysis verifies {identifier}", cure)]
    names = sorted({one for spec in specs for one in reach_of(spec, index).parameters})
    if name in names and name not in index.linked:
        return []
    near = nearest(name, names)
    cure = f"did you mean {near}? " if near else ""
    verb = "does" if len(specs) == 1 else "do"
    text = f"{asked}: {' and '.join(spec.function for spec in specs)} {verb} not take {name}"
    return [(text, f"{cure}take one of {', '.join(names)}")]


def _specs(identifier: str, index: Index) -> list[AnalysisSpec]:
    """Return the analyses that verify a requirement, each once."""
    found = (
        index.analyses.get(verification.analysis or "")
        for requirement, _, verification in index.project.verifications()
        if requirement.id == identifier
    )
    return list(dict.fromkeys(spec for spec in found if spec is not None))


def solved(
    identifier: str,
    name: str,
    plan: Plan,
    index: Index,
    units: Units,
    evaluator: Evaluator,
    replies: Mapping[Question, Reply],
    review: str | None,
) -> tuple[Solved, ...]:
    """Return each verification of a requirement whose analysis takes a parameter, solved for it.

    Raises:
        UserError: none of them has a value and a limit, or none is a formula.
    """
    ready = {
        key: one
        for key, one in questions(
            Wanted({identifier}), plan, index, units, evaluator, replies
        ).items()
        if name in dict(one.question.inputs)
    }
    asking = {}
    for key, one in ready.items():
        bounds, tightened = _bounds(one.asked, index, units, review)
        if bounds.at_least is not None or bounds.at_most is not None:
            asking[key] = (one, _question(one, name, bounds), tightened)
    if not asking:
        text = f"--solve {name}: {identifier} has no quantity with a decided limit"
        raise UserError(text, f"closeout explain {identifier} says why")
    specs = {spec.name: spec for spec in index.specs}
    result = evaluator.study(
        SolveFound,
        dict.fromkeys(question for _, question, _ in asking.values()),
        specs,
        plan.below,
    )
    found = [
        _solved(key, one, name, tightened, result[question], index, units)
        for key, (one, question, tightened) in asking.items()
    ]
    _check_formulas(identifier, name, found)
    return tuple(found)


def _question(ready: Ready, name: str, bounds: Bounds) -> Question:
    known = json.loads(ready.question.detail)
    detail = {
        "quantity": known["quantity"], "case": known["case"], "corner": known["corner"],
        "at_least": bounds.at_least, "at_most": bounds.at_most, "parameter": name,
    }  # fmt: skip
    text = json.dumps(detail, separators=(",", ":"))
    return ready.question._replace(kind="solve", detail=text)


def _bounds(
    asked: Request, index: Index, units: Units, review: str | None
) -> tuple[Bounds, tuple[str, ...]]:
    """Return the limits that decide, for values of the analysis, and what makes them tighter.

    The model's uncertainty, and the margins that the project's policy enforces.
    """
    bounds, words = asked.tightened, []
    criterion = asked.verification.criterion
    model, unit = asked.acceptance.model, asked.acceptance.limits.unit
    if model is not None:
        words.append(f"{model.text} model uncertainty")
    is_number = asked.verification.basis.probability is None
    for margin in required_margins(criterion.quantity, index, review) if is_number else ():
        if not margin.policy.enforce:
            continue
        try:
            wanted = acceptance(margin.on(criterion.limits, unit, units), model).bounds
        except UnitError:
            continue  # reported as a finding
        bounds = bounds._replace(
            at_least=_tighter(bounds.at_least, wanted.at_least, 1.0),
            at_most=_tighter(bounds.at_most, wanted.at_most, -1.0),
        )
        words.append(str(margin))
    return bounds, tuple(words)


def _tighter(one: float | None, other: float | None, sign: float) -> float | None:
    known = [sign * end for end in (one, other) if end is not None]
    return sign * max(known) if known else None


def _solved(
    key: Key,
    ready: Ready,
    name: str,
    tightened: tuple[str, ...],
    result: SolveFound | Failure,
    index: Index,
    units: Units,
) -> Solved:
    owned = Owned(ready.asked.inputs, index, units)
    at = dict(ready.question.inputs)[name]
    low, high = next(((a, b) for side, a, b in ready.question.box if side == name), (at, at))
    unit, (now, least, most) = owned.numbers(name, (at, low, high))
    criterion = ready.asked.verification.criterion
    quantity = criterion.quantity or ""
    field = ready.spec.field(quantity)
    found = Solved(
        *key, ready.spec.name, quantity, ready.case, "" if field is None else field.unit,
        str(criterion.limits), tightened, name, unit, now, least, most,
    )  # fmt: skip
    if isinstance(result, Failure):
        return found._replace(failure=result)
    known = json.loads(ready.question.detail)["possible"].get(name, (None, None))
    remarks = _Remarks(
        known, low, units, next(u.unit for u in ready.asked.inputs if u.name == name)
    )
    limits = tuple(_limit(one, name, owned, remarks) for one in result.limits)
    return found._replace(symbolic=result.symbolic, acts=result.acts, limits=limits)


def _limit(one: SolvedLimit, name: str, owned: Owned, remarks: _Remarks) -> SolvedLimit:
    """Return a limit whose solutions are in the parameter's own unit, with what is said of them."""
    solutions = []
    for solution in one.solutions:
        _, (shown,) = owned.numbers(name, (solution.value,))
        solutions.append(solution._replace(value=shown, remarks=remarks.of(solution.value)))
    return one._replace(solutions=tuple(solutions))


class _Remarks:
    """What cannot be about a value of a parameter, in the argument's unit."""

    def __init__(
        self, possible: Iterable[float | None], low: float, units: Units, unit: str
    ) -> None:
        self._least, self._most = possible
        try:
            is_amount = units.scale(unit).kind == LINEAR
        except UnitError:
            is_amount = False
        self._is_above_zero = is_amount and low > 0.0

    def of(self, value: float) -> tuple[str, ...]:
        """Return what is said of a value that the parameter cannot have, or was not meant to."""
        if self._least is not None and value < self._least:
            return ("not possible: below the smallest value",)
        if self._most is not None and value > self._most:
            return ("not possible: above the largest value",)
        if self._is_above_zero and value < 0.0:
            return ("it is below zero, and what is declared is above",)
        return ()


def _check_formulas(identifier: str, name: str, found: Iterable[Solved]) -> None:
    """Raise why nothing can be solved, where no analysis is a formula."""
    reasons = [(one.analysis, one.symbolic) for one in found]
    if all(reason is not None for _, reason in reasons):
        cure = f"closeout explain {identifier} searches the value on numbers, under Break-even"
        raise UserError.all_of(
            (f"--solve {name}: {analysis} is no formula: {reason}", cure)
            for analysis, reason in dict.fromkeys(reasons)
        )
