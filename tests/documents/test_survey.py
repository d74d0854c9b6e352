"""What looks at the documents finds each fault of a bad page, and none of a good one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.documents import printed
from tests.documents.chromium import opened
from tests.documents.printed import Leaf, Piece, leaves
from tests.documents.survey import Seen, surveyed

TABLE = "<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
HEAD = """<!DOCTYPE html><html lang="en"><head><title>Faults</title><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<style>{style}</style></head><body><main><h1>Faults</h1>{body}</main></body></html>"""
ROWS = "".join(f"<tr><th scope=row>AB-{n:02}</th><td>{'word ' * 30}</td></tr>" for n in range(40))
LONG = TABLE.format(heads="<th scope=col>One</th><th scope=col>Two</th>", rows=ROWS)

BAD_STYLE = """
  @page { size: A4; margin: 12mm }  table { width: 700px }  th { width: 60px; text-align: left }
  .cut { width: 80px; height: 20px; overflow: hidden; white-space: nowrap }
  .out { max-width: 60px; white-space: nowrap }  .faint { color: #ccc; background: #fff }
  .cards thead { position: absolute; left: -9999px }
  .scrolled { overflow-x: auto }  .broad { width: 1500px }
"""
BAD = """<p class="cut">What stands here is cut at the right</p><p class="faint">Hardly seen</p>
<div class="scrolled"><p class="broad">Broader than the screen</p></div>
<table style="table-layout: fixed; width: 60px"><tr><td class="out">
a_word_that_is_too_long_for_its_cell</td>
</tr></table><script src="https://example.invalid/x.js"></script><p onclick="x()">Told</p>"""

CARDS = """<table class="cards"><thead><tr><th>Hidden</th></tr></thead><tbody>
<tr><td style="height: 2000px">What is this?</td></tr></tbody></table>"""

GOOD_STYLE = """
  @page { size: A4; margin: 15mm;
    @bottom-left { content: "Faults 0123456789ab" }
    @bottom-right { content: "page " counter(page) " of " counter(pages) } }
  thead th { position: sticky; top: 0; background: #fff }
  th { text-align: left; white-space: nowrap }  h2 { break-after: avoid }
"""


def looked_at(tmp_path: Path, style: str, body: str) -> tuple[Seen, list[Leaf]]:
    folder, prints = tmp_path / "documents", tmp_path / "prints"
    folder.mkdir()
    (folder / "a.html").write_text(HEAD.format(style=style, body=body))
    with opened() as context:
        seen = surveyed(context, folder, prints)
    return seen["a.html"], leaves(prints / "a.html.pdf")


@pytest.mark.slow
def test_a_page_with_faults(tmp_path: Path) -> None:
    fill = '<div style="height: 239mm"></div><h2>Left alone</h2><div style="break-before: page">'
    seen, pages = looked_at(tmp_path, BAD_STYLE, f"{BAD}{fill}{LONG}{CARDS}</div>")
    assert [text.split(":")[0] for text in seen.barriers] == ["color-contrast"]
    assert any("p.cut" in text for text in seen.cut["1280"])
    assert any("td.out" in text and "outside of its cell" in text for text in seen.cut["1280"])
    assert any(text.startswith("the page: ") for text in seen.cut["390"])
    assert ["p.broad" in text for text in seen.sideways["1280"]] == [True]
    long, cards = seen.headless["800"]
    assert "cells without a label" in cards
    assert "its head is at" in long
    assert len(seen.scripts) == 2
    assert seen.requests == ["https://example.invalid/x.js"]
    assert len(printed.numbering(pages)) == len(pages) > 1
    assert len(printed.without(pages, "Faults")) == len(pages) - 1
    assert printed.left_alone(pages, seen.headings) == [
        f"page 2 of {len(pages)}: ends with 'Left alone'"
    ]
    assert printed.sparse(pages, frozenset({"AB-00", "AB-39"}), least=2) != []


@pytest.mark.slow
def test_a_good_page(tmp_path: Path) -> None:
    seen, pages = looked_at(tmp_path, GOOD_STYLE, f"<h2>Table</h2>{LONG}")
    assert (seen.title, seen.heading, seen.headings) == ("Faults", "Faults", ["Table"])
    assert seen.barriers == seen.scripts == seen.requests == []
    for by_width in (seen.cut, seen.sideways, seen.headless):
        assert not any(by_width.values()), by_width
    assert len(pages) > 1
    assert printed.numbering(pages) == printed.without(pages, "0123456789ab") == []
    assert printed.left_alone(pages, seen.headings) == []
    names = frozenset(f"AB-{n:02}" for n in range(40))
    assert printed.sparse(pages, names, least=4) == []
    assert set().union(*(leaf.at_the_left(names) for leaf in pages)) == names
    assert "AB-00" in pages[0].text


def leaf(*lines: str) -> Leaf:
    """Return a page with a line of text each 20 points, and a foot at the same place."""
    placed = [Piece(40.0, 800.0 - 20.0 * n, text) for n, text in enumerate(lines)]
    return Leaf((*placed, Piece(40.0, 25.0, "Tern, page 1 of 3")))


def test_the_foot_of_a_page_is_not_its_last_line() -> None:
    pages = [leaf("3.1 Sums"), leaf("words", "3.1 Sums"), leaf("words")]
    assert printed.left_alone(pages, ["Sums", "words"]) == ["page 2 of 3: ends with 'Sums'"]
    assert printed.left_alone([leaf("Sums"), leaf("Sums", "words")], ["Sums"]) == []


@pytest.mark.parametrize("names", [["gone"], []])
def test_no_requirement_at_all(names: list[str]) -> None:
    assert printed.sparse([Leaf(())], frozenset(names), 4) == ["no page has a requirement"]
