"""An analysis declares how far its own model may be off: taken off on the bad side, or missed.

By hand: 12 V +/- 0.5 V times 5 A h +/- 5 % is 60 W h at the inputs, 54.625 W h to 65.625 W h over
the tolerances (tests/cli/project.py).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.project import ANALYSIS, CHARTER, PARAMETERS, WARMTH, Project, make

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow


def _project(tmp_path: Path, uncertainty: str, *rows: str) -> Project:
    mark = f"@analysis(model_uncertainty={uncertainty}, " if uncertainty else "@analysis("
    verifications = "".join(
        f"      - {{method: analysis, review: CDR, analysis: energy, quantity: energy, {row}}}\n"
        for row in rows
    )
    return make(
        tmp_path,
        {
            "requirements/project.yaml": CHARTER,
            "requirements/r.yaml": "requirements:\n  - id: R-1\n    title: Energy\n"
            "    source: Invented\n    statement: The lantern shall hold energy.\n"
            f"    verification:\n{verifications}",
            "analyses/p.yaml": PARAMETERS,
            "analyses/energy.py": ANALYSIS.replace("@analysis(", mark),
            "analyses/warmth.py": WARMTH,
            "tests/test_all.py": "",
        },
    )


def _entries(project: Project, *options: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = project.verify(*options).json["requirements"][0]["verification"]
    return found


def test_a_difference_moves_each_end_outward(tmp_path: Path) -> None:
    rows = ("at_least: 54 W h", "at_most: 66 W h", "at_least: 59.5 W h, basis: nominal")
    project = _project(tmp_path, "{'energy': '1 W h'}", *rows)
    low, high, nominal = _entries(project)
    assert [one["state"] for one in (low, high, nominal)] == ["not met", "not met", "not met"]
    assert low["margin"] == pytest.approx(54.625 - 1 - 54, rel=1e-9)
    assert high["margin"] == pytest.approx(66 - 65.625 - 1, rel=1e-9)
    assert (nominal["margin"], nominal["assurance"]) == (-0.5, "nominal")
    assert (low["value"], low["model_uncertainty"]) == (60.0, "1 W h")
    # The ends are those of the analysis, what is judged is told beside them.
    assert low["low"] == pytest.approx(54.625, rel=1e-9)
    assert nominal["low"] is None
    assert "judged 53.62 W h" in project.run("verify").stdout


def test_a_share_is_of_the_value_itself(tmp_path: Path) -> None:
    project = _project(tmp_path, "{'energy': '2 %'}", "at_least: 53 W h", "at_most: 66 W h")
    low, high = _entries(project)
    assert (low["state"], high["state"]) == ("met", "not met")
    assert low["margin"] == pytest.approx(0.98 * 54.625 - 53, rel=1e-9)
    assert high["margin"] == pytest.approx(66 - 1.02 * 65.625, rel=1e-9)


def test_it_is_taken_off_a_probability(tmp_path: Path) -> None:
    # Charge alone is drawn where the voltage has no tolerance: uniform from 57 W h to 63 W h, so
    # with 2 W h off at least 57.5 W h holds from 59.5 W h up, in 3.5 of 6.
    row = "at_least: 57.5 W h, basis: {probability: 0.7, confidence: 0.9}"
    for uncertainty, state in (("", "met"), ("{'energy': '2 W h'}", "not met")):
        project = _project(tmp_path / state, uncertainty, row)
        project.replace("analyses/p.yaml", "tolerance: 0.5 V, ", "")
        (entry,) = _entries(project)
        assert entry["state"] == state


def test_break_even_values_have_it_taken_off(tmp_path: Path) -> None:
    # At 5 A h, 55 W h and the 2 W h of the model need 57 W h: 11.4 V.
    project = _project(tmp_path, "{'energy': '2 W h'}", "at_least: 55 W h")
    text = " ".join(project.run("explain", "R-1").stdout.split())
    assert "not met below 11.4 V" in text
    assert "model uncertainty 2 W h deducted" in text


def test_where_none_is_declared_the_output_says_so(tmp_path: Path) -> None:
    project = _project(tmp_path, "", "at_least: 50 W h")
    assert "declares no model uncertainty" in project.run("explain", "R-1").stdout
    assert "model uncertainty: none declared" in project.run("explain", "energy").stdout
    assert _entries(project)[0]["model_uncertainty"] is None


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("{'energy': '1 K'}", "wrong dimension"),
        ("{'energy': 'some'}", "does not begin with a number"),
        ("{'energy': '-1 W h'}", "no uncertainty"),
        ("{'energy': '120 %'}", "no uncertainty"),
        ("{'power': '1 W h'}", "no quantity of it"),
        ("{'energy': 1.0}", "no mapping of texts"),
        ("3", "no mapping of texts"),
    ],
)
def test_what_cannot_be_used_is_told_where_it_stands(tmp_path: Path, said: str, told: str) -> None:
    run = _project(tmp_path, said, "at_least: 50 W h").verify()
    assert run.status == 2
    found = [p for p in run.json["problems"] if p["path"] == "analyses/energy.py"]
    assert told in found[0]["message"]
    assert found[0]["cure"]
