"""A document says that an analysis failed and whom it concerns; how to mend it says the terminal.

The project is that of ``tests/cli/project.py`` with analyses that fail, each in another way.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli.project import CHARTER, Project, Run, base, power, repository, requirement
from tests.documents.packages import Package

# A package of a dozen failing analyses, one of which has to run out of processor time.
pytestmark = pytest.mark.slow

# What only who writes code understands, and key names of files.
OF_CODE = (
    "Traceback",
    "Error:",
    "RuntimeError",
    "ZeroDivisionError",
    "SyntaxError",
    ".py:",
    "@analysis",
    "decorator",
    "closeout.math",
    "evaluations=",
    "validated_by",
    "closed_by",
    "the jar broke",  # the text that an analysis below raises
    "assert ",
    "closeout explain",
    "and cannot be looked up",
    "one number is needed",
    "float()",
)


def analysis(name: str, body: str, arguments: str = "voltage: V", more: str = "") -> str:
    """Return a module with one analysis, whose function has the name of its quantity."""
    return f'''\
"""Invented for a test."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import V, W_h


class Found(NamedTuple):
    {name}: W_h


@analysis(validated_by="tests/test_all.py"{more})
def {name}({arguments}) -> Found:
    """Something of the battery.

    **Model.** It is one product.

    Raises:
        RuntimeError: the jar broke.
    """
    {body}
