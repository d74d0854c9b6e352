"""Derivatives of every formula of the mission at its inputs, against SymPy's."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import pytest

from closeout.arithmetic.study.sensitivity import gradient
from closeout.arithmetic.symbol.symbolic import symbolic
from closeout.evaluate import describe
from closeout.graph import Request
from closeout.run.opening import opened
from closeout.run.options import Options
from closeout.run.pipeline import Outcome, assessing
from tests.arithmetic import on_sympy

ROOT = Path(__file__).parents[2]
# What the rounding of either side may leave, relative to a derivative.
ROUNDING = 5e-14
# So many verifications at the least rest on a formula; the others on marches, orbits and chains.
LEAST_FORMULAS = 25


def asked_of_the_mission() -> list[Request]:
    """Return what each verification by analysis asks; nothing is answered for it."""
    with (
        opened(ROOT) as (snapshot, store),
        assessing(snapshot, store, Options(), about=lambda _: frozenset()) as one,
    ):
        assert not isinstance(one, Outcome)
        return [
            request
            for request in one.checked.plan.requests.values()
            if request.question is not None
        ]


@pytest.mark.slow
def test_derivatives_of_every_formula_are_those_of_sympy() -> None:
    formulas = 0
    for request in asked_of_the_mission():
        assert request.spec is not None
        assert request.question is not None
        if request.question.chain is not None:  # of one analysis by its own arguments
            continue
        analysis = getattr(importlib.import_module(request.spec.module), request.spec.function)

        def evaluate(point: Any, one: Any = analysis) -> Any:
            numbers = all(type(value) is float for value in point.values())
            return describe.values_of(one, one.function(**point), numbers)

        inputs, quantity = dict(request.question.inputs), request.verification.criterion.quantity
        key = next(key for key in evaluate(inputs) if key[0] == quantity)
        form = symbolic(evaluate, inputs, request.question.box, [key])
        if form.stage(key) is not None:
            formulas += 1
            expected = on_sympy.gradient(form, key)
            assert gradient(form, key) == pytest.approx(expected, rel=ROUNDING, abs=0.0), key
    assert formulas >= LEAST_FORMULAS
