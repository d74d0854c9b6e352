"""A formula solved for a parameter, as text and for JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from closeout.model.compared import Compared
from closeout.model.solved import Formula, Solution, Solved, SolvedLimit
from closeout.model.study import Edge, Helper, Study
from closeout.render.compared_json import compared_json
from closeout.render.numbers import show, show_extent, with_unit
from closeout.render.plain import flow, safe
from closeout.render.record_history import Past, record_history_json
from closeout.render.study import EDGE_DIGITS, named, toward_the_safe_side
from closeout.render.terminal import Paint, wrap


def solved_text(solved: Sequence[Solved], paint: Paint, width: int, *, latex: bool = False) -> str:
    """Return what each verification says of a parameter, the answer first."""
    blocks = ["\n".join(_lines(one, paint, width, latex)) for one in solved]
    return "\n\n".join(blocks) + "\n\n"


def _lines(one: Solved, paint: Paint, width: int, latex: bool) -> Iterator[str]:
    what = f"{safe(one.requirement)}, Verification {one.number + 1}"
    yield paint.strong(f"{what}, solved for {safe(one.parameter)}")
    if one.failure is not None:
        text = f"not solved ({one.failure.kind}): {flow(one.failure.message)}"
        yield from wrap(f"{text}; {_searched(one)}", width, 2)
    elif one.symbolic is not None:
        yield from wrap(f"not solved, no formula: {flow(one.symbolic)}", width, 2)
    elif not one.acts:
        text = f"{safe(one.parameter)} has no effect on {named(one.quantity, one.case)} here"
        yield from wrap(f"not solved: {text}, so no value of it reaches the limit", width, 2)
    for limit in one.limits:
        yield from _limit(one, limit, width, latex)


def _searched(one: Solved) -> str:
    return f"values found by search: see Break-even: {named(one.quantity, one.case)}"


def _limit(one: Solved, limit: SolvedLimit, width: int, latex: bool) -> Iterator[str]:
    bound = show(limit.bound, safe(one.unit), EDGE_DIGITS)
    tighter = f", with {' and '.join(map(safe, one.tightened))}" if one.tightened else ""
    text = f"where {named(one.quantity, one.case)} is {bound}"
    yield from wrap(f"{text}: {safe(one.stated)}{tighter}", width, 2)
    for place, formula in enumerate(limit.formulas):
        yield from _formula(formula, latex, width)
        yield from _values(one, [s for s in limit.solutions if s.formula == place], width)
    yield from _values(one, [s for s in limit.solutions if s.formula is None], width)
    yield from _remarks(one, limit, width)


def _formula(formula: Formula, latex: bool, width: int) -> Iterator[str]:
    lines = (
        (formula.latex, formula.numbers_latex) if latex else (formula.text, formula.numbers_text)
    )
    for indent, line in zip((4, 6), lines, strict=True):
        yield from wrap(safe(line.strip()), 10**6 if latex else width, indent)


def _values(one: Solved, solutions: Iterable[Solution], width: int) -> Iterator[str]:
    for solution in solutions:
        value = _value(one, solution)
        declared = _declared(one, solution.value)
        text = f"other parameters at {solution.other_inputs}: {value}, {declared}"
        parts = [text, _met_where(solution), *map(safe, solution.remarks)]
        if not solution.settled:
            parts.append("a worse corner of the other parameters may exist")
        yield from wrap("; ".join(filter(None, parts)), width, 4)


def _value(one: Solved, solution: Solution) -> str:
    """Return a value rounded to the side on which the criterion holds, where that is one side."""
    if solution.below is None or solution.above is None or solution.below is solution.above:
        return show(solution.value, safe(one.parameter_unit), EDGE_DIGITS)
    direction = "above" if solution.below else "below"
    edge = Edge(
        one.parameter, one.parameter_unit, one.now, solution.value, solution.other_inputs, None,
        direction, True, True, None,
    )  # fmt: skip
    return with_unit(toward_the_safe_side(edge), safe(one.parameter_unit))


def _declared(one: Solved, value: float) -> str:
    """Return where a value lies against what is declared."""
    if one.low == one.high:
        relation = "is" if value == one.now else "above" if value > one.now else "below"
        return f"{relation} the declared {show(one.now, safe(one.parameter_unit))}"
    _, low, high = show_extent(one.now, one.low, one.high, safe(one.parameter_unit))
    if value < one.low:
        return f"below the declared {low} to {high}"
    return f"{'above' if value > one.high else 'in'} the declared {low} to {high}"


def _met_where(solution: Solution) -> str:
    words = {True: "met", False: "not met", None: "has no value"}
    if solution.below is solution.above:
        return f"{words[solution.below]} on both sides"
    return f"{words[solution.below]} below, {words[solution.above]} above"


def _remarks(one: Solved, limit: SolvedLimit, width: int) -> Iterator[str]:
    """Yield what is missing, that there are several, and how the values were checked."""
    for place in dict.fromkeys(solution.other_inputs for solution in limit.solutions):
        several = [s for s in limit.solutions if s.other_inputs == place]
        if len(several) > 1:
            yield from wrap(f"other parameters at {place}: {len(several)} solutions", width, 4)
    for reason in limit.reasons:
        yield from wrap(f"incomplete: {flow(reason)}", width, 4)
    if not limit.solutions:
        why = "" if limit.reasons else ": SymPy finds no value that reaches the limit"
        yield from wrap(f"no solution{why}; {_searched(one)}", width, 4)
        return
    text = f"each value checked in {safe(one.analysis)}: the limit is reached there"
    ways = "; intermediate names: see the derivation" if limit.formulas else ""
    yield from wrap(text + ways, width, 4)


def explained_json(
    identifier: str,
    studies: Iterable[Study],
    solved: Iterable[Solved],
    compared: Iterable[Compared] = (),
    history: Iterable[Past] = (),
) -> dict[str, Any]:
    """Return the formulas of a requirement: derivations, derivatives, and what was solved.

    And what was predicted and measured of it, and its records.

    Numbers are in the units beside them. Each formula is there as text, LaTeX and MathML.
    """
    return {
        "format": 1,
        "id": identifier,
        "derivations": [_derivation(one) for one in studies if one.failure is None],
        "solved": [_solved_json(one) for one in solved],
        "predicted_and_measured": compared_json(compared),
        "records": record_history_json(identifier, history),
    }


def _derivation(study: Study) -> dict[str, Any]:
    return {
        **_what(study),
        "not_symbolic": study.symbolic,
        "steps": [{**line._asdict()} for line in study.lines],
        "worst": _worst(study),
        "arguments": [{**one._asdict()} for one in study.arguments],
        "functions": [_helper(one) for one in study.helpers],
        "tables": [{**table._asdict()} for table in study.tables],
        "derivatives": [{**slope._asdict()} for slope in study.slopes],
    }


def _worst(study: Study) -> dict[str, Any] | None:
    """Return the derivation where the box decides; inputs that are not named are nominal."""
    if study.worst is None:
        return None
    return {
        "value": study.worst.value,
        "at": dict(study.worst.at),
        "steps": [{**line._asdict()} for line in study.worst.lines],
        "functions": [_helper(one) for one in study.worst.helpers],
    }


def _helper(one: Helper) -> dict[str, Any]:
    """Return a call of a function of the author: what it took, what it gave."""
    parts = {"took": [p._asdict() for p in one.took], "gave": [p._asdict() for p in one.gave]}
    return {**one._asdict(), **parts}


def _what(one: Study | Solved) -> dict[str, Any]:
    return {
        "verification": one.number + 1, "analysis": one.analysis, "quantity": one.quantity,
        "case": one.case, "unit": one.unit,
    }  # fmt: skip


def _solved_json(one: Solved) -> dict[str, Any]:
    return {
        **_what(one),
        "parameter": one.parameter, "parameter_unit": one.parameter_unit,
        "declared": {"value": one.now, "low": one.low, "high": one.high},
        "stated": one.stated, "tightened": list(one.tightened),
        "not_solved": _why_not(one),
        "limits": [_limit_json(limit) for limit in one.limits],
    }  # fmt: skip


def _why_not(one: Solved) -> str | None:
    if one.failure is not None:
        return f"{one.failure.kind}: {one.failure.message}"
    return one.symbolic or (None if one.acts else f"{one.parameter} has no effect on it")


def _limit_json(limit: SolvedLimit) -> dict[str, Any]:
    return {
        "limit": limit.limit, "bound": limit.bound,
        "formulas": [formula._asdict() for formula in limit.formulas],
        "solutions": [
            {
                "others" if key == "other_inputs" else key: value
                for key, value in (*solution._asdict().items(), ("remarks", [*solution.remarks]))
            }
            for solution in limit.solutions
        ],
        "reasons": list(limit.reasons),
    }  # fmt: skip
