"""Every rule that the tool can find broken, each with its page.

A module of pages has a tuple RULES; a further one is added here.
"""

from __future__ import annotations

from collections.abc import Mapping

from closeout.rules import (
    changed,
    control,
    dated_pages,
    doubtful_pages,
    evidence_pages,
    form,
    formerly_pages,
    planned,
    traces,
    wording,
)
from closeout.rules.rule import Rule

RULES: tuple[Rule, ...] = (
    *form.RULES,
    *traces.RULES,
    *planned.RULES,
    *control.RULES,
    *changed.RULES,
    *dated_pages.RULES,
    *doubtful_pages.RULES,
    *evidence_pages.RULES,
    *formerly_pages.RULES,
    *wording.RULES,
)
# What is told from what a module says of its analyses once it is imported: of each nothing, or not
# all, can be told without. A test holds the first against the examples of all pages.
OF_CODE = (
    "analysis-import",
    "analysis-signature",
    "unknown-analysis",
    "ambiguous-analysis",
    "unused-analysis",
    "unknown-quantity",
    "unknown-parameter",
    "unused-parameter",
    "condition-not-given",
    "given-unused",
    "dependent-parameters",
    "model-uncertainty",
    "analysis-not-validated",
    "worst-case-of-nothing",
)
PARTLY_OF_CODE = ("dangling-reference", "kelvin-meets-celsius", "unit")
BY_NAME: Mapping[str, Rule] = {rule.name: rule for rule in RULES}