'''


BODIES = {
    "raising": "raise RuntimeError('the jar broke')",
    "dividing": "return Found(1.0 / (voltage - voltage))",
    "not_a_number": "return Found(float('nan'))",
    "wrong_unit": "return Found(voltage)",
    "wrong_result": "return voltage",
    "slow": "while True: pass",
    "gone": "import os; os._exit(3)",
    "above": "return Found(5.0 * inner)",
    "together": "return Found(5.0 * left + right)",
    "searched": "return Found(50.0 if voltage > 12.0 else 51.0)",
    "looked_up": "return Found({12.0: 60.0}.get(voltage, 61.0))",
    "converted": "return Found(float(str(voltage)) * 5.0)",
    "drawn": "return Found(5.0 * voltage)",
    "untrue": "return Found(5.0 * voltage)",
}
LIMITS = {
    "wrong_unit": "at_least: 190 K",
    "together": "at_least: 190 kJ\n        basis: root sum square",
}
FIGURE = """

@drawn.figure
def curve(voltage: float) -> str:
    'A curve.'
    raise RuntimeError('the jar broke')
"""
BENCH = """\
articles: [{id: BAT, title: Battery, model: flight, build: FM-2}]
nonconformances:
  - {id: NCR-001, requirements: [PWR-drawn], article: {BAT: FM-2}, class: minor, cause: a scratch,
     disposition: return}
"""
LINK = """\
parameters:
  inner: {from: raising.raising}
  left: {value: 12 W h, tolerance: 1 W h, group: jars, source: Invented}
  right: {value: 5 W h, tolerance: 1 W h, group: jars, source: Invented}
"""


def files() -> dict[str, str | bytes]:
    modules = {f"analyses/{name}.py": analysis(name, body) for name, body in BODIES.items()}
    modules["analyses/slow.py"] = analysis("slow", BODIES["slow"], more=", time_limit=1")
    modules["analyses/above.py"] = analysis("above", BODIES["above"], "inner: W_h")
    modules["analyses/together.py"] = analysis(
        "together", BODIES["together"], "left: W_h, right: W_h"
    )
    modules["analyses/drawn.py"] += FIGURE
    modules["analyses/untrue.py"] = modules["analyses/untrue.py"].replace("test_all", "test_untrue")
    modules["analyses/broken.py"] = analysis("broken", "return Found(").replace("V, W_h", "V, W_h,")
    modules["analyses/unreadable.py"] = "import nothing_of_that_name\n"
    items = [
        requirement(f"PWR-{name}", LIMITS.get(name, "at_least: 190 kJ"))
        .replace("analysis: energy", f"analysis: {name}")
        .replace("quantity: energy", f"quantity: {name}")
        for name in (*BODIES, "broken")
    ]
    more = {
        "requirements/bench.yaml": BENCH,
        "analyses/link.yaml": LINK,
        "tests/test_untrue.py": "def test_it() -> None:\n    assert 1 + 1 == 3, 'the jar broke'\n",
    }
    return base(charter=CHARTER, power=power(requirement(), *items)) | modules | more


@dataclass(frozen=True)
class Made:
    project: Project
    folder: Path
    run: Run

    def text(self, name: str) -> str:
        return plain(self.folder / name)


def plain(page: Path) -> str:
    """Return a document's text without the marks that escape and break words."""
    text = page.read_text("utf-8").replace("\\", "").replace("<wbr>", "")
    return re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    place = tmp_path_factory.mktemp("failing")
    sound = {"analyses/raising.py": analysis("raising", "return Found(5.0 * voltage)")}
    project = repository(place / "p", files() | sound)
    project.write(files())
    project.commit("break it")
    options = ("--review", "CDR", "--validate", "--since", "HEAD~1")
    run = project.run("package", *options, "-o", str(place / "out"))
    assert run.status == 0, run.said
    return Made(project, place / "out", run)


def pages(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.suffix in (".md", ".html")]


def _of_code(folder: Path) -> set[str]:
    """Return the lines of documents that speak of code."""
    return {
        f"{page.relative_to(folder)}: {line.strip()[:300]}"
        for page in pages(folder)
        for line in plain(page).splitlines()
        if any(text in line for text in OF_CODE)
    }


def test_no_document_holds_the_text_of_an_exception_or_advice_on_code(made: Made) -> None:
    assert _of_code(made.folder) == set()


def test_what_an_author_says_of_the_model_stays(made: Made) -> None:
    assert "**Model.** It is one product." in made.text("analyses/raising.md")


def test_no_document_of_a_whole_project_does(package: Package) -> None:
    """Where nothing fails as well: why an end is not proved, why there is no formula."""
    assert _of_code(package.folder) == set()


def test_the_rows_of_the_matrix_hold_none_either(made: Made) -> None:
    text = (made.folder / "compliance-matrix.csv").read_text("utf-8")
    assert [word for word in OF_CODE if word in text] == []


@pytest.mark.parametrize("form", ["md", "html"])
def test_a_matrix_of_its_own_holds_none(made: Made, tmp_path: Path, form: str) -> None:
    target = tmp_path / f"matrix.{form}"
    assert made.project.run("matrix", "-o", str(target)).status == 0
    assert [word for word in OF_CODE if word in plain(target)] == []
    assert "PWR-raising" in plain(target)


def test_the_terminal_and_the_dossier_still_say_it(made: Made) -> None:
    """What an author needs: the exception, the place, and what to do."""
    told = made.project.run("verify").stdout
    for text in ("RuntimeError: the jar broke (analyses/", "ZeroDivisionError", "exited: "):
        assert text in " ".join(told.split()), text
    dossier = (made.folder / "dossier.json").read_text("utf-8")
    for text in ("RuntimeError: the jar broke", "analyses/raising.py"):
        assert text in dossier
    why = made.project.run("explain", "PWR-looked_up").stdout
    assert "analyses/looked_up.py:" in why


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("raising", "the analysis raising failed: it ended with an error"),
        ("dividing", "the analysis dividing failed: it divides by zero"),
        ("slow", "the analysis slow failed: it took longer than it may"),
        ("gone", "the analysis gone failed: its process ended without a result"),
        ("above", "the analysis above rests on raising, which gives no value"),
    ],
)
def test_a_document_says_which_analysis_failed_and_how(made: Made, name: str, said: str) -> None:
    for page in ("compliance-matrix.md", "open-points.md", "verification-control.md"):
        assert said in made.text(page), page
    assert said in made.text(f"analyses/{name}.md")


def test_what_the_tool_refuses_is_said_as_on_the_terminal(made: Made) -> None:
    """It is about parameters and units, not about code."""
    said = "left, right are correlated (group jars), and root sum square is for independent"
    assert said in " ".join(made.project.run("verify").stdout.split())
    for page in ("compliance-matrix.md", "open-points.md", "verification-control.md"):
        assert said in made.text(page), page


@pytest.mark.parametrize(
    ("name", "action"),
    [
        *((name, "correct the analysis") for name in ("raising", "dividing", "slow", "gone")),
        *((name, "correct the analysis") for name in ("not_a_number", "wrong_result", "untrue")),
        *(
            (name, "correct what the findings below name")
            for name in ("wrong_unit", "broken", "together")
        ),
        ("above", "correct the analysis that it rests on"),
    ],
)
def test_what_closes_a_failed_verification_is_a_correction(
    made: Made, name: str, action: str
) -> None:
    """To evaluate the same again fails again."""
    (row,) = (x for x in made.text("open-points.md").splitlines() if f"| [PWR-{name}]" in x)
    assert row.endswith(f"| {action} |")


def test_what_got_worse_since_says_it_in_words_too(made: Made) -> None:
    (row,) = (x for x in made.text("changes.md").splitlines() if x.startswith("| PWR-raising |"))
    assert "C closed -&gt; open" in row
    assert "the analysis raising failed: it ended with an error" in row


def test_a_failed_validation_is_said_without_what_the_test_printed(made: Made) -> None:
    assert "tests/test_untrue.py (run: failed)" in made.text("analyses/untrue.md")
    assert "validation failed: tests/test_untrue.py" in made.text("compliance-matrix.md")


def test_a_nonconformance_that_is_open_says_in_words_what_it_lacks(made: Made) -> None:
    assert "no record closes it" in made.text("verification-report.md")


def test_every_page_and_the_terminal_say_that_the_package_is_incomplete(made: Made) -> None:
    said = "PWR-raising (raising)"
    assert len(pages(made.folder)) > 30
    for page in pages(made.folder):
        assert re.search(rf"INCOMPLETE - .*{re.escape(said)}", plain(page)), page
    assert "INCOMPLETE" in made.run.said
    assert said in " ".join(made.run.said.split())
    manifest = json.loads((made.folder / "manifest.json").read_text())
    assert any(said in text for text in manifest["incomplete"])
