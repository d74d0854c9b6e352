"""Predictions by the model before the test and through a chain, and how they are shown."""

from __future__ import annotations

import json
import math
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from uncertainties import ufloat

from closeout.model.compared import Compared
from closeout.run import Project
from tests.cli.project import Project as Files
from tests.cli.project import environment, make
from tests.run.predictions import (
    CHARTER,
    EXPLAINED,
    FAR,
    ITEM,
    PARAMETERS,
    files,
    only,
    record,
    verified,
)

# ---- by the model before the test


def commit(project: Files, day: str) -> str:
    when = f"{day}T12:00:00+0000"
    project.git("add", "--all")
    subprocess.run(
        ["git", "commit", "--quiet", "--no-verify", "--message", "change"],
        cwd=project.path,
        env=environment(GIT_COMMITTER_DATE=when, GIT_AUTHOR_DATE=when),
        check=True,
    )
    return project.git("rev-parse", "HEAD")


def repository(folder: Path, content: dict[str, str | bytes]) -> Files:
    project = make(folder / "p", content)
    project.git("init", "--quiet", "--initial-branch=main")
    return project


def explained(project: Files, name: str = "PWR-010") -> Compared:
    found = Project(project.path, jobs=1).explain(name)
    return only(found.dossier)


def test_a_model_that_was_tuned_after_the_test_shows_it(tmp_path: Path) -> None:
    content = files()
    planned = dict(content) | {"requirements/records.yaml": "records: []\n"}
    planned["requirements/power.yaml"] = ITEM.replace(", records: [TR-1]", "")
    project = repository(tmp_path, planned)
    before = commit(project, "2026-02-01")
    project.write({"analyses/parameters.yaml": PARAMETERS.replace("12 V", "11.6 V")})
    commit(project, "2026-03-02")  # the day of the test: nobody knows whether it is from before
    project.write(content | {"analyses/parameters.yaml": PARAMETERS.replace("12 V", "11.6 V")})
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.now.value == 58.0
    assert one.before is not None
    assert (one.before.commit, one.before.day) == (before, "2026-02-01")
    assert one.before.value == 60.0
    assert one.before.low == pytest.approx(54.625, rel=1e-9)
    assert one.before.difference == -2.0
    assert one.before.normalised_error == pytest.approx(-0.4330, abs=1e-4)
    text = Project(project.path, jobs=1).explain("energy").text
    assert f"of {before[:12]}, 2026-02-01" in text


def test_code_that_was_tuned_shows_it_too(tmp_path: Path) -> None:
    content = files()
    project = repository(tmp_path, content)
    commit(project, "2026-02-01")
    project.replace("analyses/energy.py", "voltage * charge *", "0.97 * voltage * charge *")
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.before is not None
    assert (one.before.value, one.now.value) == (60.0, pytest.approx(58.2))


def test_without_git_there_is_one_prediction_with_the_reason(tmp_path: Path) -> None:
    one = explained(make(tmp_path / "p", files()))
    assert one.now.value == 60.0
    assert one.before is None
    assert one.no_before == "the project is in no commit, so its model before the test is not known"


def test_before_the_first_commit_there_is_no_model(tmp_path: Path) -> None:
    project = repository(tmp_path, files())
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.no_before == "no commit is from before 2026-03-02; the first is of 2026-03-20"


def test_a_model_that_did_not_give_the_quantity_says_so(tmp_path: Path) -> None:
    content = files()
    project = repository(tmp_path, {"requirements/project.yaml": CHARTER})
    commit(project, "2026-02-01")
    project.write(content)
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.before is not None
    assert one.before.failed == "there is no analysis energy"


def test_a_renamed_parameter_is_still_the_condition_of_the_test(tmp_path: Path) -> None:
    old = {
        name: text.replace("cell_temperature", "temperature") if isinstance(text, str) else text
        for name, text in files().items()
    }
    old["requirements/records.yaml"] = "records: []\n"
    project = repository(tmp_path, old)
    commit(project, "2026-02-01")
    cold = files(record(conditions="cell_temperature: 10 degC"))
    renamed = PARAMETERS.replace("condition: true", "condition: true, formerly: temperature")
    project.write(cold | {"analyses/parameters.yaml": renamed})
    commit(project, "2026-03-20")
    one = explained(project)
    assert one.before is not None
    assert one.before.value == pytest.approx(54.0)


