"""The close-out curve: where steps, dots and late bars stand, by numbers worked out by hand.

The axis of time goes from 70 to 720 pixels, that of the count from 234 (none) up to 34 (all).
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from closeout.model.dossier import Dossier, Evidence, State
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Pointer
from closeout.model.records import Method, Record, Waiver
from closeout.render.close_out_picture import close_out_svg
from closeout.render.picture import BAD, INK, LOW
from tests.render.dossiers import dossier, evidence, gannet, nasty, requirement
from tests.render.drawing import Drawing, assert_apart

# 100 days from the first to the last.
DATES = {"PDR": "2026-09-01", "CDR": "2026-12-10"}
TODAY = "2026-11-30"
NOWHERE = Pointer("requirements/all.yaml", ())


def x(day: str) -> float:
    """650 pixels for 100 days."""
    return 70.0 + 6.5 * (date.fromisoformat(day) - date(2026, 9, 1)).days


def closed(review: str | None, record: str | None = None, **fields: Any) -> Evidence:
    return evidence(review=review, record=record, **fields)


def opened(review: str | None) -> Evidence:
    return evidence(review=review, state=State.OPEN)


def made_on(record: str, day: str, **fields: Any) -> Record:
    return Record(NOWHERE, record, Method.TEST, date=day, **fields)


def state(*lines: Evidence, **fields: Any) -> Dossier:
    usual: dict[str, Any] = {
        "reviews": ("PDR", "CDR"),
        "snapshot": SnapshotIdentity("commit", "1e49", False, date=TODAY),
    }
    some = (requirement(f"R-{place}", one) for place, one in enumerate(lines))
    return dossier(*some, **{**usual, **fields})


def drawn(one: Dossier, dates: dict[str, str] | None = None) -> Drawing:
    svg = close_out_svg(one, DATES if dates is None else dates)
    assert svg is not None
    found = Drawing(svg)
    assert_apart(found)
    return found


def points(drawing: Drawing, colour: str) -> list[tuple[float, float]]:
    (line,) = (one for one in drawing.all("polyline") if one["stroke"] == colour)
    return [(float(a), float(b)) for a, b in (p.split(",") for p in line["points"].split())]


def dot(drawing: Drawing) -> tuple[float, float]:
    (one,) = drawing.all("circle")
    return float(one["cx"]), float(one["cy"])


# Four planned, 50 px each: one for the PDR, which is open and so late, three for the CDR.
FOUR = (
    opened("PDR"),
    closed("CDR", "TR-1"),
    closed("CDR", "TR-2"),
    closed("CDR"),
)
RECORDS = (made_on("TR-1", "2026-09-21"), made_on("TR-2", "2026-10-11"))


def test_planned_rises_at_the_reviews_and_actual_at_the_dates_of_records() -> None:
    drawing = drawn(state(*FOUR, records=RECORDS))
    assert points(drawing, INK) == [
        (x("2026-09-01"), 234.0), (x("2026-09-01"), 184.0), (x("2026-12-10"), 184.0),
        (x("2026-12-10"), 34.0), (740.0, 34.0),
    ]  # fmt: skip
    assert points(drawing, LOW) == [
        (x("2026-09-21"), 234.0), (x("2026-09-21"), 184.0), (x("2026-10-11"), 184.0),
        (x("2026-10-11"), 134.0), (x(TODAY), 134.0),
    ]  # fmt: skip


def test_what_an_analysis_closes_has_no_date_and_is_a_dashed_rise_to_the_dot() -> None:
    drawing = drawn(state(*FOUR, records=RECORDS))
    assert dot(drawing) == (x(TODAY), 84.0)
    (rise,) = (one for one in drawing.all("line") if one["stroke"] == LOW)
    assert (float(rise["x1"]), float(rise["y1"]), float(rise["y2"])) == (x(TODAY), 134.0, 84.0)
    assert rise["stroke-dasharray"]
    assert drawing.text("state of").said == "state of 2026-11-30: 3 of 4 closed"


def test_what_is_late_is_a_bar_and_a_word() -> None:
    """Three are closed and one was planned by now, so that the lines alone hide it."""
    drawing = drawn(state(*FOUR, records=RECORDS))
    (bar,) = (one for one in drawing.all("line") if one["stroke"] == BAD)
    assert (float(bar["x1"]), float(bar["y1"]), float(bar["y2"])) == (x("2026-09-01"), 184.0, 234.0)
    late = drawing.text("1 late")
    assert (late.left + late.right) / 2 == pytest.approx(x("2026-09-01"))
    assert drawing.text("3 of 3").foot > drawing.text("CDR").foot
    assert "open" not in drawing.told


def test_what_is_open_at_a_review_to_come_is_not_late() -> None:
    drawing = drawn(state(closed("PDR"), opened("CDR")))
    assert drawing.text("1 open")
    assert not [one for one in drawing.all("line") if one["stroke"] == BAD]


@pytest.mark.parametrize(
    ("fields", "day"),
    [
        ({"judged_on": (("R-0", "2026-10-01"),)}, "2026-10-01"),
        ({"judged_on": (("R-9", "2026-10-01"),)}, "2026-09-21"),
    ],
)
def test_a_measurement_that_was_judged_anew_counts_from_that_day(
    fields: dict[str, Any], day: str
) -> None:
    records = (made_on("TR-1", "2026-09-21", **fields),)
    drawing = drawn(state(closed("PDR", "TR-1"), opened("CDR"), records=records))
    assert points(drawing, LOW)[0][0] == x(day)


def test_a_shortfall_is_closed_from_the_day_of_its_waiver() -> None:
    short = closed("PDR", "TR-1", state=State.NOT_MET, covered_by="RFW-1")
    waiver = Waiver(NOWHERE, "RFW-1", "waiver", "R-0", date="2026-10-21")
    drawing = drawn(state(short, opened("CDR"), records=RECORDS, waivers=(waiver,)))
    assert points(drawing, LOW)[0][0] == x("2026-10-21")


def test_cases_are_one_verification_that_is_closed_with_the_last_of_them() -> None:
    both = requirement("R-0", closed("PDR", "TR-1", case="a"), closed("PDR", "TR-2", case="b"))
    one = state(opened("CDR"), records=RECORDS)
    drawing = drawn(dossier(both, *one.requirements, reviews=one.reviews, records=RECORDS))
    assert points(drawing, LOW)[0][0] == x("2026-10-11")
    assert drawing.text("state of").said.endswith("1 of 2 closed")


def test_without_all_dates_the_reviews_stand_at_equal_distances() -> None:
    """The CDR is being prepared: the state stands before it, and the PDR is past."""
    one = state(*FOUR, opened("AR"), records=RECORDS, reviews=("PDR", "CDR", "AR"))
    drawing = drawn(one, {"PDR": "2026-09-01"})
    planned = points(drawing, INK)
    assert [planned[n][0] for n in (0, 2, 4)] == pytest.approx([70.0, 395.0, 720.0])
    assert dot(drawing) == (pytest.approx(232.5, abs=0.06), 234.0 - 200.0 * 3 / 5)
    assert not [line for line in drawing.all("polyline") if line["stroke"] == LOW]
    assert drawing.text("2026-09-01").foot > drawing.text("PDR").foot
    assert drawing.text("1 late")


def test_what_is_planned_for_no_review_is_said() -> None:
    drawing = drawn(state(closed("PDR"), opened("CDR"), closed(None), opened(None)))
    assert drawing.text("Not drawn").said == (
        "Not drawn: 2 planned for no review, 1 of them closed."
    )
    assert drawing.text("state of").said.endswith("1 of 2 closed")


def test_reviews_near_each_other_have_their_texts_on_two_levels() -> None:
    dates = {"SRR": "2026-02-05", "PDR": "2026-06-18", "CDR": "2026-12-10", "QR": "2026-12-28",
             "AR": "2027-01-05"}  # fmt: skip
    drawing = drawn(state(*(opened(review) for review in dates), reviews=tuple(dates)), dates)
    feet = [drawing.text(name).foot for name in ("CDR", "QR", "AR")]
    assert feet == sorted(set(feet))


def test_the_text_has_the_numbers_of_the_table() -> None:
    assert drawn(state(*FOUR, records=RECORDS)).told == (
        "Close-out: 3 of 4 verifications closed, state of 2026-11-30:"
        " PDR (2026-09-01): 1 planned, 0 closed, 1 late."
        " CDR (2026-12-10): 3 planned, 3 closed."
    )


def test_nothing_where_nothing_is_planned() -> None:
    assert close_out_svg(dossier(), DATES) is None
    assert close_out_svg(state(opened(None)), DATES) is None


def test_a_state_without_a_day_and_one_review_alone() -> None:
    one = state(opened("CDR"), snapshot=SnapshotIdentity("folder", None, None))
    assert drawn(one).text("as judged").said == "as judged: 0 of 1 closed"
    assert drawn(state(closed("CDR"), review=None, reviews=("CDR",)))


def test_the_same_bytes_each_time_and_nothing_that_acts() -> None:
    for one in (gannet(), nasty()):
        svg = close_out_svg(one, {})
        assert svg == close_out_svg(one, {})
        assert svg is not None
        assert "<script" not in svg
        assert_apart(Drawing(svg))
