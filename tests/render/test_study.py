"""Studies as text and in the reports of a package."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from closeout.arithmetic.study.quantity import study
from closeout.model.dossier import Dossier
from closeout.model.question import Failure
from closeout.model.study import Edge, Study
from closeout.render.explain import Explained, rest_text
from closeout.render.package import package
from closeout.render.study import toward_the_safe_side
from tests.render.reading import html_tree, markdown_tables

HOSTILE = "<script>alert(1)</script> $ & | ``` `x` ]]>"


def studied(case: str | None = None, **changed: Any) -> Study:
    """Return a study of PWR-020: usable_energy = a b at 2 +/- 0.2 and 3 +/- 0.1.

    Slopes 3 and 2, spreads 0.6 and 0.2, shares 36/40 and 4/40.
    """

    def evaluate(point: Mapping[str, Any]) -> dict[Any, Any]:
        return {("usable_energy", case): point["sleep_current"] * point["hold_duration"]}

    found = study(
        evaluate,
        {"sleep_current": 2.0, "hold_duration": 3.0},
        (("sleep_current", 1.8, 2.2), ("hold_duration", 2.9, 3.1)),
        {
            "quantity": "usable_energy", "case": case, "at_least": None, "at_most": None,
            "corner": (), "decides": (), "units": {"usable_energy": "W h"}, "boundary": None,
            "marches": True, "differentiated": True, "met_everywhere": False, "quantile": None,
            "seed": "PWR-020", "groups": {}, "sides": [], "added": [], "reach": {}, "unset": [],
            "drawn": {},
        },
    )  # fmt: skip
    fields: dict[str, Any] = {
        "drivers": found.drivers,
        "lines": found.lines,
    }
    return Study(
        "PWR-020", 0, "power.pad_hold_energy", "usable_energy", case, "W h", **(fields | changed)
    )


def report(dossier: Dossier, one: Study, ending: str) -> str:
    return package(dossier, {}, [one])[f"analyses/power.pad_hold_energy.{ending}"].decode()


def test_a_report_has_the_sensitivities(gannet: Dossier) -> None:
    tables = markdown_tables(report(gannet, studied(), "md"))
    (table,) = [
        t for t in tables if t[0] == ["input", "share", "at the low end", "at the high end"]
    ]
    assert table[1:] == [
        ["sleep_current", "90.0 %", "-0.6 W h", "+0.6 W h"],
        ["hold_duration", "10.0 %", "-0.2 W h", "+0.2 W h"],
    ]


def test_a_report_has_the_derivation_in_both_forms(gannet: Dossier) -> None:
    text = report(gannet, studied(), "md")
    assert "## Annex A Derivation of usable_energy\n" in text
    first, second = text.split("$$\n")[1], text.split("$$\n")[3]
    assert first.endswith(r"\mathrm{sleep\ current} \cdot \mathrm{hold\ duration}" + "\n")
    assert second == r"= 2 \cdot 3" + "\n"
    assert "usable_energy = 6 W h" in text
    page = html_tree(report(gannet, studied(), "html"))
    formulas = page.all("math")
    assert [one.text for one in formulas] == [
        "usable energy=sleep current·hold duration", "=2·3",
    ]  # fmt: skip
    assert "http" not in report(gannet, studied(), "html").replace("http-equiv", "")


def test_a_hostile_case_stays_text(gannet: Dossier) -> None:
    one = studied(HOSTILE)
    for ending in ("md", "html"):
        assert "<script" not in report(gannet, one, ending)
    page = html_tree(report(gannet, one, "html"))
    # What is too long for a line is plain text; the numbers put in are a formula.
    assert len(page.all("math")) == 1
    assert "alert(1)" in page.text
    text = report(gannet, one, "md")
    assert sum(line == "$$" for line in text.split("\n")) == 2


def test_no_study_no_section(gannet: Dossier) -> None:
    assert "Derivation" not in package(gannet, {})["analyses/power.pad_hold_energy.md"].decode()


def test_a_study_without_an_answer_says_so(gannet: Dossier) -> None:
    failure = Failure("timed out", "it ran longer than 60 s and was ended", "")
    one = studied(failure=failure, drivers=(), lines=())
    text = rest_text(gannet, gannet, Explained("PWR-020", colour=False), [one])
    assert text is not None
    assert "no study of usable_energy (timed out): it ran longer than 60 s and was ended" in text
    assert "the study could not be made: it took longer than it may" in report(gannet, one, "md")


def test_a_study_of_another_requirement_is_not_shown(gannet: Dossier) -> None:
    text = rest_text(gannet, gannet, Explained("COM-040", colour=False), [studied()])
    assert text is not None
    assert "Sensitivity" not in text


@pytest.mark.parametrize(
    ("value", "direction", "holds", "shown"),
    [
        (4.56789123, "above", True, "4.5678"),
        (4.56789123, "below", True, "4.5679"),
        (4.56789123, "above", False, "4.5679"),
        (4.56789123, "below", False, "4.5678"),
        (-4.56789123, "above", True, "-4.5679"),
        (3.9999999999999996, "above", True, "4"),
        (4.000000000000001, "below", True, "4"),
        (3e-17, "below", True, "0"),
    ],
)
def test_a_break_even_value_is_rounded_to_where_the_criterion_holds(
    value: float, direction: str, holds: bool, shown: str
) -> None:
    edge = Edge("p", "V", 5.0, value, "nominal", 1.0, direction, holds, True, None)
    assert toward_the_safe_side(edge) == shown
