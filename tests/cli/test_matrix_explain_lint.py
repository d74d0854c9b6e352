"""``matrix``, ``explain`` and ``lint`` as a user runs them."""

from __future__ import annotations

import csv
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import pytest

from tests.cli.project import ANALYSIS, CHARTER, Project, base, make, power
from tests.cli.project import requirement as item

IDS = ["THM-010", "PWR-010", "SYS-010"]


class Rows(HTMLParser):
    """The text of a page's table rows."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def identifiers(path: Path) -> set[str]:
    """Return the identifiers in a matrix, read by a reader of its form."""
    text = path.read_text("utf-8")
    if path.suffix == ".csv":
        return {row["requirement"] for row in csv.DictReader(text.splitlines())}
    if path.suffix == ".json":
        return {entry["id"] for entry in json.loads(text)["requirements"]}
    if path.suffix == ".html":
        parser = Rows()
        parser.feed(text)
        text = " ".join(parser.text)
    return set(re.findall(r"\b[A-Z]{3}-[0-9]{3}\b", text))


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A project with a shortfall that no test changes."""
    files = base(power=power(item(limit="at_least: 197 kJ")))
    return make(tmp_path_factory.mktemp("short") / "p", files)


@pytest.mark.parametrize("ending", ["md", "html", "csv", "json", "MD"])
def test_every_form_has_every_requirement_and_is_0(
    short: Project, tmp_path: Path, ending: str
) -> None:
    target = tmp_path / f"matrix.{ending}"
    run = short.run("matrix", "-o", str(target))
    assert run.status == 0
    assert run.stdout == ""
    assert identifiers(target.rename(tmp_path / f"m.{ending.lower()}")) == set(IDS)


def test_the_forms_tell_the_same_verdicts(short: Project, tmp_path: Path) -> None:
    for ending in ("md", "csv", "json", "html"):
        assert short.run("matrix", "-o", str(tmp_path / f"m.{ending}")).status == 0
    document = json.loads((tmp_path / "m.json").read_bytes())
    codes = {entry["id"]: entry["compliance"] for entry in document["requirements"]}
    assert codes == {"THM-010": "C", "PWR-010": "NC", "SYS-010": "PC"}
    rows = csv.DictReader((tmp_path / "m.csv").read_text("utf-8").splitlines())
    for row in rows:
        assert row["compliance"] == codes[row["requirement"]]
    lines = (tmp_path / "m.md").read_text("utf-8").split("\n")
    for name, code in codes.items():
        line = next(line for line in lines if line.startswith(f"| {name} "))
        assert re.search(rf"\| *\**{code}\b", line), line


@pytest.mark.parametrize("name", ["x.docx", "x", "x.xml", "-", ".md", "x.md.", "x.htm"])
def test_an_unknown_form_is_2(short: Project, name: str) -> None:
    before = short.contents()
    run = short.run("matrix", "-o", name)
    assert run.status == 2
    assert ".html" in run.stderr
    assert short.contents() == before


def test_a_missing_folder_is_2_and_leaves_nothing(short: Project) -> None:
    before = short.contents()
    run = short.run("matrix", "-o", "nowhere/x.md")
    assert run.status == 2
    assert "nowhere" in run.stderr
    assert short.contents() == before
    assert not (short.path / "nowhere").exists()


def test_a_matrix_of_an_unreadable_project_is_2_and_leaves_the_old_one(project: Project) -> None:
    project.write({"requirements/project.yaml": "project: [\n", "old.md": "old"})
    run = project.run("matrix", "-o", "old.md")
    assert run.status == 2
    assert "requirements/project.yaml:" in run.stderr
    assert (project.path / "old.md").read_text() == "old"


def test_missing_option_is_2(short: Project) -> None:
    run = short.run("matrix")
    assert run.status == 2
    assert "-o" in run.stderr


def test_a_matrix_with_errors_says_so(project: Project, tmp_path: Path) -> None:
    project.write({"requirements/more.yaml": "requirements: [{id: 3x, title: A, statement: B}]\n"})
    assert project.run("matrix", "-o", "m.md").status == 0
    assert "bad-identifier" in (project.path / "m.md").read_text("utf-8")


# -- explain


def test_explain_a_requirement(short: Project) -> None:
    run = short.run("explain", "PWR-010")
    assert run.status == 0
    assert run.stderr == ""
    for text in ("PWR-010", "NC", "197 kJ", "-0.35 kJ", "voltage", "12 V", "SYS-010", "Invented"):
        assert text in run.stdout
    assert "THM-010" not in run.stdout


def test_explain_a_parent_names_what_is_derived(short: Project) -> None:
    run = short.run("explain", "SYS-010")
    assert run.status == 0
    assert "PWR-010" in run.stdout
    assert "THM-010" in run.stdout


def test_explain_an_analysis(short: Project) -> None:
    run = short.run("explain", "energy")
    assert run.status == 0
    for text in ("analyses/energy.py:12", "its voltage times its charge", "PWR-010", "charge"):
        assert text in run.stdout


def test_explain_a_parameter(short: Project) -> None:
    run = short.run("explain", "charge")
    assert run.status == 0
    for text in ("5 A h", "5 %", "Invented", "energy", "PWR-010"):
        assert text in run.stdout


