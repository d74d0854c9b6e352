"""Where the margins and the close-out curve are drawn, against positions worked out by hand."""

from __future__ import annotations

import re
from typing import Any

from closeout.model.answer import Assurance
from closeout.model.dossier import State
from closeout.model.on_file import RequiredText
from closeout.render.close_out_picture import close_out_svg
from closeout.render.margins_picture import MOST, NAMES, VALUES, WIDE, margins_svg
from tests.render import dossiers
from tests.render.reading import Node, html_tree

LEFT, RIGHT = NAMES, WIDE - VALUES
ZERO = LEFT + 0.2 * (RIGHT - LEFT)


def judged(name: str, low: float, high: float, value: float, margin: float, **more: Any) -> Any:
    usual = {"quantity": "power", "unit": "W", "at_least": 10.0, "assurance": Assurance.BOUNDED}
    one = dossiers.evidence(low=low, high=high, value=value, margin=margin, **{**usual, **more})
    return dossiers.requirement(name, one)


def drawn(*results: Any, required: Any = None) -> list[Node]:
    return [html_tree(svg) for svg in margins_svg(dossiers.dossier(*results), required or {})]


def texts(page: Node) -> list[str]:
    return [node.text for node in page.all("text")]


def test_a_bar_begins_at_its_distance_from_the_limit() -> None:
    (page,) = drawn(judged("A-1", 12.0, 16.0, 13.0, 2.0))
    (bar,) = page.all("rect")
    # One line: it is drawn to three times its margin of 2 W.
    step = (RIGHT - ZERO) / 6.0
    assert float(bar.attributes["x"] or "") == round(ZERO + 2.0 * step, 1)
    assert abs(float(bar.attributes["width"] or "") - 4.0 * step) < 0.11
    (mark,) = page.all("circle")
    assert float(mark.attributes["cx"] or "") == round(ZERO + 3.0 * step, 1)
    assert mark.attributes["fill"] != "#ffffff"
    assert "+2 W" in texts(page)


def test_a_limit_from_above_counts_the_other_way() -> None:
    one = judged("A-1", 4.0, 8.0, 5.0, 2.0, at_least=None, at_most=10.0)
    (page,) = drawn(one)
    (bar,) = page.all("rect")
    assert float(bar.attributes["x"] or "") == round(ZERO + 2.0 * (RIGHT - ZERO) / 6.0, 1)


def test_groups_have_one_unit_and_the_nearest_first() -> None:
    some = [
        judged("A-1", 15.0, 16.0, 15.5, 5.0),
        judged("A-2", 11.0, 16.0, 13.0, 1.0),
        judged("B-1", 3.0, 4.0, 3.5, 3.0, unit="dB", at_least=0.0),
    ]
    (page,) = drawn(*some)
    shown = [text.split()[0] for text in texts(page) if text[:2] in ("A-", "B-")]
    assert shown == ["A-2", "A-1", "B-1"]
    heads = [text for text in texts(page) if text.startswith("margin in")]
    assert [head.split()[2].rstrip(",") for head in heads] == ["W", "dB"]


def test_what_is_not_met_says_so_in_words_and_lies_on_the_other_side() -> None:
    (page,) = drawn(judged("A-1", 8.0, 12.0, 11.0, -2.0, state=State.NOT_MET))
    assert any(text.endswith("not met") for text in texts(page))
    assert float(page.all("rect")[0].attributes["x"] or "") < ZERO


def test_the_required_margin_is_a_stroke_of_its_own() -> None:
    wanted = {("A-1", 0): (RequiredText("CDR", "10 %", "limit", 11.0, None, False),)}
    lines = drawn(judged("A-1", 12.0, 16.0, 13.0, 2.0), required=wanted)[0].all("line")
    # Of the margins 2 W and 1 W the middle is 1.5 W, so 4.5 W are drawn.
    at = round(ZERO + 1.0 * (RIGHT - ZERO) / 4.5, 1)
    assert at in [float(line.attributes["x1"] or "") for line in lines]


def test_forty_lines_a_picture_with_the_heads() -> None:
    some = [judged(f"A-{n}", 12.0, 16.0, 13.0, 2.0 + n) for n in range(MOST)]
    pages = drawn(*some)
    assert len(pages) == 2
    assert sum(len(page.all("rect")) for page in pages) == MOST


def test_nothing_with_a_margin_makes_no_picture() -> None:
    assert margins_svg(dossiers.dossier(dossiers.requirement("A-1")), {}) == ()


def test_the_curve_tells_how_many_are_closed() -> None:
    dates = {"CDR": "2026-12-10", "AR": "2027-04-22"}
    met = dossiers.evidence(review="CDR")
    left = dossiers.evidence(number=1, review="AR", state=State.OPEN, due=False)
    svg = close_out_svg(dossiers.dossier(dossiers.requirement("A-1", met, left)), dates)
    assert svg is not None
    page = html_tree(svg)
    assert "1 of 2 verifications closed" in page.all("title")[0].text
    lines = page.all("polyline")
    ends = [re.split("[ ,]", line.attributes["points"] or "")[-1] for line in lines]
    # Two are planned in the end and one is closed: half as high.
    planned, closed = map(float, ends)
    bottom = float(re.split("[ ,]", lines[0].attributes["points"] or "")[1])
    assert abs((bottom - closed) * 2 - (bottom - planned)) < 0.2


def test_without_dates_of_reviews_there_is_no_curve() -> None:
    one = dossiers.requirement("A-1", dossiers.evidence(review="CDR"))
    assert close_out_svg(dossiers.dossier(one), {}) is None
