"""Every link, anchor, picture and cross-reference of the documents leads somewhere."""

from __future__ import annotations

import pytest

from tests.documents.links import broken, unreached
from tests.documents.packages import Package
from tests.documents.told import none

HTML = (
    b'<h2 id="sums">3.2 Sums</h2><table id="t"><caption>Table 4: sums</caption></table>'
    b'<a href="%s">%s</a>'
)


@pytest.fixture(scope="module")
def faults(package: Package) -> dict[str, list[str]]:
    return broken(package.files)


@pytest.mark.parametrize("kind", ["html", "md"])
def test_everything_in_the_package_leads_somewhere(faults: dict[str, list[str]], kind: str) -> None:
    assert f"index.{kind}" in faults
    none({name: texts for name, texts in faults.items() if name.endswith(kind)})


@pytest.mark.parametrize("start", ["index.html", "index.md"])
def test_every_document_is_reached_from_the_front_page(package: Package, start: str) -> None:
    assert not unreached(package.files, start)


@pytest.mark.parametrize(
    ("address", "text", "said"),
    [
        (b"#sums", b"section 3.2", []),
        (b"#t", b"Table 4", []),
        (b"other.md#the-other", b"the other", []),
        (b"data:image/png;base64,AA", b"", []),
        (b"#t", b"Table 5", ["#t: 'Table 5' leads to 'Table 4: sumsTable 5'"]),
        (b"#gone", b"x", ["#gone: there is no such anchor"]),
        (b"gone.html", b"x", ["gone.html: there is no such file"]),
        (b"../page.html", b"x", ["../page.html: there is no such file"]),
        (b"other.md#gone", b"x", ["other.md#gone: there is no such anchor"]),
        (b"https://example.com", b"x", ["https://example.com leads out of the package"]),
        (b"", b"x", ["'x' leads nowhere"]),
    ],
)
def test_what_leads_nowhere_is_found(address: bytes, text: bytes, said: list[str]) -> None:
    files = {"page.html": HTML % (address, text), "other.md": b"# The other\n"}
    assert broken(files)["page.html"] == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[page](page.html)", []),
        ("[here](#the-text)\n\n## The text", []),
        ("![A curve](gone.svg)", ["gone.svg: there is no such file"]),
        ("![](page.html)", ["the picture page.html has no text"]),
        ("[page][gone]", ["a link without an address: [page][gone]"]),
        ("| a |\n| --- |\n| [x](gone.md) |", ["gone.md: there is no such file"]),
    ],
)
def test_what_leads_nowhere_in_markdown_is_found(text: str, said: list[str]) -> None:
    assert broken({"text.md": text.encode(), "page.html": b""})["text.md"] == said


def test_names_within_a_page() -> None:
    page = b'<i id="a"></i><i id="a"></i><td headers="a b"></td>'
    said = ["the anchor 'a' stands twice", "no element is named 'b'"]
    assert broken({"page.html": page})["page.html"] == said


def test_a_document_apart_is_found() -> None:
    files = {"index.html": b'<a href="a.html">a</a>', "a.html": b"", "b.html": b""}
    assert unreached(files, "index.html") == {"b.html"}
