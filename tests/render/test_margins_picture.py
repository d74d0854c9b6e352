"""Margins as a picture: where each bar, mark and limit stands, by numbers worked out here by hand.

The axis begins at 14 and ends at 314 pixels, its limit stands at a fifth: 14 + 60 = 74, so that
240 pixels are the reach of a group.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from closeout.model.answer import Assurance
from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.on_file import RequiredText
from closeout.model.probability import Chance
from closeout.render.margins_picture import LEGEND, margins_svg
from closeout.render.picture import BAD, HIGH, INK, LOW, SOFT
from tests.render.dossiers import dossier, evidence, gannet, nasty, requirement
from tests.render.drawing import Drawing, assert_apart, contrast

LIMIT = 74.0


def temperature(low: float, high: float, value: float | None = None, **fields: Any) -> Evidence:
    """A temperature that may be 40 degC at most, found between two ends."""
    usual: dict[str, Any] = {
        "quantity": "temperature", "unit": "degC", "at_most": 40.0, "low": low, "high": high,
        "value": (low + high) / 2 if value is None else value, "margin": 40.0 - high,
        "assurance": Assurance.BOUNDED, "limit_text": "at most 40 degC",
        "state": State.MET if high <= 40.0 else State.NOT_MET,
    }  # fmt: skip
    return evidence(**{**usual, **fields})


def drawn(*lines: Evidence, required: Any = None) -> Drawing:
    """The only picture of requirements R-0, R-1, ... with one verification each."""
    (svg,) = margins_svg(many(*lines), required or {})
    found = Drawing(svg)
    assert_apart(found)
    return found


def many(*lines: Evidence) -> Dossier:
    return dossier(*(requirement(f"R-{place}", one) for place, one in enumerate(lines)))


def limits(drawing: Drawing) -> list[dict[str, str]]:
    return [line for line in drawing.all("line") if line["stroke"] == BAD]


def test_a_bar_goes_from_low_to_high_and_the_limit_stands_at_zero() -> None:
    # Distances from 40 degC: 10 K and 30 K, 20 K at the nominal value. Three times the margin of
    # 10 K is the end of the axis: 30 K are 240 px.
    drawing = drawn(temperature(10.0, 30.0))
    (limit,) = limits(drawing)
    assert float(limit["x1"]) == float(limit["x2"]) == LIMIT
    (bar,) = drawing.line_at(drawing.text("R-0").foot)
    left, right, colour = bar
    assert left == pytest.approx(LIMIT + 10.0 / 30.0 * 240.0, abs=0.06)
    assert right == pytest.approx(LIMIT + 240.0, abs=0.06)
    assert colour == LOW
    dot = drawing.all("circle")[0]
    assert float(dot["cx"]) == pytest.approx(LIMIT + 20.0 / 30.0 * 240.0, abs=0.06)
    assert drawing.text("R-0").said == "R-0 temperature"
    assert drawing.text("+10 K").right < drawing.text("R-0").left


def test_what_does_not_keep_the_limit_is_white_with_a_red_edge() -> None:
    # 5 K beyond and 10 K inside. Three times the margin of 5 K is the end: 15 K are 240 px.
    drawing = drawn(temperature(30.0, 45.0, covered_by="RFW-003", covered_kind="waiver"))
    beyond, inside = drawing.line_at(drawing.text("R-0").foot)
    assert beyond[:2] == pytest.approx((LIMIT - 60.0, LIMIT), abs=0.06)
    assert inside[:2] == pytest.approx((LIMIT, LIMIT + 160.0), abs=0.06)
    assert (beyond[2], inside[2]) == (BAD, LOW)
    (white,) = (one for one in drawing.all("rect") if one["stroke"] == BAD)
    assert white["fill"] == "#ffffff"
    assert drawing.text("R-0").said == "R-0 temperature, not met, under waiver RFW-003"
    assert drawing.all("polygon")  # 5 K are 80 px, and 60 px are there: an arrow goes on


def test_the_least_margin_comes_first() -> None:
    drawing = drawn(temperature(0.0, 31.0), temperature(0.0, 39.0), temperature(0.0, 42.0))
    names = [one.said[:3] for one in drawing.texts if one.said.startswith("R-")]
    assert names == ["R-2", "R-1", "R-0"]


def test_groups_are_of_one_unit_and_probabilities_are_no_counts() -> None:
    chance = Chance(0.96, 0.99, 0.98, 0.95, 0.9, 1000)
    plain: dict[str, Any] = {"unit": "1", "at_most": 40.0}
    drawing = drawn(
        temperature(10.0, 20.0),
        temperature(10.0, 20.0, unit="K"),
        temperature(10.0, 20.0, unit="dBm"),
        temperature(10.0, 20.0, unit="dB"),
        temperature(10.0, 20.0, **plain),
        temperature(10.0, 20.0, chance=chance, margin=0.01, assurance=Assurance.SAMPLED, **plain),
    )
    heads = [one for one in drawing.texts if one.said.startswith("margin ")]
    assert [one.said for one in heads] == [
        "margin without a unit", "margin in K", "margin in dB", "margin of a probability"
    ]  # fmt: skip
    names = [one for one in drawing.texts if one.said.startswith("R-")]
    ends = [*heads[1:], drawing.text("bounded")]
    below = [[n.said[:3] for n in names if a.foot < n.foot < b.foot]
             for a, b in zip(heads, ends, strict=True)]  # fmt: skip
    assert below == [["R-4"], ["R-0", "R-1"], ["R-2", "R-3"], ["R-5"]]
    # The limits of all groups are on one upright line.
    assert {float(one["x1"]) for one in limits(drawing)} == {LIMIT}
    assert drawing.text("+0.01").right < drawing.text("R-5").left


def test_a_probability_has_the_range_that_holds_and_the_estimate() -> None:
    # 0.96 to 0.99 with 0.98 estimated, 0.95 required: 0.01, 0.04, 0.03; three times the margin of
    # 0.01 is the end of the axis, so that 0.01 are 80 px.
    chance = Chance(0.96, 0.99, 0.98, 0.95, 0.9, 1000)
    one = temperature(10.0, 90.0, chance=chance, margin=chance.margin, state=State.MET,
                      assurance=Assurance.SAMPLED)  # fmt: skip
    asked = RequiredText("CDR", "10 %", "limit", None, 36.0, False)
    drawing = drawn(one, required={("R-0", 0): (asked,)})
    (bar,) = drawing.line_at(drawing.text("R-0").foot)
    assert bar[:2] == pytest.approx((LIMIT + 80.0, LIMIT + 240.0), abs=0.06)
    # A triangle at 0.03, which is the edge, stands inside of it; the margin of the quantity is not
    # one of its probability.
    triangle = next(one for one in drawing.all("polygon") if one["fill"] == "#ffffff")
    assert triangle["points"].split()[2].startswith("308.0,")
    assert "required margin" not in [text.said for text in drawing.texts]


def test_the_required_margin_is_that_of_the_limit_that_decides() -> None:
    # 20 V to 32 V, 22 V to 23 V found: the lower limit is nearer (2 V, the upper one 9 V). 10 %
    # of the limits are asked: 22 V and 28.8 V, so 2 V at the lower one. Three times the middle of
    # 2 V and 2 V are 6 V, the furthest thing (the bar's end) is 3 V, with a twentieth more 3.15 V.
    one = temperature(22.0, 23.0, unit="V", at_least=20.0, at_most=32.0, margin=2.0)
    asked = RequiredText("CDR", "10 %", "limit", 22.0, 28.8, False)
    drawing = drawn(one, required={("R-0", 0): (asked,)})
    foot = drawing.text("R-0").foot
    (stroke,) = (
        line for line in drawing.all("line")
        if line["stroke"] == INK and float(line["y1"]) < foot - 4 < float(line["y2"])
    )  # fmt: skip
    assert float(stroke["x1"]) == pytest.approx(LIMIT + 2.0 / 3.15 * 240.0, abs=0.06)
    assert drawing.text("required margin")


def test_an_enforced_margin_that_is_missed_is_told() -> None:
    one = temperature(10.0, 38.0, margin=-2.0, state=State.NOT_MET)
    drawing = drawn(
        one, required={("R-0", 0): (RequiredText("CDR", "4 K", "limit", None, 36.0, True),)}
    )
    assert drawing.text("R-0").said == "R-0 temperature, not met, short of the required margin"
    assert {bar[2] for bar in drawing.line_at(drawing.text("R-0").foot)} == {LOW}


def test_two_limits_have_the_second_as_a_bracket() -> None:
    """Of 5 V within 1 V, 3.5 V to 6.2 V break both limits; the lower one by more."""
    one = temperature(3.5, 6.2, unit="V", at_least=4.0, at_most=6.0, margin=-0.5,
                      state=State.NOT_MET)  # fmt: skip
    drawing = drawn(one)
    bars = drawing.line_at(drawing.text("R-0").foot)
    # Three times 0.5 V are 240 px, so that 0.5 V beyond do not fit into 60 px, nor 2 V inside.
    assert bars[0][:2] == pytest.approx((14.0, LIMIT), abs=0.06)
    assert [bar[2] for bar in bars] == [BAD, LOW, BAD]
    assert bars[1][1] == bars[2][0] == 314.0
    one = temperature(26.0, 38.0, unit="V", at_least=24.0, at_most=34.0, margin=-4.0,
                      state=State.NOT_MET)  # fmt: skip
    drawing = drawn(one)  # the upper one decides: -4 V to 8 V, the lower limit at 10 V
    beyond, inside = drawing.line_at(drawing.text("R-0").foot)
    assert beyond[:2] == pytest.approx((14.0, LIMIT), abs=0.06)
    assert inside[:2] == pytest.approx((LIMIT, LIMIT + 160.0), abs=0.06)
    second = [line for line in limits(drawing) if float(line["x1"]) != LIMIT]
    assert {float(line["x2"]) for line in second} == {LIMIT + 200.0}  # 10 V of 12 V


def test_of_equal_to_all_that_is_off_it_is_outside() -> None:
    """Nothing but the value itself keeps 5 V; 5 V to 7 V has no part inside."""
    one = temperature(5.0, 7.0, unit="V", at_least=5.0, at_most=5.0, margin=-2.0)
    drawing = drawn(replace(one, state=State.NOT_MET))
    foot = drawing.text("R-0").foot
    inside = [bar for bar in drawing.line_at(foot) if bar[2] == LOW]
    assert all(bar[1] - bar[0] <= 1.0 for bar in inside)
    both = replace(one, low=4.0, high=7.0, state=State.NOT_MET)
    bars = drawn(both).line_at(foot)
    assert all(bar[2] == BAD or bar[1] - bar[0] <= 1.0 for bar in bars)
    assert max(bar[1] for bar in bars) > LIMIT + 20.0  # the side beyond the other limit, in red


def test_the_shape_says_how_surely() -> None:
    kinds = [*Assurance, None]
    drawing = drawn(*(temperature(10.0, 20.0, assurance=kind) for kind in kinds))
    words = ["bounded", "searched", "linearised", "sampled", "nominal inputs only", "measured"]
    assert [one.said for one in drawing.texts][-6:] == words
    shapes = {
        len(kinds): drawing.all("circle"),  # bounded, searched, and a measured one has two
        2: drawing.all("polygon"),
    }
    assert len(shapes[len(kinds)]) == 2 * 4
    assert len(shapes[2]) == 2 * 2
    filled = [one for one in drawing.all("circle") if one["fill"] == INK and one["r"] == "4.0"]
    assert len(filled) == 2  # on its line, and in the key


@pytest.mark.parametrize(("lines", "sizes"), [(39, [39]), (40, [39, 1]), (41, [39, 2])])
def test_forty_lines_with_their_heads_are_a_picture(lines: int, sizes: list[int]) -> None:
    pictures = [Drawing(one) for one in margins_svg(many(*[temperature(0.0, 30.0)] * lines), {})]
    assert [sum(t.said.startswith("R-") for t in one.texts) for one in pictures] == sizes
    assert all("margin in K" in [t.said for t in one.texts] for one in pictures)
    # A page of A4 across has 673 px between its margins.
    assert all(one.high <= 660 for one in pictures)
    assert len({one.told.partition(":")[0] for one in pictures}) == len(sizes)


def test_far_ones_are_clipped_so_that_near_ones_are_seen() -> None:
    # 0.3 K, 0.4 K and 60 K: the middle is 0.4 K, the axis ends at 1.2 K; 0.3 K are 60 px.
    near, nearly, far = (
        temperature(39.7, 39.7),
        temperature(39.6, 39.6),
        temperature(-20.0, -20.0),
    )
    drawing = drawn(near, nearly, far)
    (bar,) = drawing.line_at(drawing.text("R-0").foot)
    assert bar[0] == pytest.approx(LIMIT + 60.0, abs=0.2)
    (arrow,) = drawing.all("polygon")
    foot = drawing.text("R-2").foot
    tip = arrow["points"].split()[1]
    assert tip == f"322.0,{foot - 4:.1f}"
    # How surely it is known is still seen, at the edge.
    assert any(float(one["cy"]) == foot - 4 and one["r"] == "4.0" for one in drawing.all("circle"))
    assert "An arrow" in LEGEND


def test_of_cases_the_one_that_counts_has_the_line() -> None:
    cases = [temperature(0.0, 40.0 - m, case=f"S{m}", cases_wanted=2) for m in (1, 5, 3)]
    (svg,) = margins_svg(dossier(requirement("R-0", *cases)), {})
    assert Drawing(svg).text("R-0").said == "R-0 temperature [S3]"
    all_of_them = [replace(one, cases_wanted=None) for one in cases]
    (svg,) = margins_svg(dossier(requirement("R-0", *all_of_them)), {})
    assert Drawing(svg).text("R-0").said == "R-0 temperature [S1]"


def test_what_has_no_margin_is_counted_and_told() -> None:
    undecided = evidence(quantity="mass", limit_text="at most TBD", state=State.OPEN)
    planned = evidence(quantity="gain", limit_text="at least 3 dB", at_least=3.0, state=State.OPEN)
    failed = replace(planned, state=State.ERROR)
    inspection = evidence(method="inspection")
    drawing = drawn(temperature(0.0, 30.0), undecided, planned, failed, inspection)
    assert drawing.text("Not drawn").said == (
        "Not drawn, no margin: 1 (limit not decided), 1 (no value yet), 1 (could not be evaluated)."
    )
    assert "No margin (limit not decided): R-1 mass." in drawing.told
    assert "R-4" not in drawing.told


def test_a_limit_that_is_undecided_beside_one_that_is_kept_is_said() -> None:
    one = temperature(0.0, 30.0, limit_text="at least TBD, at most 40 degC", state=State.OPEN)
    assert drawn(one).text("R-0").said == "R-0 temperature, open, a limit is TBD"


def test_a_model_uncertainty_is_taken_off_the_bar() -> None:
    # 30 degC found, 2 K deducted at both ends: 8 K and 22 K; the axis ends at 22 K * 1.05 = 23.1 K.
    one = temperature(20.0, 30.0, judged_low=18.0, judged_high=32.0, margin=8.0)
    drawing = drawn(one)
    (bar,) = drawing.line_at(drawing.text("R-0").foot)
    assert bar[0] == pytest.approx(LIMIT + 8.0 / 23.1 * 240.0, abs=0.06)
    assert bar[1] == pytest.approx(LIMIT + 22.0 / 23.1 * 240.0, abs=0.06)


def test_nothing_where_nothing_has_a_margin() -> None:
    assert margins_svg(dossier(), {}) == ()
    assert margins_svg(many(evidence(method="inspection")), {}) == ()
    assert margins_svg(many(evidence(quantity="mass", state=State.OPEN)), {}) == ()


def test_the_text_says_what_the_picture_shows() -> None:
    drawing = drawn(temperature(0.0, 30.0), temperature(0.0, 45.0))
    assert drawing.told == (
        "Margins against limits, 1 of 1: margin in K, 2 criteria, the least first:"
        " R-1 temperature -5 K (not met), R-0 temperature +10 K."
    )


def test_the_same_bytes_each_time_and_nothing_that_acts() -> None:
    for one in (gannet(), nasty()):
        pictures = margins_svg(one, {})
        assert pictures == margins_svg(one, {})
        assert pictures
        for svg in pictures:
            assert "<script" not in svg
            assert_apart(Drawing(svg))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(allow_nan=False), st.floats(allow_nan=False)), min_size=1, max_size=4
    )
)
def test_any_numbers_have_a_place(ends: list[tuple[float, float]]) -> None:
    """The least and the greatest doubles, and ends that are infinitely far, stay in the picture."""
    lines = [temperature(min(pair), max(pair), max(pair), margin=40.0 - max(pair)) for pair in ends]
    (svg,) = margins_svg(many(*lines), {})
    drawing = Drawing(svg)
    for left, right, _ in (b for t in drawing.texts for b in drawing.line_at(t.foot)):
        assert 14.0 <= left <= right <= 315.0


@pytest.mark.parametrize("colour", [INK, SOFT, LOW, HIGH, BAD])
def test_parts_of_pictures_are_seen_on_white(colour: str) -> None:
    """WCAG 2.2, 1.4.11: 3:1 for parts of pictures; 1.4.3: 4.5:1 for texts, which are of two."""
    assert contrast(colour) >= (4.5 if colour in (INK, BAD) else 3.0)


def test_what_is_said_of_the_state_is_kept_where_a_name_is_too_long() -> None:
    waived: dict[str, Any] = {"covered_by": "RFW-003", "covered_kind": "waiver"}
    one = temperature(0.0, 45.0, case="a station with a long name", **waived)
    two = temperature(0.0, 30.0, case="a name that is as long as the line, and longer than it")
    drawing = drawn(one, two, temperature(0.0, 39.12345, tight=False))
    assert drawing.text("R-0").said == "R-0 temperature, not met, under waiver RFW-003"
    assert drawing.text("R-1").said.startswith("R-1 temperature [a name that")
    assert drawing.text("R-1").said.endswith("...")
    long = replace(one, quantity="a_temperature_of_the_battery")
    assert drawn(long).text("R-0").said == "R-0, not met, under waiver RFW-003"
