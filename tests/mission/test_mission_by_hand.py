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


def given(result: Any, quantity: str, case: str | None) -> float:
    """Return a quantity of what an analysis returned, of a case where it has several."""
    value = getattr(result, quantity)
    return float(value if case is None else value[case])


def test_the_function_gives_the_printed_value(outcome: Outcome) -> None:
    specs = {spec.name: spec for spec in outcome.dossier.analyses}
    checked = set()
    for study in outcome.studies:
        spec, worst = specs[study.analysis], study.worst
        runs = [e for e in outcome.dossier.evaluations
                if e.analysis == study.analysis and study.requirement in e.serves]  # fmt: skip
        # An input that another analysis computes has no value of its own at the inputs below it.
        if worst is None or any(run.computed for run in runs):
            continue
        function = getattr(importlib.import_module(spec.module), spec.function)
        moved = dict(worst.at)
        found = []
        for run in runs:
            at = {used.name: moved.get(used.name, used.value) for used in run.inputs}
            result = function(**{one.name: at[one.name] for one in spec.arguments})
            found.append(given(result, study.quantity, study.case))
        said = (study.requirement, study.quantity, worst.value, found)
        assert any(math.isclose(worst.value, one, rel_tol=1e-12) for one in found), said
        checked.add(study.analysis)
    # All but those of which an input is computed by another analysis.
    assert len(checked) >= 18, sorted(checked)


def test_the_printed_value_leads_to_the_judged_one(outcome: Outcome) -> None:
    """Seen value, proved end and model uncertainty in that order: none is nearer to the limit."""
    entries = {
        (result.id, one.number, one.case): one
        for result in outcome.dossier.requirements
        for one in result.evidence
    }
    seen = 0
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
        seen += 1
    assert seen >= 25
