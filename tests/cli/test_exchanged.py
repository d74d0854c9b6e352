"""SARIF and JUnit XML of ``verify`` and ``lint``: what is told, where, and that it stays the same.

Levels, columns and messages are held against the text of SARIF 2.1.0 (OASIS), from memory: 3.27.10
levels, 3.30.6 columns from 1, 3.14.17 UTF-16 code units, 3.11.5 braces. The whole is held against
the published schema where that is at hand.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from jsonschema import Draft4Validator

from closeout.rules.catalogue import OF_CODE, RULES
from tests.cli.project import (
    CHARTER,
    PARAMETERS,
    Project,
    base,
    make,
    power,
    repository,
    requirement,
)

# Short of 190 kJ in the worst case by hand, see PARAMETERS: 54.625 W h is 196.65 kJ.
SHORT = requirement("PWR-020", "at_least: 200 kJ", title="Energy, whole")
COVERED = requirement("PWR-030", "at_least: 201 kJ", title="Energy, covered")
EARLY = requirement("PWR-040", "at_least: 202 kJ", title="Energy, later", review="AR")
WAIVER = """\
waivers:
  - id: RFW-001
    kind: waiver
    requirement: PWR-030
    accepts: {quantity: energy, at_least: 100 kJ}
    reason: Invented
    approved_by: board
    date: 2026-01-02
    document: LAN-RFW-001
    expires: AR
"""
TESTED = """\
  - id: PWR-050
    title: Energy, measured
    statement: The battery shall hold the energy that the limit says.
    derived_from: [SYS-010]
    rationale: Invented
    source: Invented
    verification:
      - {method: test, level: system, stage: qualification, review: CDR, quantity: energy,
         at_least: 190 kJ}
"""
RAISES = '''\
"""An analysis that fails."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import K, degC


class Warmth(NamedTuple):
    distance: K


@analysis(validated_by="tests/test_all.py")
def warmth(cell_temperature: degC) -> Warmth:
    """Distance of the cell's temperature from the freezing point of water."""
    raise ValueError("no \\x1b table ]]> & <b>")
