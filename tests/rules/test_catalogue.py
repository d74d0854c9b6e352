"""Every rule that the tool can print has a page, and pages name nothing that it cannot print."""

from __future__ import annotations

from pathlib import Path

import closeout
from closeout.model.problem import Severity
from closeout.rules.catalogue import RULES
from closeout.rules.rule import KINDS
from tests.rules.emitted import emitted

ROOT = Path(closeout.__file__).parent


def test_every_rule_that_the_source_can_emit_has_a_page_and_no_page_is_left_over():
    found = emitted(ROOT)
    assert set(found) - set(RULES) == set(), {n: found[n] for n in set(found) - set(RULES)}
    assert set(RULES) - set(found) == set()


def test_the_search_sees_what_it_is_meant_to_see(tmp_path):
    (tmp_path / "module.py").write_text(
        "from dataclasses import dataclass\n"
        "@dataclass\nclass Finding:\n    rule: str\n    message: str\n"
        "def warning(rule, message): return Finding(rule, message)\n"
        "TABLE = {'a': 'from-table'}\n"
        "def told():\n    return 'from-tuple', 1\n"
        "def f(kind):\n"
        "    yield warning('plain-one', '')\n"
        "    rule = 'if-one' if kind else 'else-one'\n"
        "    yield Finding(rule, '')\n"
        "    other = TABLE.get(kind, 'by-default')\n"
        "    yield Finding(rule=other, message='')\n"
        "    third, _ = told()\n"
        "    yield warning(third, '')\n"
        "    for row, text in (('from-row', 1), ('from-other-row', 2)):\n"
        "        yield warning(row, text)\n"
    )
    assert set(emitted(tmp_path)) == {
        "plain-one", "if-one", "else-one", "from-table", "by-default", "from-tuple",
        "from-row", "from-other-row",
    }  # fmt: skip


def test_pages_are_whole():
    for rule in RULES.values():
        assert rule.kind in KINDS, rule.name
        assert rule.breaks != rule.keeps, rule.name
        assert not rule.title.endswith("."), rule.name
        assert rule.why.endswith("."), rule.name


def test_rules_of_standards_and_wording_are_warnings_and_no_other_can_be_switched_off():
    for rule in RULES.values():
        assert rule.adjustable == (rule.kind in ("standard", "wording")), rule.name
        if rule.adjustable:
            assert rule.severity is Severity.WARNING, rule.name
