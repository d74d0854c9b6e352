"""Validation: what an analysis says whose own test was run and failed is not to be relied on.

Only a test that failed decides. One that passed proves no verdict, and one that is only named, was
skipped or collects nothing says nothing either way: that is shown beside the verdict.
"""

from __future__ import annotations

from dataclasses import replace

from closeout.judge.limits import Judgement
from closeout.model.dossier import State
from closeout.model.validation import Validation


def validated(judged: list[Judgement], validation: Validation | None) -> list[Judgement]:
    """Return evidence by an analysis with what is known of its validation.

    Where a test failed, what would be met is in error: nothing is shown. What is not met stays so,
    since bad news is not hidden, but no waiver reaches it: its size is not known.
    """
    if validation is None or validation.state is None:
        return judged
    return [_validated(one, validation) for one in judged]


def _validated(one: Judgement, validation: Validation) -> Judgement:
    evidence = replace(one.evidence, validation=validation.state)
    if not validation.failed:
        return one._replace(evidence=evidence)
    text = f"validation failed: {', '.join(test.named for test in validation.failed)}"
    evidence = replace(
        evidence,
        state=State.ERROR if evidence.state is State.MET else evidence.state,
        message=f"{text}; {evidence.message}" if evidence.message else text,
    )
    return one._replace(evidence=evidence, extremes=None)