def test_verify_asks_no_earlier_model(tmp_path: Path) -> None:
    project = repository(tmp_path, files())
    commit(project, "2026-02-01")
    project.replace("analyses/energy.py", "voltage * charge *", "0.97 * voltage * charge *")
    one = only(Project(project.path, jobs=1).verify())
    assert (one.before, one.no_before) == (None, None)


# ---- shown


def test_explain_shows_it_for_people_and_for_programs(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files(record(measured=FAR, more=EXPLAINED)))
    run = project.run("explain", "PWR-010")
    assert run.status == 0
    lines = run.stdout.splitlines()
    start = lines.index("Predicted against measured")
    assert all(len(line) <= 100 for line in lines[start:])
    text = "\n".join(lines[start:])
    assert "TR-1  energy = 80 W h +/- 1.2 W h (k = 2) on 2026-03-02, by energy" in text
    assert "60 W h   54.62 W h  65.63 W h  +20 W h     3.56   outside   4.29" in text
    assert "explained: The cells are of a newer lot. (TN-7, the board)" in text
    assert "made at cell_temperature = 20 degC" in text
    run = project.run("explain", "PWR-010", "--json", "-")
    (said,) = run.json["predicted_and_measured"]
    assert said["value"] == 80.0
    assert said["predicted"]["nominal"] == 60.0
    assert said["predicted"]["in_range"] == "outside"
    assert said["predicted_before"] is None
    assert said["explained"] == {
        "text": "The cells are of a newer lot.", "document": "TN-7", "by": "the board"
    }  # fmt: skip


def test_the_package_has_one_table_of_it_with_a_picture(tmp_path: Path) -> None:
    project = make(
        tmp_path / "p", files(record(), record("TR-2", "pressure: 3 kPa +/- 1 Pa (k = 2)"))
    )
    assert project.run("package", "-o", "out").status == 0
    out = project.path / "out"
    page = (out / "verification-report.md").read_text("utf-8")
    row = (
        "| TR-1 | energy | 58 W h +/- 1 W h (k = 2) | energy | now | 60 W h | 54.62 W h | 65.63 W h"
        " | -2 W h | -0.372 | inside | -0.433 |"
    )
    assert page.count(row) == 1
    assert "- TR-2 pressure: 3 kPa +/- 1 Pa (k = 2)" in page
    html = (out / "verification-report.html").read_text("utf-8")
    assert "<title>Predicted ranges and measured values</title>" in html
    assert html.count("<circle") == 1
    report = (out / "analyses" / "energy.md").read_text("utf-8")
    assert row in report
    assert "verification-report.md" in (out / "index.md").read_text("utf-8")
    (said,) = json.loads((out / "dossier.json").read_text("utf-8"))["predicted_and_measured"]
    assert said["record"] == "TR-1"


def test_a_run_that_is_kept_has_it_too(tmp_path: Path) -> None:
    project = make(tmp_path / "p", files())
    first = Project(project.path, jobs=1).verify()
    again = Project(project.path, jobs=1).verify()
    assert first.compared == again.compared
    assert again.scale.evaluated == 0
    assert first.requirements == again.requirements
    assert replace(first, scale=again.scale).compared


def test_nothing_is_asked_where_no_record_matches(tmp_path: Path) -> None:
    dossier = verified(tmp_path, files(record(measured="colour: 3 +/- 1 (k = 2)")))
    assert dossier.compared == ()
    assert dossier.scale.evaluated == 1


# ---- through a chain

CELLS = '''\
"""Charge of cells in parallel."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, count, degC


class Cells(NamedTuple):
    pack_charge: A_h


@analysis(validated_by="tests/test_all.py")
def cells(cell_charge: A_h, cells_in_parallel: count, pack_temperature: degC) -> Cells:
    """Charge of cells in parallel, less 2 % for each kelvin below 20 degC."""
    cold = 20 - pack_temperature
    return Cells(cell_charge * cells_in_parallel * (1 - 0.02 * cold))
'''

LINKED = """\
parameters:
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {from: cells.pack_charge}
  cell_charge: {value: 2.5 A h, tolerance: 5 %, source: Invented}
  cells_in_parallel: {value: 2 count, tolerance: 0 count, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
  pack_temperature: {value: 20 degC, condition: true, source: Invented}
"""
AT = "cell_temperature: 20 degC, pack_temperature: 20 degC"


