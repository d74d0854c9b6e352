"""Issues: which of two is later, and which one follows."""

from __future__ import annotations

import pytest

from closeout.model.issue import following, is_raised
from closeout.model.records import build_text


@pytest.mark.parametrize(
    ("issue", "next_one"),
    [("A", "B"), ("Y", "Z"), ("a", "b"), ("1", "2"), ("9", "10"), ("2.1", "2.2"), ("AB", "AC")],
)
def test_the_issue_that_follows_is_a_later_one(issue: str, next_one: str) -> None:
    assert following(issue) == next_one
    assert is_raised(issue, next_one)
    assert not is_raised(next_one, issue)


@pytest.mark.parametrize("issue", ["Z", "z", "", "draft-", "AZ"])
def test_what_follows_is_not_guessed(issue: str) -> None:
    assert following(issue) is None


def test_the_word_build_is_said_once() -> None:
    assert build_text("FM-3") == "build FM-3"
    assert build_text("FM-1 build 3") == "FM-1 build 3"
