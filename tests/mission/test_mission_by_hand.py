"""Each worst case of the mission, done again: the function, called in plain Python.

The inputs are those that the package prints: nominal ones, and those at the end that decides.
"""

from __future__ import annotations

import importlib
import math
from pathlib import Path
from typing import Any

import pytest

from closeout.cli.common import opened
from closeout.measure import Units
from closeout.model.study import Study
from closeout.render.hand_sum import deciding_end
from closeout.run.options import Options
from closeout.run.pipeline import Outcome, assess
from closeout.run.studies import Wanted

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    """The mission at CDR with its studies, as the package has them."""
    wanted = Wanted(None, boundary=(), marches=False, differentiated=False)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(ROOT)
        with opened(None) as (snapshot, store):
            return assess(snapshot, store, Options("CDR", (), (), 2, None), None, wanted)


def given(result: Any, study: Study) -> float:
    """Return the studied quantity of what an analysis returned, of a case where it has several."""
    value = getattr(result, study.quantity)
    return float(value if study.case is None else value[study.case])


def test_the_function_gives_the_value_at_both_points(outcome: Outcome) -> None:
    specs = {spec.name: spec for spec in outcome.dossier.analyses}
    values = {
        (result.id, one.number, one.case): (one.value, one.unit)
        for result in outcome.dossier.requirements
        for one in result.evidence
    }
    decided, nominal = set(), set()
    for study in outcome.studies:
        spec = specs[study.analysis]
        function = getattr(importlib.import_module(spec.module), spec.function)
        assert [one.name for one in study.arguments] == [one.name for one in spec.arguments]
        here = given(function(**{one.name: one.value for one in study.arguments}), study)
        value, unit = values.get((study.requirement, study.number, study.case), (None, None))
        if value is not None and unit == study.unit:
            assert math.isclose(value, here, rel_tol=1e-12), (study.requirement, value, here)
            nominal.add(study.analysis)
        if study.worst is not None:
            at = {one.name: one.there for one in study.arguments}
            there = given(function(**at), study)
            assert math.isclose(study.worst.value, there, rel_tol=1e-12), study.requirement
            decided.add(study.analysis)
    verified = {study.analysis for study in outcome.studies}
    assert len(verified) >= 25
    # Other units of limits, or a basis by which no one point decides, leave some out.
    assert len(nominal) >= len(verified) - 3, sorted(verified - nominal)
    assert len(decided) >= len(verified) - 6, sorted(verified - decided)


def test_a_derivation_ends_in_the_value_and_its_units_are_read(outcome: Outcome) -> None:
    units = Units()
    derived = 0
    for study in outcome.studies:
        for lines, value in ((study.lines, None), (study.worst and study.worst.lines, study.worst)):
            if not lines:
                continue
            assert lines[-1].quantity == study.quantity
            assert lines[-1].unit == study.unit
            if value is not None:
                assert math.isclose(lines[-1].value, value.value, rel_tol=1e-9), study.requirement
            for line in lines:
                if line.unit:
                    units.scale(line.unit)  # raises on what is no unit
            derived += 1
    assert derived >= 40


def test_the_printed_value_leads_to_the_judged_one(outcome: Outcome) -> None:
    """Seen value, proved end and model uncertainty in that order: none is nearer to the limit."""
    entries = {
        (result.id, one.number, one.case): one
        for result in outcome.dossier.requirements
        for one in result.evidence
    }
    seen = searched = 0
    for study in outcome.studies:
        one = entries.get((study.requirement, study.number, study.case))
        if one is None or study.worst is None or one.chance is not None or one.unit != study.unit:
            continue
        if one.assurance is None or one.assurance.value not in ("bounded", "searched"):
            continue
        value, slack = study.worst.value, 1e-6 * max(abs(study.worst.value), 1e-12)
        assert one.low is not None
        assert one.high is not None
        assert one.low - slack <= value <= one.high + slack, study
        if one.assurance.value == "searched":
            end = deciding_end(one)
            assert end is not None
            assert math.isclose(value, end, rel_tol=1e-9), (study.requirement, value, end)
            searched += 1
        seen += 1
    assert seen >= 25
    assert searched >= 5
