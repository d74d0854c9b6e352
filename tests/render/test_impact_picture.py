"""The picture of a graph: every label whole and inside of its box, no box over another.

How wide a text is, is measured with the outlines of DejaVu Sans, the widest of the fonts that the
picture names, as matplotlib has them.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from closeout.model.impact import Impact, Kind
from closeout.render.impact_picture import impact_svg
from closeout.render.layered import laid_out
from closeout.run import Project
from tests.run.chains import Function, written

SVG = "{http://www.w3.org/2000/svg}"
PARAMETERS = 60


@pytest.fixture(scope="module")
def impact(tmp_path_factory: pytest.TempPathFactory) -> Impact:
    """A hundred boxes: requirements under three others, a chain, parameters of an analysis each."""
    folder = tmp_path_factory.mktemp("many")
    parameters = "".join(
        f"a_parameter_with_a_name_{n:02d}: {{value: 1, source: x}}\n" for n in range(PARAMETERS)
    )
    functions = []
    for n in range(12):
        mine = [f"a_parameter_with_a_name_{5 * n + k:02d}" for k in range(5)]
        if n:
            parameters += f"found_{n}: {{from: analysis_{n - 1}.result_of_it}}\n"
            mine.append(f"found_{n}")
        body = f"return R({' + '.join(mine)})"
        takes = dict.fromkeys(mine, "1")
        functions.append(Function(f"analysis_{n}", takes, {"result_of_it": "1"}, body))
    written(
        folder, parameters, functions,
        [f"analysis: analysis_{n}, quantity: result_of_it, at_least: {9 * (n % 3)}"
         for n in range(12)],
    )  # fmt: skip
    file = folder / "requirements/all.yaml"
    text = file.read_text().replace("source: invented", "derived_from: [S-1, S-2]")
    text = text.replace("title: One", "title: One of <many> with a title that is long & has signs")
    for name in ("S-1", "S-2"):
        text += f"  - {{id: {name}, title: Upper, statement: It shall be so., source: LSA 4.3}}\n"
    file.write_text(text)
    return Project(folder, jobs=2).impact("a_parameter_with_a_name_00", "A-12")


def boxes(svg: str) -> list[tuple[ElementTree.Element, tuple[float, float, float, float]]]:
    """Return each box, with its left, top, right and bottom."""
    found = []
    for group in ElementTree.fromstring(svg).iter(f"{SVG}g"):
        rect = group.find(f"{SVG}rect")
        if rect is not None:
            x, y, w, h = (float(rect.attrib[key]) for key in ("x", "y", "width", "height"))
            found.append((group, (x, y, x + w, y + h)))
    return found


def width(text: str, weight: str) -> float:
    font = FontProperties(family="DejaVu Sans", weight=weight)
    return float(TextPath((0, 0), text, size=13, prop=font).get_extents().width)


def test_every_label_stands_whole_in_its_box(impact: Impact) -> None:
    svg = impact_svg(impact)
    found = boxes(svg)
    assert len(found) >= 100
    said = [text.text or "" for group, _ in found for text in group.iter(f"{SVG}text")]
    for node in (*impact.roots, *impact.above, *impact.below):
        shown = node.name if node.kind is not Kind.QUANTITY else f"- {node.name.rpartition('.')[2]}"
        assert shown in said
    assert not [text for text in said if text.endswith("...")]
    for group, (left, top, right, bottom) in found:
        bold = {text for part in group.iter(f"{SVG}g") if part is not group for text in part}
        for text in group.iter(f"{SVG}text"):
            x, y = float(text.attrib["x"]), float(text.attrib["y"])
            wide = width(text.text or "", "bold" if text in bold else "normal")
            assert left < x
            assert x + wide < right, text.text
            assert top + 8 < y < bottom


def test_no_box_over_another_and_none_outside(impact: Impact) -> None:
    svg = impact_svg(impact)
    root = ElementTree.fromstring(svg)
    wide, high = float(root.attrib["width"]), float(root.attrib["height"])
    found = [box for _, box in boxes(svg)]
    for left, top, right, bottom in found:
        assert 0 < left < right < wide
        assert 0 < top < bottom < high
    for one, other in itertools.combinations(found, 2):
        apart = one[2] < other[0] or other[2] < one[0] or one[3] < other[1] or other[3] < one[1]
        assert apart


def test_a_verdict_is_written_and_what_was_asked_for(impact: Impact) -> None:
    svg = impact_svg(impact)
    assert svg == impact_svg(impact)
    for group, _ in boxes(svg):
        (title,) = group.findall(f"{SVG}title")
        said = " ".join(text.text or "" for text in group.iter(f"{SVG}text"))
        if (title.text or "").startswith("requirement A-"):
            assert re.search(r"\b(C, closed|NC, open)\b", said)
            assert "margin" in said or "A-12" not in said
    assert svg.count(", asked for") == 2
    assert svg.count('stroke-width="3"') == 2


def test_lines_lead_from_boxes_to_boxes(impact: Impact) -> None:
    svg = impact_svg(impact)
    found = [box for _, box in boxes(svg)]
    arrows = re.findall(r'<path d="M([\d.]+) ([\d.]+)l-9', svg)
    shown = {edge.used for edge in impact.edges if impact.box(edge.user) != impact.box(edge.used)}
    assert len(arrows) == len(shown)
    for x, y in arrows:
        assert any(
            left == pytest.approx(float(x), abs=0.2) and top < float(y) < bottom
            for left, top, _, bottom in found
        )


@given(st.integers(1, 5), st.data())
def test_places_of_one_layer_never_overlap(layers: int, data: st.DataObject) -> None:
    names = [[f"{n}.{k}" for k in range(data.draw(st.integers(1, 6)))] for n in range(layers)]
    pairs = [
        (a, b) for n, left in enumerate(names) for right in names[n:] for a in left for b in right
        if a != b
    ]  # fmt: skip
    lines = data.draw(st.lists(st.sampled_from(pairs), unique=True)) if pairs else []
    heights = {name: data.draw(st.integers(5, 60)) for layer in names for name in layer}
    layout = laid_out(
        names, [(a, b, b) for a, b in lines], lambda p: 9 if p[1] is not None else heights[p[0]]
    )
    for column in layout.columns:
        for one, other in itertools.pairwise(column):
            room = [9 if p[1] is not None else heights[p[0]] for p in (one, other)]
            apart = layout.middle[other] - layout.middle[one]
            assert apart >= sum(room) / 2 - 1e-6
    assert {p[0] for c in layout.columns for p in c if p[1] is None} == set(heights)


def test_a_file_for_a_browser(impact: Impact, tmp_path: Path) -> None:
    text = impact_svg(impact)
    assert text.startswith('<?xml version="1.0" encoding="UTF-8"?>')
    assert "&lt;many&gt;" in text
    assert "<script" not in text
