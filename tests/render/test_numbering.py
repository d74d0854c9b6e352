"""Numbers of headings and tables, references, anchors, joined cells: from a text to both forms."""

from __future__ import annotations

import pytest

from closeout.model.dossier import Dossier
from closeout.render import dress, numbering
from closeout.render.numbering import SAME, annex_mark, id_mark, numbered, reference, table_mark
from closeout.render.plain import markdown
from tests.render import dossiers
from tests.render.reading import html_tree


def test_headings_and_annexes_have_numbers() -> None:
    text = f"## First\n\n### Below\n\n## Second\n\n## {annex_mark()}More\n\n### Of it\n"
    shown, headings = numbered(text)
    assert [(one.number, one.text) for one in headings] == [
        ("1", "First"), ("1.1", "Below"), ("2", "Second"), ("Annex A", "More"), ("A.1", "Of it"),
    ]  # fmt: skip
    assert "## 2 Second" in numbering.unmarked(shown)
    assert len({one.anchor for one in headings}) == 5


def test_what_stands_in_a_fence_is_left_alone() -> None:
    text = "```text\n## not a heading\n```\n\n$$\n## nor this\n$$\n\n## A heading\n"
    shown, headings = numbered(text)
    assert [one.text for one in headings] == ["A heading"]
    assert "\n## not a heading\n" in shown


def test_a_table_is_referred_to_before_it_comes() -> None:
    text = f"See {reference('far')}.\n\n{table_mark()}Near\n\n| a |\n| --- |\n| 1 |\n\n"
    text += f"{table_mark('far')}Far\n\n| b |\n| --- |\n| 2 |\n"
    shown = numbering.unmarked(numbered(text)[0])
    assert "See [Table 2](#table-2)." in shown
    assert "Table 1: Near" in shown
    # An anchor stands where a link of the same text leads to, and nowhere else.
    assert '<a id="table-2"></a>' in shown
    assert '<a id="table-1">' not in shown


def test_a_reference_to_nothing_is_an_error() -> None:
    with pytest.raises(KeyError):
        numbered(f"See {reference('nowhere')}.")


def test_no_value_makes_a_mark() -> None:
    for mark in (table_mark("x"), id_mark("x"), numbering.TEXT, numbering.SAME):
        assert numbering.END not in markdown(str(mark))


def test_columns_without_an_entry_are_left_out() -> None:
    text = f"| a | b | c | {numbering.KEPT}d |\n| --- | --- | ---: | --- |\n| 1 | | x \\| y | |\n"
    shown = numbering.unmarked(numbered(text)[0])
    assert shown.split("\n")[0] == "| a | c | d |"
    assert shown.split("\n")[2] == "| 1 | x \\| y | |"


def page_of(text: str) -> str:
    from markdown_it import MarkdownIt

    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = dress.dressed(parser.parse(numbered(text)[0]))
    return str(parser.renderer.render(tokens, parser.options, {}))


def test_a_caption_stands_in_its_table_and_rows_have_heads() -> None:
    text = f"{table_mark()}What *it* is\n\n| a | b |\n| --- | ---: |\n| {id_mark('X-1')}one | 2 |\n"
    page = html_tree(page_of(text))
    (table,) = page.all("table")
    assert table.all("caption")[0].text == "Table 1: What it is"
    assert [th.attributes.get("scope") for th in table.all("th")] == ["col", "col", "row"]
    row = table.all("tr")[1]
    assert row.attributes["id"] == "X-1"
    assert row.all("th")[0].text == "one"
    assert row.all("td")[0].attributes["data-label"] == "b"


def test_cells_are_joined_downward() -> None:
    rows = ["| a | b |", "| --- | --- |", "| one | 1 |", f"| {SAME} | 2 |", "| two | 3 |"]
    page = html_tree(page_of("\n".join(rows) + "\n"))
    groups = page.all("tbody", "group")
    assert len(groups) == 2
    assert groups[0].all("th")[0].attributes["rowspan"] == "2"
    assert [td.text for td in page.all("td")] == ["1", "2", "3"]


def test_each_cover_says_which_review_it_is_for() -> None:
    from closeout.render.package import package

    for review in ("CDR", "AR"):
        dossier: Dossier = dossiers.gannet(review=review)
        for path, data in package(dossier, {}).items():
            if path.endswith(".html"):
                assert review in html_tree(data.decode()).all("h1")[0].text, path