'''
EVERYTHING = base(
    charter=CHARTER.replace(
        "next_review: CDR", "next_review: CDR\n  authorities: {default: board}"
    ),
    power=power(requirement(), SHORT, COVERED, EARLY, TESTED),
    warmth=RAISES,
    **{"requirements/waivers.yaml": WAIVER},
)


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A project, in git, with a verdict of each kind."""
    return repository(tmp_path_factory.mktemp("mixed") / "p", EVERYTHING)


@pytest.fixture(scope="module")
def texts(mixed: Project) -> dict[str, str]:
    """What ``verify`` and ``lint`` write of it, by command and form."""
    found = {}
    for command in ("verify", "lint"):
        forms = ("json", "sarif", "junit") if command == "verify" else ("sarif", "junit")
        files = {form: mixed.path.parent / f"{command}.{form}" for form in forms}
        mixed.run(command, *(part for f, file in files.items() for part in (f"--{f}", str(file))))
        found |= {f"{command} {form}": file.read_text("utf-8") for form, file in files.items()}
    return found


def sarif(project: Project, command: str = "verify", *options: str, **more: Any) -> Any:
    """Return the one run of the SARIF log that a command prints."""
    return run_of(project.run(command, "--sarif", "-", *options, **more).stdout)


def run_of(text: str) -> Any:
    (run,) = json.loads(text)["runs"]
    return run


def junit(project: Project, command: str = "verify", *options: str) -> ElementTree.Element:
    return tree(project.run(command, "--junit", "-", *options).stdout)


def tree(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text.encode())


def place(result: Any) -> tuple[str, int, int]:
    (location,) = result["locations"]
    physical = location["physicalLocation"]
    region = physical["region"]
    return physical["artifactLocation"]["uri"], region["startLine"], region["startColumn"]


def marks(run: Any) -> list[str]:
    found = []
    for result in run["results"]:
        (mark,) = result["partialFingerprints"].values()
        found.append(mark)
    return found


def line_of(project: Project, path: str, text: str, after: str = "") -> int:
    """Return the line of a text, from 1; the first one below another text."""
    lines = (project.path / path).read_text("utf-8").splitlines()
    start = next(at for at, line in enumerate(lines) if after in line)
    return next(at for at, line in enumerate(lines[start:], start + 1) if text in line)


# --- SARIF --------------------------------------------------------------------------------------


def test_verdicts_are_results_at_their_verification(mixed: Project, texts: dict[str, str]) -> None:
    run = run_of(texts["verify sarif"])
    told = {r["message"]["text"].split(" ")[0]: r for r in run["results"]}
    expected = {
        "PWR-020": ("not-met", "error"),
        "PWR-030": ("not-met", "note"),
        "PWR-040": ("not-met", "warning"),
        "PWR-050": ("due-and-open", "warning"),
        "THM-010": ("verification-error", "error"),
    }
    verdicts = {name: (told[name]["ruleId"], told[name]["level"]) for name in expected}
    assert verdicts == expected
    assert "PWR-010" not in told  # it is met
    path = "requirements/power.yaml"
    for name in ("PWR-020", "PWR-030", "PWR-040"):
        line = line_of(mixed, path, "- method: analysis", after=f"id: {name}")
        assert place(told[name]) == (path, line, len("      - ") + 1)
    assert told["PWR-030"]["suppressions"] == [
        {"kind": "external", "status": "accepted", "justification": "under waiver RFW-001"}
    ]
    assert "suppressions" not in told["PWR-020"]
    assert "margin" in told["PWR-020"]["message"]["text"]
    assert "action: " in told["PWR-020"]["message"]["text"]
    assert "closeout verify --set" in told["PWR-020"]["message"]["text"]
    assert "no \\x1b table" in told["THM-010"]["message"]["text"].replace("\\\\", "\\")


def test_a_requirement_that_nothing_verifies_is_told_at_its_own_place(tmp_path: Path) -> None:
    bare = "requirements:\n  - id: SYS-020\n    title: Bare\n    statement: It shall be bare.\n"
    project = make(tmp_path, base(**{"requirements/bare.yaml": bare}))
    (told,) = (r for r in sarif(project)["results"] if r["ruleId"] == "due-and-open")
    assert place(told) == ("requirements/bare.yaml", 2, 5)
    (case,) = (c for c in junit(project).iter("testcase") if c.get("classname") == "SYS-020")
    assert case.find("skipped") is not None


def test_a_problem_is_told_with_its_cure(tmp_path: Path) -> None:
    wrong = power(requirement()).replace("    title:", "    colour: red\n    title:")
    project = make(tmp_path, base(power=wrong))
    problems = project.verify().json["problems"]
    for command in ("verify", "lint"):
        results = [r for r in sarif(project, command)["results"] if r["ruleId"] in RULES]
        assert len(problems) == len(results) > 0
        for problem, result in zip(problems, results, strict=True):
            assert result["ruleId"] == problem["rule"]
            assert result["level"] == problem["severity"]
            assert place(result) == (problem["path"], problem["line"], problem["column"])
            text = result["message"]["text"].replace("{{", "{").replace("}}", "}")
            assert problem["message"] in text
            assert problem["cure"] in text


@pytest.mark.parametrize("command", ["verify", "lint"])
def test_every_rule_is_described_with_its_page(
    mixed: Project, texts: dict[str, str], command: str
) -> None:
    run = run_of(texts[f"{command} sarif"])
    driver = run["tool"]["driver"]
    version = mixed.run("--version").stdout.split()[-1]
    assert (driver["name"], driver["version"]) == ("closeout", version)
    ids = [one["id"] for one in driver["rules"]]
    assert len(set(ids)) == len(ids)
    assert set(ids) - set(RULES) == {"not-met", "due-and-open", "verification-error"}
    assert set(RULES) <= set(ids)
    for result in run["results"]:
        assert ids[result["ruleIndex"]] == result["ruleId"]
    for one in driver["rules"]:
        assert one["help"]["text"]
        assert one["help"]["markdown"].startswith(f"# {one['id']}\n")
    named = next(one for one in driver["rules"] if one["id"] == "unused-parameter")
    page = mixed.run("lint", "--rule", "unused-parameter").stdout
    assert named["help"]["text"].split() == page.split()


def test_columns_are_utf_16_code_units(tmp_path: Path) -> None:
    # U+1F4A1 has two units (Unicode Standard, 3.9 D91), an e with an accent one.
    line = '  voltage: {value: 12 V, source: "\U0001f4a1\U0001f4a1 \u00e9", colour: red}'
    project = make(tmp_path, base(parameters=f"parameters:\n{line}\n"))
    (problem,) = (p for p in project.verify().json["problems"] if "colour" in p["message"])
    assert problem["column"] == line.index("colour") + 1
    run = sarif(project, "lint")
    (result,) = (r for r in run["results"] if "colour" in r["message"]["text"])
    units = len(line[: line.index("colour")].encode("utf-16-le")) // 2
    assert place(result) == ("analyses/parameters.yaml", 2, units + 1)
    assert run["columnKind"] == "utf16CodeUnits"


def test_braces_and_brackets_of_a_text_mean_nothing(tmp_path: Path) -> None:
    item = SHORT.replace("Energy, whole", '"{0} [a](http://x.invalid) }"')
    text = sarif(make(tmp_path, base(power=power(item))))["results"][0]["message"]["text"]
    assert "{{0}} \\[a](http://x.invalid) }}" in text


def twice_wrong() -> dict[str, str | bytes]:
    wrong = power(SHORT, requirement("PWR-060")).replace(
        "    title:", "    colour: red\n    title:"
    )
    return base(power=wrong, warmth=RAISES)


def test_fingerprints_stay_where_lines_move_and_elsewhere(tmp_path: Path) -> None:
    project = make(tmp_path / "one", {**EVERYTHING, **twice_wrong()})
    run = sarif(project)
    before, first = marks(run), run["results"][0]
    assert len(set(before)) == len(before) > 3
    text = (project.path / "requirements/power.yaml").read_text("utf-8")
    project.write({"requirements/power.yaml": "# A new line.\n\n" + text})
    moved = sarif(make(tmp_path / "an other", project.contents()), below="requirements")
    assert marks(moved) == before
    assert place(moved["results"][0])[0] == place(first)[0]


def test_a_number_that_moves_leaves_a_verdict_the_same_thing(tmp_path: Path) -> None:
    project = make(tmp_path, base(power=power(SHORT)))
    before = sarif(project)["results"][0]
    project.replace("analyses/parameters.yaml", "value: 12 V", "value: 11.9 V")
    after = sarif(project)["results"][0]
    assert before["message"] != after["message"]
    assert before["partialFingerprints"] == after["partialFingerprints"]


def test_equal_problems_have_fingerprints_of_their_own(tmp_path: Path) -> None:
    run = sarif(make(tmp_path, twice_wrong()), "lint")
    equal = [r for r in run["results"] if "colour" in r["message"]["text"]]
    assert len(equal) == 2
    assert equal[0]["message"] == equal[1]["message"]
    assert equal[0]["partialFingerprints"] != equal[1]["partialFingerprints"]


def test_places_are_given_from_the_top_of_the_repository(tmp_path: Path) -> None:
    project = make(tmp_path / "top" / "a folder", EVERYTHING)
    top = Project(tmp_path / "top")
    top.git("init", "--quiet", "--initial-branch=main")
    top.commit()
    for options in ([], ["--at", "HEAD"]):
        run = sarif(project, "verify", *options)
        uris = {place(result)[0] for result in run["results"]}
        assert "a%20folder/requirements/power.yaml" in uris
        assert all(uri.startswith("a%20folder/") for uri in uris)
        bases = {r["locations"][0]["physicalLocation"]["artifactLocation"]["uriBaseId"]
                 for r in run["results"]}  # fmt: skip
        assert bases == set(run["originalUriBaseIds"])


def test_commit_review_and_exit_status_are_said(mixed: Project, texts: dict[str, str]) -> None:
    commit = mixed.git("rev-parse", "HEAD")
    run = run_of(texts["verify sarif"])
    assert run["properties"]["commit"] == commit
    assert run["properties"]["review"] == "CDR"
    assert run["invocations"] == [{"executionSuccessful": True, "exitCode": 2}]
    assert run["automationDetails"]["id"] != run_of(texts["lint sarif"])["automationDetails"]["id"]
    said = {p.get("name"): p.get("value") for p in tree(texts["verify junit"]).iter("property")}
    assert said["commit"] == commit
    assert said["review"] == "CDR"


def schema() -> Any:
    """Return the published schema of SARIF 2.1.0; skip where it is not at hand."""
    named = os.environ.get("CLOSEOUT_SCHEMAS")
    folders = [Path(named)] if named else [
        above / "shared" / "schemas" for above in Path(__file__).parents
    ]  # fmt: skip
    for folder in folders:
        if (folder / "sarif-schema-2.1.0.json").is_file():
            return json.loads((folder / "sarif-schema-2.1.0.json").read_text("utf-8"))
    pytest.skip("no sarif-schema-2.1.0.json: CLOSEOUT_SCHEMAS names no folder that has it")


def test_the_published_schema_holds(texts: dict[str, str], tmp_path: Path) -> None:
    validator = Draft4Validator(schema())
    wrong = make(tmp_path / "wrong", twice_wrong())
    unreadable = make(tmp_path / "unreadable", base(charter="project: [\n"))
    printed = [
        texts["verify sarif"],
        texts["lint sarif"],
        wrong.run("verify", "--set", "voltage=11 V", "--sarif", "-").stdout,
        wrong.run("lint", "--sarif", "-").stdout,
        unreadable.run("verify", "--sarif", "-").stdout,
    ]
    for text in printed:
        assert [error.message for error in validator.iter_errors(json.loads(text))] == []


# --- JUnit XML ----------------------------------------------------------------------------------


def ends(root: ElementTree.Element) -> Iterator[tuple[str, str, str]]:
    """Yield class name, name and end of each test case."""
    for case in root.iter("testcase"):
        end = [part.tag for part in case if part.tag in ("failure", "error", "skipped")]
        assert len(end) <= 1
        yield case.get("classname", ""), case.get("name", ""), end[0] if end else "passed"


def test_a_test_case_for_each_verification_and_case(texts: dict[str, str]) -> None:
    root = tree(texts["verify junit"])
    suite = root[0]
    found = list(ends(suite))
    assert found == [
        ("THM-010", "analysis: distance", "error"),
        ("PWR-010", "analysis: energy", "passed"),
        ("PWR-020", "analysis: energy", "failure"),
        ("PWR-030", "analysis: energy", "skipped"),
        ("PWR-040", "analysis: energy", "skipped"),
        ("PWR-050", "test: energy", "skipped"),
    ]
    entries = [
        e for r in json.loads(texts["verify json"])["requirements"] for e in r["verification"]
    ]
    assert len(found) == len(entries)
    messages = {case.get("classname"): part.get("message") or "" for case in suite.iter("testcase")
                for part in case}  # fmt: skip
    assert "margin" in messages["PWR-020"]
    assert "under waiver RFW-001" in messages["PWR-030"]
    assert "not yet due: AR" in messages["PWR-040"]
    assert messages["PWR-050"].startswith("open")
    for element in (root, suite):
        totals = {key: int(element.get(key, "-1")) for key in ("failures", "errors", "skipped")}
        assert totals == {"failures": 1, "errors": 1, "skipped": 3}
        assert int(element.get("tests", "-1")) >= 6


def test_cases_of_one_name_are_told_apart(tmp_path: Path) -> None:
    again = requirement().partition("    verification:\n")[2]
    other = again.replace("190 kJ", "191 kJ")
    names = [name for *_, name, _ in ends(junit(make(tmp_path, base(
        power=power(requirement(more=other)))))) if "energy" in name]  # fmt: skip
    assert names == ["analysis: energy", "analysis: energy (2)"]


def test_any_text_gives_well_formed_xml(texts: dict[str, str], tmp_path: Path) -> None:
    (error,) = tree(texts["verify junit"]).iter("error")
    assert "no \\x1b table ]]> & <b>" in (error.text or "")
    title = r'"\x07 \uFFFE \U0001f4a1 <&\" ]]> \x85"'
    item = requirement("PWR-020", "at_least: 200 kJ", title=title)
    project = make(tmp_path, base(power=power(item)))
    for command in ("verify", "lint"):
        text = project.run(command, "--junit", "-").stdout
        ElementTree.fromstring(text.encode())
        assert all(character.isascii() for character in text)


def test_lint_has_a_case_for_each_rule(tmp_path: Path) -> None:
    rule = "derived-without-rationale"
    off = f"{{{rule}: {{severity: off, reason: One <team> alone.}}}}"
    charter = f"{CHARTER}  policy: {{rules: {off}}}\n"
    wrong = power(requirement()).replace("    title:", "    colour: red\n    title:")
    project = make(tmp_path, base(charter=charter, power=wrong))
    root = junit(project, "lint", "--no-code")
    found = {name: end for _, name, end in ends(root)}
    assert set(found) == set(RULES)
    problems = project.run("verify", "--json", "-").json["problems"]
    broken = {p["rule"] for p in problems if p["severity"] == "error"} - set(OF_CODE)
    assert broken
    assert {name for name, end in found.items() if end == "error"} == broken
    assert {name for name in OF_CODE if found[name] == "skipped"} == set(OF_CODE)
    assert found[rule] == "skipped"
    assert [end for _, name, end in ends(junit(project, "lint")) if name in OF_CODE].count(
        "skipped"
    ) == 0


def test_a_warning_fails_a_case_of_lint_and_none_of_verify(tmp_path: Path) -> None:
    project = make(tmp_path, base(parameters=PARAMETERS + "  idle: {value: 1 W, source: None}\n"))
    assert project.verify().status == 0
    (found,) = (end for _, name, end in ends(junit(project)) if name == "unused-parameter")
    assert found == "passed"
    assert "idle" in ElementTree.tostring(junit(project)).decode()
    (found,) = (end for _, name, end in ends(junit(project, "lint")) if name == "unused-parameter")
    assert found == "failure"


# --- files and standard output ------------------------------------------------------------------


def test_several_forms_in_one_run(mixed: Project, texts: dict[str, str]) -> None:
    files = {form: mixed.path.parent / f"again.{form}" for form in ("json", "sarif", "junit")}
    options = [part for form, file in files.items() for part in (f"--{form}", str(file))]
    run = mixed.run("verify", *options)
    assert (run.status, run.stdout) == (2, mixed.run("verify").stdout)
    # The first run was from an empty store, but for what lint had kept.
    for form, file in files.items():
        assert form == "json" or file.read_text("utf-8") == texts[f"verify {form}"]
        printed = mixed.run("verify", f"--{form}", "-")
        assert (printed.status, printed.stderr) == (2, "")
        assert printed.stdout == file.read_text("utf-8")


@pytest.mark.parametrize("command", ["verify", "lint"])
def test_two_on_standard_output_or_in_one_file_are_refused(mixed: Project, command: str) -> None:
    run = mixed.run(command, "--sarif", "-", "--junit", "-")
    assert (run.status, run.stdout) == (2, "")
    assert "--sarif and --junit" in run.stderr
    if command == "verify":
        run = mixed.run(command, "--json", "-", "--sarif", "-", "--junit", "-")
        assert (run.status, run.stdout) == (2, "")
        assert "--json and --sarif" in run.stderr
        assert "--json and --junit" in run.stderr
    run = mixed.run(command, "--sarif", "../same", "--junit", f"{mixed.path.parent}/same")
    assert run.status == 2
    assert not (mixed.path.parent / "same").exists()


def test_sources_are_not_written_over(mixed: Project) -> None:
    before = mixed.contents()
    for command, option in (("verify", "--sarif"), ("lint", "--junit")):
        run = mixed.run(command, option, "requirements/power.yaml")
        assert (run.status, run.stdout) == (2, "")
    assert mixed.run("lint", "--sarif", "no folder/x").status == 2
    assert mixed.contents() == before


def test_the_status_of_lint_stays(mixed: Project, tmp_path: Path) -> None:
    idle = PARAMETERS + "  idle: {value: 1 W, source: Invented}\n"
    assert make(tmp_path, base(parameters=idle)).run("lint", "--sarif", "-").status == 1
    Project(tmp_path).write(twice_wrong())
    assert Project(tmp_path).run("lint", "--junit", "-").status == 2
    refused = mixed.run("lint", "--rule", "all", "--sarif", "-")
    assert refused.status == 2
    assert "--sarif" in refused.stderr


def test_a_project_that_cannot_be_read_is_told_too(tmp_path: Path) -> None:
    project = make(tmp_path, base(charter="project: [\n"))
    run = sarif(project)
    assert run["invocations"] == [{"executionSuccessful": False, "exitCode": 2}]
    assert place(run["results"][0])[0] == "requirements/project.yaml"
    assert [end for *_, end in ends(junit(project))].count("error") >= 1
