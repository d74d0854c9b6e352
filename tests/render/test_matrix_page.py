from __future__ import annotations

import re

from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier
from closeout.model.identity import SnapshotIdentity
from closeout.render import words
from closeout.render.matrix import matrix
from tests.render import dossiers
from tests.render.reading import Node, html_tree, without_style


def row_of(page: Node, identifier: str) -> Node:
    return next(g for g in page.all("tbody", "group") if g.all("a", "id")[0].text == identifier)


def test_page_stands_alone(any_dossier: Dossier) -> None:
    text = matrix(any_dossier, "html")
    page = html_tree(text)
    assert not page.all("script")
    assert not page.all("link")
    assert not page.all("img")
    # A project's own text may well name an address; nothing may fetch one.
    assert "url(" not in page.all("style")[0].text
    assert "@import" not in page.all("style")[0].text
    assert not any("src" in node.attributes for node in page.all("*"))


def test_every_link_leads_to_an_anchor_of_the_page(any_dossier: Dossier) -> None:
    from urllib.parse import unquote

    page = html_tree(matrix(any_dossier, "html"))
    anchors = [group.attributes["id"] for group in page.all("tbody", "group")]
    assert len(set(anchors)) == len(anchors)
    for link in page.all("a"):
        target = link.attributes["href"] or ""
        assert target.startswith("#")
        assert unquote(target[1:]) in anchors


def test_content(gannet: Dossier) -> None:
    page = html_tree(matrix(gannet, "html"))
    power = row_of(page, "PWR-020")
    text = " ".join(power.text.split())
    for part in (
        "issue B: Energy left after the pad hold",
        "The recorder shall hold at least 52 W h",
        "Derived from SYS-030",
        "Safety: critical",
        "Plan: VP 4.2",
        "55.12 W h",
        "nominal 63.21 W h",
        "at least 52 W h",
        "+3.12 W h",
        "bounded over the declared tolerances",
        "open, not yet due",
        "the test TR-PWR-004 is planned for AR",
    ):
        assert part in text
    assert "-0.004 dB" in row_of(page, "COM-040").text
    assert "under waiver RFW-003" in row_of(page, "COM-041").text
    (cases,) = (t for t in page.all("table") if "Every case" in t.all("caption")[0].text)
    assert "absent: never rises" in cases.text
    assert "of 2 cases met; this one decides" in row_of(page, "COM-041").text
    assert "measured 16.4 V" in row_of(page, "COM-060").text
    assert "through lower-level requirements" in row_of(page, "SYS-030").text


def test_caution_once_and_banner_where_due() -> None:
    for form in ("html", "md"):
        clean = without_style(matrix(dossiers.gannet(), form))
        assert clean.count("Decision support only") == 1
        assert "DRAFT" not in clean
        assert "WHAT IF" not in clean
        tree = SnapshotIdentity("tree", "a" * 40, True)
        draft = without_style(matrix(dossiers.gannet(snapshot=tree), form))
        assert draft.count("DRAFT") == 1
        asked = matrix(dossiers.gannet(settings=(("sleep_current", "130 uA"),)), form)
        assert re.search(r"WHAT IF sleep_current=130 uA", asked)


def test_bounded_is_never_said_without_its_reach(gannet: Dossier) -> None:
    for form in ("html", "md", "csv"):
        text = matrix(gannet, form).casefold()
        assert "bounded over the declared tolerances" in text
        assert re.search(r"bounded(?! over the declared tolerances)", text) is None
    assert "declared tolerances" in words.ASSURANCE[Assurance.SEARCHED]


def test_totals_stand_on_top(gannet: Dossier) -> None:
    page = html_tree(matrix(gannet, "html"))
    shown = [" ".join(item.text.split()) for item in page.all("ul", "totals")[0].all("li")]
    assert shown == ["3C", "1PC", "1NC", "1NA", "2open", "3closed of 8"]
