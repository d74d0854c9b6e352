"""From a character of a scalar's value to its place in the file, in each style of YAML."""

from __future__ import annotations

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from closeout.load import locate
from closeout.model.problem import Finding, Pointer, Severity
from tests.load.memory import Memory

PATH = "requirements/a.yaml"

WRITTEN = {
    "plain": ("a: the word here\n", "word", (1, 8)),
    "plain over lines": ("a: the\n  longest\n  word here\n", "word", (3, 3)),
    "plain in flow": ("{b: x, a: the word, c: d}\n", "word", (1, 15)),
    "folded": ("a: >-\n  the\n  longest\n  word\n", "word", (4, 3)),
    "folded with a comment and an indicator": ("a: >2- # so\n  the\n   word\n", "word", (3, 4)),
    "folded with paragraphs": ("a: >\n\n  the\n\n\n  word\n", "word", (6, 3)),
    "literal": ("# é\na: |\n    the\n      word\n", "word", (4, 7)),
    "single": ("a: 'the '' é word'\n", "word", (1, 14)),
    "single over lines": ("a: 'it''s\n\n   the word'\n", "word", (3, 8)),
    "double": ('a: "\\"the\\" \\u0041\\x42\\t word"\n', "word", (1, 26)),
    "double joined": ('a: "the \\\n  longest \\\n  \\ word"\n', "word", (3, 5)),
    "an escape is the character": ('a: "x \\U0001F6F0 y"\n', "\U0001f6f0", (1, 7)),
    "carriage returns": ("a: the\r\n  longest\r\n  word\r\n", "word", (3, 3)),
    "white space is at what follows": ("a: the\n  word\n", " word", (2, 3)),
}


def place(text: str, offset: int | None, steps: tuple[str | int, ...] = ("a",)) -> tuple[int, int]:
    finding = Finding("r", Severity.WARNING, Pointer(PATH, steps), "m", "c", offset)
    (problem,) = locate(Memory({PATH: text}), [finding])
    return problem.line, problem.column


@pytest.mark.parametrize("name", WRITTEN)
def test_place_of_a_word(name: str) -> None:
    text, word, expected = WRITTEN[name]
    assert place(text, yaml.safe_load(text)["a"].index(word)) == expected


@pytest.mark.parametrize("offset", [10, 10**6, -1])
def test_an_offset_outside_is_placed_in_the_file(offset: int) -> None:
    line, column = place("a: word\n", offset)
    assert (line, column) >= (1, 4)


def test_an_offset_into_what_is_no_text() -> None:
    assert place("a: [x, y]\n", 1) == place("a: [x, y]\n", None)
    assert place("a: x\n", 3, ("gone",)) == (1, 1)
    assert place("a: x\n", 3, ("a", "b")) == (1, 4)


@given(
    st.lists(
        st.text(
            st.characters(exclude_categories=["Cs", "Cc", "Cn"], exclude_characters="\ufeff"),
            min_size=1,
            max_size=12,
        ),
        min_size=1,
        max_size=30,
    ),
    st.sampled_from([None, "'", '"', "|", ">"]),
    st.integers(10, 60),
)
def test_each_character_stands_where_it_is_said(
    words: list[str], style: str | None, width: int
) -> None:
    """Held against PyYAML's own emitter: the places rise, and each shows its character."""
    value = " ".join(words)
    text = yaml.safe_dump(
        {"a": value}, default_style=style, width=width, allow_unicode=True, sort_keys=False
    )
    lines = text.split("\n")
    if yaml.safe_load(text) != {"a": value} or "\u2028" in text or "\u2029" in text:
        return  # PyYAML's emitter and our refusals differ on line separators
    last = (0, 0)
    for offset, character in enumerate(value):
        if character.isspace():
            continue
        here = place(text, offset)
        shown = lines[here[0] - 1][here[1] - 1]
        assert shown in (character, "\\"), offset
        assert here > last
        last = here
