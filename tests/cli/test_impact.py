"""``closeout impact`` as a user runs it: what is printed and written, what is refused."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest

from tests.cli.project import Project, base, make, repository

SCHEMA = json.loads((files("closeout.render") / "impact.schema.json").read_bytes())


def test_the_answer_comes_first_and_no_line_is_wide(passing: Project) -> None:
    run = passing.run("impact", "voltage")
    assert run.status == 0
    assert run.stderr == ""
    lines = run.stdout.splitlines()
    # 54.625 W h over a limit of 190 kJ, which is 52.78 W h: by hand 196.65 kJ, so 6.65 kJ.
    assert lines[0].startswith("2 requirements rest on voltage; smallest margin: ")
    assert "6.65 kJ of energy in PWR-010." in lines[0]
    assert "What rests on it" in lines
    assert "  parameter voltage  12 V +/- 0.5 V; source: Invented" in lines
    assert "    analysis energy  (analyses/energy.py)" in lines
    assert "      quantity energy.energy" in lines
    assert max(map(len, lines)) <= 100
    assert lines[-1] == "Decision support only; not an approval."


def test_a_file_is_named_from_where_one_stands(passing: Project) -> None:
    for below, name in ((".", "analyses/energy.py"), ("analyses", "energy.py")):
        run = passing.run("impact", name, below=below)
        assert run.status == 0
        assert "code file analyses/energy.py" in run.stdout
        assert "requirements rest on analyses/energy.py" in run.stdout


def test_json_and_picture_are_written(passing: Project, tmp_path: Path) -> None:
    picture, other = tmp_path / "it.svg", tmp_path / "it.json"
    run = passing.run("impact", "PWR-010", "-o", str(picture), "-o", str(other), "--json", "-")
    assert run.status == 0
    jsonschema.validate(run.json, SCHEMA)
    assert json.loads(other.read_text()) == run.json
    assert [row["id"] for row in run.json["requirements"] if row["asked"]] == ["PWR-010"]
    assert {"kind": "parameter", "name": "charge"} in run.json["it_rests_on"]
    assert ElementTree.parse(picture).getroot().tag.endswith("svg")


def test_unused(project: Project) -> None:
    project.write({"analyses/data/lost.csv": "1,2\n"})
    run = project.run("impact", "--unused")
    assert run.status == 0
    assert run.stdout.splitlines()[0] == "No requirement rests on 1 item of the project."
    assert "  analyses/data/lost.csv" in run.stdout.splitlines()
    document = project.run("impact", "--unused", "--json", "-").json
    jsonschema.validate(document, SCHEMA)
    assert [one["name"] for one in document["unused"]] == ["analyses/data/lost.csv"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "name an item or a file, or write --unused"),
        (["--unused", "voltage"], "--unused beside voltage"),
        (["--unused", "-o", "x.svg"], "-o x.svg: no such form"),
        (["voltage", "-o", "x.pdf"], "end the name in .svg, .json"),
        (["voltage", "-o", "requirements/x.svg"], "nothing is written there"),
        (["voltag", "chrage"], "did you mean charge?"),
        (["voltage", "--review", "XXX"], "unknown review"),
        (["A..B"], "is in no git repository"),
    ],
)
def test_what_is_refused(passing: Project, arguments: list[str], said: str) -> None:
    run = passing.run("impact", *arguments)
    assert run.status == 2
    assert run.stdout == ""
    assert said in run.stderr


def test_an_unknown_name_is_refused_before_anything_runs(project: Project) -> None:
    project.replace("analyses/energy.py", "return Energy(", "open('ran', 'w')\n    return Energy(")
    run = project.run("impact", "voltag")
    assert run.status == 2
    assert not list(project.path.rglob("ran"))
    assert project.run("impact", "voltage").status == 0
    assert list(project.path.rglob("ran"))


def test_a_range_and_a_commit(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    project.replace("analyses/parameters.yaml", "value: 12 V", "value: 13 V")
    project.commit()
    project.replace("analyses/parameters.yaml", "value: 13 V", "value: 14 V")
    run = project.run("impact", "HEAD~1..")
    assert run.status == 0
    assert "parameter voltage  13 V +/- 0.5 V; source: Invented  (changed)" in run.stdout
    assert "12 V +/- 0.5 V" in project.run("impact", "voltage", "--at", "HEAD~1").stdout
    run = project.run("impact", "HEAD..tree")
    assert "14 V +/- 0.5 V" in run.stdout


def test_texts_of_a_project_do_nothing_to_a_terminal(tmp_path: Path) -> None:
    changed = base()
    power = changed["requirements/power.yaml"]
    assert isinstance(power, str)
    title = 'title: "Energy\\x1b[31m of \\u202e the battery"'
    changed["requirements/power.yaml"] = power.replace("title: Energy of the battery", title)
    project = make(tmp_path / "p", changed)
    for arguments in (["voltage"], ["voltage", "-o", "it.svg"], ["voltage", "--json", "-"]):
        run = project.run("impact", *arguments)
        assert run.status == 0
        assert "\x1b" not in run.stdout
        assert "\u202e" not in run.stdout
    svg = (project.path / "it.svg").read_text()
    assert "\x1b" not in svg
    assert "\u202e" not in svg


def test_an_unreadable_project_is_no_answer(project: Project) -> None:
    project.write({"requirements/project.yaml": "project: [\n"})
    run = project.run("impact", "voltage")
    assert run.status == 2
    assert run.stdout == ""
