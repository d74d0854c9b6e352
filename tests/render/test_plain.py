from __future__ import annotations

import unicodedata

from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from closeout.render.page import doc_markdown
from closeout.render.plain import cell, columns, cut, fenced, flow, markdown, pad, safe
from tests.render.dossiers import EVIL
from tests.render.reading import one_line

GFM = MarkdownIt("gfm-like", {"html": True, "linkify": False})


def words(text: str) -> st.SearchStrategy[str]:
    return st.text(alphabet=st.sampled_from(text), max_size=40)


MARKS = words("\\`*_{}[]<>()#+-.!|~&$@:/= 1a\n\tb;é")


@given(st.text())
@example("\x1b[31m\u202e\u200b\x07\n")
def test_safe_leaves_no_character_that_acts(text: str) -> None:
    for character in safe(text):
        assert unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


def test_safe_shows_what_was_there() -> None:
    assert safe("\x1b[31m\u202e") == r"\x1b[31m\u202e"
    assert safe("Ω ± 1 °C 日本") == "Ω ± 1 °C 日本"


@given(MARKS)
@example("# h")
@example("1. x")
@example("---")
@example("&lt;")
@example("[a](b)")
@example("a_b_c _d_")
@example("===")
def test_markdown_of_a_text_is_only_that_text(text: str) -> None:
    tokens = GFM.parse(f"{markdown(text)}\n")
    assert [token.type for token in tokens if token.type != "inline"] in (
        [],
        ["paragraph_open", "paragraph_close"],
    )
    shown = ""
    for token in tokens:
        for child in token.children or ():
            assert child.type in ("text", "text_special"), (child.type, markdown(text))
            shown += child.content
    assert one_line(shown) == one_line(flow(text))


@given(MARKS, MARKS)
def test_a_cell_stays_one_cell(left: str, right: str) -> None:
    text = f"| a | b |\n| --- | --- |\n| {markdown(left)} | {markdown(right)} |\n"
    tokens = GFM.parse(text)
    assert sum(token.type == "td_open" for token in tokens) == 2
    shown = [
        "".join(child.content for child in token.children or ())
        for token in tokens
        if token.type == "inline"
    ]
    assert [one_line(cell) for cell in shown[2:]] == [one_line(flow(left)), one_line(flow(right))]


@given(words("`~ \nab<"))
def test_a_fence_is_not_left(text: str) -> None:
    tokens = GFM.parse(f"{fenced(text)}\n\nend\n")
    assert [token.type for token in tokens] == [
        "fence",
        "paragraph_open",
        "inline",
        "paragraph_close",
    ]


@given(MARKS)
@example(EVIL + "\n\n    ```\n    <b>\n\n<script>x</script>\n\n- [x](y)\n- *z*")
def test_a_docstring_brings_no_markup_but_lists_code_and_emphasis(text: str) -> None:
    allowed = {"paragraph", "bullet_list", "list_item", "fence", "inline"}
    for token in GFM.parse(doc_markdown(text)):
        assert token.type.removesuffix("_open").removesuffix("_close") in allowed, token.type
        kept = (
            "text",
            "text_special",
            "code_inline",
            "strong_open",
            "strong_close",
            "em_open",
            "em_close",
            "softbreak",
        )
        assert all(c.type in kept for c in token.children or ())


@given(st.text(max_size=12))
def test_a_cell_of_a_spreadsheet_is_no_formula(text: str) -> None:
    shown = cell(text)
    assert not shown.startswith(("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"))
    assert shown in (flow(text), "'" + flow(text))


@given(st.text(max_size=30), st.integers(4, 20))
def test_cut_fits(text: str, width: int) -> None:
    shown = safe(text)
    assert columns(cut(shown, width)) <= width
    assert columns(pad(cut(shown, width), width)) == width


def test_wide_characters_take_two_columns() -> None:
    # Unicode Standard Annex 11, East Asian Width: CJK ideographs are wide.
    assert columns("日本 a") == 6
    assert cut("日本語の題", 8) == "日本..."


def test_marks_of_an_author_are_kept_in_a_docstring() -> None:
    text = "**Model.** Two *ends* of `x_1 * 2`, 2 * 3 * 4, a*b*c, <b>no</b> [l](javascript:x)."
    html = GFM.render(doc_markdown(text))
    assert html.startswith("<p><strong>Model.</strong> Two <em>ends</em> of <code>x_1 * 2</code>,")
    assert "2 * 3 * 4, a*b*c, &lt;b&gt;no&lt;/b&gt; [l](javascript:x)." in html
