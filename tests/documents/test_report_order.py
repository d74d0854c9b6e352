"""An analysis report has the answer first, and cases beyond a few in an annex.

The project is that of ``tests/cli/project.py`` with an analysis that has five cases.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.project import base, power, repository, requirement
from tests.documents.packages import Package

# In the order that a reader asks; a report leaves out what it has not.
ORDER = (
    "Verdict and margin",
    "Cautions",
    "Worst case",
    "Results",
    "Inputs",
    "Sensitivity and break-even",
    "Predicted against measured",
    "Model, assumptions and validation",
    "Without a break-even",
    "All cases",
    "Derivation of ",
    "Functions in the derivation of ",
    "Arguments and quantities",
)
# By hand: 5 A h less 5 % at 11.5 V is 54.625 W h, of which each cell has its share.
SHARES = {"one": 1.0, "two": 0.9, "three": 1.1, "four": 0.8, "five": 1.2}
CELLS = f'''\
"""Energy of each cell."""
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import analysis
from closeout.units import A_h, Unit, V

SHARES = {SHARES}


class Cells(NamedTuple):
    cell: Annotated[Mapping[str, float], Unit("W h")]
    whole: Annotated[float, Unit("W h")]


@analysis(validated_by="tests/test_all.py")
def cells(voltage: V, charge: A_h) -> Cells:
    """Energy of each cell, which has its share."""
    whole = voltage * charge
    return Cells({{name: share * whole for name, share in SHARES.items()}}, whole)
'''


def headings(text: str) -> list[str]:
    """Return the headings of the first level, without their numbers."""
    return re.findall(r"^## (?:\d+|Annex [A-Z]+) (.*)$", text, re.MULTILINE)


def rank(heading: str) -> int:
    (found,) = (
        place
        for place, begin in enumerate(ORDER)
        if heading == begin or (begin.endswith(" ") and heading.startswith(begin))
    )
    return found


def section(text: str, heading: str) -> str:
    """Return the text below a heading of the first level."""
    (found,) = re.findall(
        rf"^## (?:\d+|Annex [A-Z]+) {heading}\n(.*?)(?=^## |\Z)", text, re.M | re.S
    )
    return str(found)


def test_every_report_has_the_order_in_which_a_reader_asks(package: Package) -> None:
    reports = sorted((package.folder / "analyses").glob("*.md"))
    assert reports
    for report in reports:
        found = headings(report.read_text("utf-8"))
        ranks = [rank(one) for one in found]
        both = {rank("Derivation of x"), rank("Functions in the derivation of x")}
        body = [one for one in ranks if one not in both]
        assert body == sorted(body), (report.name, found)
        assert found[0] == ORDER[0]
        assert len(set(body)) == len(body)
        # What is derived comes after everything that is judged.
        assert all(ranks.index(one) > ranks.index(rank(ORDER[7])) for one in both & set(ranks))


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The report of an analysis of five cells, each of which has to hold 40 W h."""
    place = tmp_path_factory.mktemp("cells")
    item = requirement("CEL-010", "at_least: 40 W h").replace("analysis: energy", "analysis: cells")
    item = item.replace("quantity: energy", "quantity: cell")
    project = repository(
        place / "p", base(power=power(requirement(), item)) | {"analyses/cells.py": CELLS}
    )
    run = project.run("package", "--review", "CDR", "-o", str(place / "out"))
    assert run.status == 0, run.said
    return Path(place / "out/analyses/cells.md").read_text("utf-8")


def test_the_body_has_the_case_that_decides(report: str) -> None:
    # 0.8 of 54.625 W h is 43.7 W h, 3.7 W h above the limit.
    verdict = section(report, "Verdict and margin")
    assert [case for case in SHARES if f"cell ({case})" in verdict] == ["four"]
    assert "| 43.7 W h | at least 40 W h | +3.7 W h |" in verdict
    assert "5 of 5 cases met; this one decides" in verdict
    worst = section(report, "Worst case")
    assert [case for case in SHARES if f"({case})" in worst] == ["four"]


def test_the_results_have_the_extremes_of_all_cases(report: str) -> None:
    # 0.8 of 54.625 W h, and 1.2 of 12.5 V times 5.25 A h, which is 78.75 W h.
    results = section(report, "Results")
    assert "| cell | 5 cases |  | 43.7 W h | 78.75 W h |" in results
    assert "| cell | four | 48 W h | 43.7 W h | 52.5 W h |" in results
    assert "| whole |  | 60 W h |" in results
    assert "| cell | one |" not in results


def test_the_annex_has_every_case(report: str) -> None:
    annex = section(report, "All cases")
    for case, share in SHARES.items():
        # Shown with four digits, the margin with three.
        assert f"| {case} | {share * 54.625:.4g} W h | at least 40 W h | " in annex
        assert f"| cell | {case} | {share * 60:.4g} W h |" in annex
    assert "| voltage | 11.5 V |" in annex
    assert "| charge | 4.75 A h |" in annex


def test_references_lead_to_the_tables_of_the_annex(report: str) -> None:
    annex = section(report, "All cases")
    (cases,) = re.findall(r"All cases: CEL-010 in \[Table \d+\]\(#(table-\d+)\)\.", report)
    (results,) = re.findall(r"Each case: \[Table \d+\]\(#(table-\d+)\)\.", report)
    assert f'<a id="{cases}"></a>Table {cases[6:]}: All cases of CEL-010, cell' in annex
    assert f'<a id="{results}"></a>Table {results[6:]}: What the analysis gives' in annex
