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
    *wording.RULES,
)
BY_NAME: Mapping[str, Rule] = {rule.name: rule for rule in RULES}