@pytest.mark.parametrize(
    ("name", "near"), [("PWR-01", "PWR-010"), ("energi", "energy"), ("voltag", "voltage")]
)
def test_explain_something_unknown_is_2_with_a_suggestion(
    short: Project, name: str, near: str
) -> None:
    run = short.run("explain", name)
    assert run.status == 2
    assert run.stdout == ""
    assert f"did you mean {near}?" in run.stderr


def test_explain_nothing_alike_is_2(short: Project) -> None:
    for name in ("qqqqqq", "", "../../etc/passwd", "\x1b[31m"):
        run = short.run("explain", name)
        assert run.status == 2
        assert "\x1b" not in run.stderr


def test_explain_a_parameter_that_nothing_uses(project: Project) -> None:
    project.write({"analyses/more.yaml": "parameters:\n  surplus: {value: 1 V}\n"})
    run = project.run("explain", "surplus")
    assert run.status == 0
    assert "1 V" in run.stdout


def test_explain_an_analysis_that_fails_shows_the_authors_traceback(project: Project) -> None:
    body = "raise RuntimeError('no cell')"
    project.write({"analyses/energy.py": ANALYSIS.replace("return Energy(voltage * charge)", body)})
    run = project.run("explain", "energy")
    assert run.status == 0
    assert 'File "analyses/energy.py", line 15, in energy' in run.stdout
    assert "RuntimeError: no cell" in run.stdout
    assert "closeout/evaluate" not in run.stdout


# -- lint


def test_lint_of_a_good_project_is_0(passing: Project) -> None:
    run = passing.run("lint")
    assert run.status == 0
    assert run.stderr == ""
    assert "3 requirements" in run.stdout


def test_lint_of_warnings_is_1(project: Project) -> None:
    surplus = "{value: 1 V, tolerance: 0 V, source: Invented}"
    project.write({"analyses/more.yaml": f"parameters:\n  surplus: {surplus}\n"})
    run = project.run("lint")
    assert run.status == 1
    assert "analyses/more.yaml:2:3: " in run.stdout
    assert "[unused-parameter]" in run.stdout
    assert "0 errors, 1 warning" in run.stdout
    # Warnings are no matter of the verdict.
    assert project.run("verify").status == 0


def test_lint_of_errors_is_2_and_tells_all_of_them(project: Project) -> None:
    wrong = (
        item(above="SYS-011", limit="at_least: 190 kg")
        .replace("analysis: energy", "analysis: energie")
        .replace("review: CDR", "review: XDR")
    )
    project.write(
        {
            "requirements/power.yaml": power(wrong),
            "requirements/more.yaml": "requirements: [{id: 3x, titel: A}]\n",
            "analyses/more.yaml": "parameters:\n  a: {value: 1 V, tolerance: 1 kg}\n",
            "analyses/broken.py": "from closeout import analysis\nimport nothing_of_this_name\n",
        }
    )
    run = project.run("lint")
    assert run.status == 2
    for rule in (
        "dangling-reference", "unknown-analysis", "unknown-review", "bad-identifier",
        "unknown-key", "missing-key", "unit", "analysis-import",
    ):  # fmt: skip
        assert f"[{rule}]" in run.stdout
    places = [line for line in run.stdout.split("\n") if re.match(r"\S+:\d+:\d+: ", line)]
    keys = [(p.split(":")[0], int(p.split(":")[1]), int(p.split(":")[2])) for p in places]
    assert keys == sorted(keys)
    assert run.stdout.count("action: ") == len(places)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("import nothing_of_this_name", "nothing_of_this_name"),
        ("def broken(:", "invalid syntax"),
        ("<<<<<<< HEAD", "merge conflict"),
    ],
)
def test_a_module_that_cannot_be_imported_is_told_once(
    project: Project, line: str, told: str
) -> None:
    project.write({"analyses/energy.py": f"{line}\n{ANALYSIS}"})
    run = project.run("lint")
    assert run.status == 2
    rules = re.findall(r"\[([a-z-]+)\]$", run.stdout, re.MULTILINE)
    assert rules == ["analysis-import"], run.stdout
    assert told in run.stdout


def test_lint_runs_no_analysis(project: Project, tmp_path: Path) -> None:
    mark = tmp_path / "was run"
    body = f"open({str(mark)!r}, 'w').close(); return Energy(voltage * charge)"
    project.write({"analyses/energy.py": ANALYSIS.replace("return Energy(voltage * charge)", body)})
    assert project.run("lint").status == 0
    assert not mark.exists()
    project.run("verify")
    assert mark.exists()


def test_lint_schema_is_json_schema_and_accepts_the_project(tmp_path: Path) -> None:
    run = Project(tmp_path).run("lint", "--schema")  # needs no project
    assert run.status == 0
    assert run.stderr == ""
    schema = run.json
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    charter = {"project": {"name": "Lantern", "reviews": ["SRR", "CDR", "AR"]}}
    validator.validate(charter)
    assert list(validator.iter_errors({"project": {"nam": "Lantern"}}))
    assert list(validator.iter_errors({"requirement": []}))
    assert "name: Lantern" in CHARTER


def test_lint_at_a_commit(tmp_path: Path) -> None:
    project = make(tmp_path)
    project.git("init", "--quiet", "--initial-branch=main")
    project.commit()
    project.write({"requirements/power.yaml": "requirements: [\n"})
    assert project.run("lint").status == 2
    assert project.run("lint", "--at", "HEAD").status == 0