def chain(*records: str, criterion: str = "") -> dict[str, str | bytes]:
    item = ITEM.replace("given: {cell_temperature: 20 degC}", f"given: {{{AT}}}")
    content = files(*(records or (record(conditions=AT),)))
    charter = CHARTER.replace("  next_review: CDR\n", f"  next_review: CDR\n{criterion}")
    return content | {
        "requirements/project.yaml": charter,
        "requirements/power.yaml": item
        + """\
  - id: PWR-020
    title: Charge of the pack
    statement: The battery shall hold at least 3 A h at 20 degC.
    source: Invented
    verification:
      - {method: analysis, review: CDR, analysis: cells, quantity: pack_charge, at_least: 3 A h,
         given: {pack_temperature: 20 degC}, risk: Invented}
""",
        "analyses/parameters.yaml": LINKED,
        "analyses/cells.py": CELLS,
    }


def test_a_chain_is_predicted_over_its_inputs_below(tmp_path: Path) -> None:
    # The same numbers as without the chain.
    one = only(verified(tmp_path / "a", chain()))
    assert one.now.value == 60.0
    assert one.now.low == pytest.approx(54.625, rel=1e-9)
    assert one.now.proved
    assert one.now.normalised_error == pytest.approx(-0.4330, abs=1e-4)
    # A condition of the test reaches the analysis below: 10 K colder are 20 % less charge there.
    cold = record(conditions="cell_temperature: 20 degC, pack_temperature: 10 degC")
    one = only(verified(tmp_path / "b", chain(cold)))
    assert one.now.value == pytest.approx(48.0, rel=1e-12)


def test_an_input_below_is_that_measured_on_the_article(tmp_path: Path) -> None:
    weighed = record("TR-2", "cell_charge: 2.4 A h +/- 0.01 A h (k = 2)", conditions="")
    one = only(verified(tmp_path / "a", chain(record(conditions=AT), weighed)))
    assert one.now.value == pytest.approx(12 * 4.8, rel=1e-12)
    predicted = ufloat(12, 0.5 / math.sqrt(3)) * 2 * ufloat(2.4, 0.005)
    assert one.now.expanded == pytest.approx(2 * predicted.s, rel=1e-7)
    # What is computed may be measured too; then nothing below it counts.
    pack = record("TR-2", "charge: 4.9 A h +/- 0.02 A h (k = 2)", conditions="")
    one = only(verified(tmp_path / "b", chain(record(conditions=AT), pack)))
    assert one.now.value == pytest.approx(12 * 4.9, rel=1e-12)


def test_what_rests_on_a_model_that_is_not_correlated_says_so(tmp_path: Path) -> None:
    criterion = "  correlation: [{quantity: pack_charge, within: 0.1 A h}]\n"
    off = record(
        "TR-2", "pack_charge: 4.8 A h +/- 0.05 A h (k = 2)", conditions="pack_temperature: 20 degC"
    )
    dossier = verified(tmp_path, chain(record(conditions=AT), off, criterion=criterion))
    said = {
        (result.id, entry.method): len(entry.not_correlated)
        for result in dossier.requirements
        for entry in result.evidence
    }
    assert said == {("PWR-010", "analysis"): 1, ("PWR-010", "test"): 0, ("PWR-020", "analysis"): 1}


def test_below_an_agreed_range_nothing_is_asked_for(tmp_path: Path) -> None:
    agreed = "charge: {range: [4 A h, 6 A h], estimate: cells.pack_charge, source: ICD 3}"
    content = chain(record(conditions=AT))
    content["analyses/parameters.yaml"] = LINKED.replace(
        "charge: {from: cells.pack_charge}", agreed, 1
    )
    content["requirements/power.yaml"] = str(content["requirements/power.yaml"]).replace(
        f"given: {{{AT}}}", "given: {cell_temperature: 20 degC}"
    )
    one = only(verified(tmp_path, content))
    assert one.now.low == pytest.approx(11.5 * 4, rel=1e-9)
    assert one.now.failed is None


def test_what_a_model_below_may_be_off_is_no_uncertainty(tmp_path: Path) -> None:
    content = chain()
    content["analyses/cells.py"] = CELLS.replace(
        'validated_by="tests/test_all.py"',
        'validated_by="tests/test_all.py", model_uncertainty={"pack_charge": "0.1 A h"}',
    )
    one = only(verified(tmp_path, content))
    assert one.now.low == pytest.approx(11.5 * 4.65, rel=1e-9)
    assert one.now.normalised_error is None
    assert one.now.no_error == "model uncertainty of cells.pack_charge: bounds are no uncertainty"
