"""What the documents say of the tests that analyses name: run and how they ended, or only named."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from closeout.model.dossier import Dossier
from closeout.model.question import AnalysisSpec
from closeout.model.validation import NamedTest, Tested, Validation
from closeout.render.plain import flow, safe

NOT_RUN = "named, not run"
STATES = {
    Tested.PASSED: "run: passed",
    Tested.FAILED: "run: failed",
    Tested.SKIPPED: "run: skipped",
    Tested.EMPTY: "run: nothing collected",
    Tested.NAMED: NOT_RUN,
}
_TOTALS = (
    (Tested.PASSED, "run and passed"),
    (Tested.FAILED, "run and failed"),
    (Tested.SKIPPED, "skipped"),
    (Tested.EMPTY, "without a collected test"),
    (Tested.NAMED, "named only"),
    (None, "without validation"),
)


def named_test_text(test: NamedTest) -> str:
    """Return a test with what became of it: ``tests/test_lamp.py (run: passed)``."""
    why = f", {flow(test.message)}" if test.message else ""
    return f"{safe(test.named)} ({STATES[test.state]}{why})"


def of(spec: AnalysisSpec, dossier: Dossier) -> list[str]:
    """Return a text of each test that an analysis names."""
    known = {one.analysis: one.tests for one in dossier.validations}
    tests = known.get(spec.name) or map(NamedTest, spec.validated_by)
    return [named_test_text(test) for test in tests]


def judged(dossier: Dossier) -> list[Validation]:
    """Return what is known of the analyses on which verdicts rest."""
    names = {evaluation.analysis for evaluation in dossier.evaluations}
    names |= {name for evaluation in dossier.evaluations for name in evaluation.members}
    return [one for one in dossier.validations if one.analysis in names]


def totals(validations: Iterable[Validation]) -> str:
    """Return ``validation: 30 analyses run and passed, 1 named only``; empty without analyses."""
    counts = Counter(one.state for one in validations)
    parts = [f"{counts[state]} {text}" for state, text in _TOTALS if counts[state]]
    if not parts:
        return ""
    number, _, text = parts[0].partition(" ")
    noun = "analysis" if number == "1" else "analyses"
    return ", ".join([f"validation: {number} {noun} {text}", *parts[1:]])


def left(validations: Iterable[Validation]) -> Iterator[str]:
    """Yield each analysis that is not known to be validated, once any test was run."""
    some = list(validations)
    if all(one.state in (Tested.NAMED, None) for one in some):
        return
    for one in some:
        tests = [named_test_text(test) for test in one.tests if test.state is not Tested.PASSED]
        if tests or not one.tests:
            yield f"{safe(one.analysis)}: {'; '.join(tests) or 'no test named'}"
