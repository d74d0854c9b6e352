"""Errors that a user caused have one base; the others are named here, each with its reason."""

from __future__ import annotations

import ast
from pathlib import Path

import closeout
from closeout.measure import UnitError
from closeout.model.errors import UserError

ROOT = Path(closeout.__file__).parent
# What no user caused, or what never leaves the module. Of the arithmetics none does: they ask each
# other whether something can be evaluated.
NOT_BY_USERS = {
    "UserError",  # the base itself
    "PageError",  # a page of a rule, which is ours
    "SchemasDiffer",  # a fault of the tool
    "_Stop",  # ends the reading of a file
    "Failed",  # tells one process from another
}


def test_every_error_that_a_user_caused_has_one_base() -> None:
    found = set()
    for path in ROOT.rglob("*.py"):
        if path.relative_to(ROOT).parts[0] == "arithmetic":
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef):
                bases = {base.id for base in node.bases if isinstance(base, ast.Name)}
                if bases & {"Exception", "ValueError", "TypeError", "RuntimeError"}:
                    found.add(node.name)
    assert found <= NOT_BY_USERS


def test_each_mistake_is_shown_with_its_cure_below() -> None:
    error = UserError("no such review", "there are CDR", ("no =", "write NAME=AMOUNT"), ("hm", ""))
    assert (error.message, error.cure) == ("no such review", "there are CDR")
    assert (
        str(error)
        == error.shown()
        == ("no such review\n    there are CDR\nno =\n    write NAME=AMOUNT\nhm")
    )
    many = UserError.all_of([("no such review", "there are CDR"), ("hm", "")])
    assert many.shown() == "no such review\n    there are CDR\nhm"
    assert UnitError("kJoule is no unit", "write kJ").shown() == ("kJoule is no unit\n    write kJ")
