"""The options of ``verify``, wrong ones, and from where it may be run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.project import Project, Run, base, by_id, make, power, repository
from tests.cli.project import requirement as item

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow


def without_run(run: Run) -> str:
    """Return the text of a run without what only says whether the store gave the answers."""
    return run.stdout.split("Exit status")[0].split("reused")[0]


# -- wrong use


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--bogus"], ["--bogus"]),
        (["--review", "XDR"], ["XDR", "SRR, CDR, AR"]),
        (["--set", "voltagee=3 V"], ["voltagee", "voltage?"]),
        (["--set", "voltage"], ["voltage", "NAME=AMOUNT"]),
        (["--set", "voltage="], ["voltage=", "number"]),
        (["--set", "=3 V"], ["=3 V"]),
        (["--set", "voltage=twelve"], ["twelve", "number"]),
        (["--set", "voltage=5 kg"], ["5 kg", "mass"]),
        (["--set", "voltage=5"], ["voltage=5"]),
        (["--set", "voltage=1e999 V"], ["1e999"]),
        (["--set", "voltage=nan V"], ["nan"]),
        (["--set", "voltage=12 V +/- 1 kg"], ["1 kg", "mass"]),
        (["--set", "voltage=12 V +/- -1 V"], ["-1 V", "above zero"]),
        (["--set", "voltage=12 V +/-"], ["ends after +/-", "40 N +/- 2 N"]),
        (["--set", "voltage=+/- 1 V"], ["no value before +/-"]),
        (["--set", "voltage=12 V +/- 1 V (k = 2)"], ["(k = 2)"]),
        (["--set", "voltage=12 V +/- 1 V exactly"], ["more than one tolerance", "40 N exactly"]),
        (["--set", "voltage=12 V exactly 3"], ["continues after exactly"]),
        (["--set", "voltage=13 V to 12 V"], ["13 V", "above the high end 12 V", "lower end first"]),
        (["--set", "voltage=11 to 12 V"], ["11"]),
        (["--set", "voltage=11 V to 12 kg"], ["12 kg", "mass"]),
        (["--set", "cell_temperature=20 degC +/- 2 degC"], ["2 degC", "no difference", "2 K"]),
        (["--only", "PWR-01"], ["PWR-01", "PWR-010?"]),
        (["--only", "ZZZ-*"], ["ZZZ-*"]),
        (["--jobs", "0"], ["--jobs"]),
        (["--jobs", "many"], ["--jobs"]),
        (["surplus"], ["surplus"]),
        (["--json", "nowhere/x.json"], ["nowhere/x.json", "No such file"]),
        (["--at", "HEAD"], ["git"]),
    ],
)
def test_wrong_use_is_2_with_a_cure(
    passing: Project, arguments: list[str], told: list[str]
) -> None:
    run = passing.run("verify", *arguments)
    assert run.status == 2
    assert run.stdout == ""
    assert run.stderr.count("\n") >= 2  # what happened, and what to do
    for text in told:
        assert text in run.stderr


def test_several_wrong_settings_are_told_at_once(passing: Project) -> None:
    run = passing.run("verify", "--set", "voltagee=3 V", "--set", "charge", "--set", "voltage=1 kg")
    assert run.status == 2
    for text in ("voltagee=3 V", "--set charge:", "1 kg"):
        assert text in run.stderr


def test_several_wrong_patterns_are_told_at_once(passing: Project) -> None:
    run = passing.run("verify", "--only", "AAA", "--only", "BBB")
    assert run.status == 2
    assert "AAA" in run.stderr
    assert "BBB" in run.stderr


def test_mistakes_of_several_options_are_told_at_once(passing: Project) -> None:
    run = passing.run("verify", "--set", "voltagee=3 V", "--review", "XDR", "--only", "AAA")
    assert run.status == 2
    for text in ("voltagee", "XDR", "AAA"):
        assert text in run.stderr


def test_a_parameter_that_is_set_twice_is_told(passing: Project) -> None:
    run = passing.run("verify", "--set", "voltage=11 V", "--set", "voltage=14 V")
    assert run.status == 2
    assert "voltage" in run.stderr


def test_an_unknown_command_is_2(passing: Project) -> None:
    run = passing.run("verfy")
    assert run.status == 2
    assert "verfy" in run.stderr
    assert "--help" in run.stderr


def test_outside_of_any_project_is_2_with_a_cure(tmp_path: Path) -> None:
    for arguments in (
        ["verify"], ["lint"], ["matrix", "-o", "x.md"], ["explain", "A"],
        ["package", "-o", "x"], ["hook", "install"], ["hook", "run"], ["hook", "remove"],
    ):  # fmt: skip
        run = Project(tmp_path).run(*arguments)
        assert run.status == 2, arguments
        assert run.stdout == ""
        assert "closeout start" in run.stderr
    assert list(tmp_path.iterdir()) == []


def test_from_a_subfolder_it_is_the_same_project(passing: Project) -> None:
    here, below = passing.run("verify"), passing.run("verify", below="analyses")
    assert without_run(below) == without_run(here)
    assert passing.run("lint", below="requirements").status == 0


# -- --json


def test_json_to_a_file_leaves_the_text(project: Project) -> None:
    run = project.run("verify", "--json", "out.json")
    assert run.status == 0
    assert run.stderr == ""
    assert run.stdout.startswith("Lantern")
    document = json.loads((project.path / "out.json").read_bytes())
    assert document["format"] == 1
    assert document["project"] == "Lantern"
    assert [path.name for path in project.path.glob(".out*")] == []


def test_json_to_a_device_leaves_the_device(project: Project, tmp_path: Path) -> None:
    # A device must be written to, not replaced by a file; a link leads to what it names.
    target = tmp_path / "real.json"
    target.write_text("old")
    (project.path / "link.json").symlink_to(target)
    assert project.run("verify", "--json", "link.json").status == 0
    assert (project.path / "link.json").is_symlink()
    assert json.loads(target.read_bytes())["format"] == 1
    (project.path / "null").symlink_to("/dev/null")
    assert project.run("verify", "--json", "null").status == 0
    assert (project.path / "null").is_symlink()
    assert Path("/dev/null").is_char_device()


def test_json_that_cannot_be_written_leaves_the_old_file(project: Project) -> None:
    (project.path / "out.json").mkdir()
    run = project.run("verify", "--json", "out.json")
    assert run.status == 2
    assert "out.json" in run.stderr
    assert (project.path / "out.json").is_dir()


# -- --review


def test_review_moves_what_is_due(project: Project) -> None:
    project.write({"requirements/power.yaml": power(item(limit="at_least: 197 kJ", review="AR"))})
    assert project.run("verify", "--review", "CDR").status == 0
    run = project.verify("--review", "AR")
    assert run.status == 1
    assert run.json["review"] == "AR"
    # What is judged early has no code of its own yet: nothing of it is due.
    early = by_id(project.verify("--review", "CDR").json)["PWR-010"]
    assert (early["compliance"], early["due"]) == ("open", False)
    assert early["verification"][0]["state"] == "not met"


# -- --set


def test_set_is_a_what_if_and_the_output_says_so(project: Project) -> None:
    before = project.contents()
    run = project.run("verify", "--set", "voltage=11V")
    assert run.status == 1
    assert "WHAT IF voltage=11V" in run.stdout
    assert project.contents() == before
    document = project.verify("--set", "voltage=11V").json
    assert document["settings"] == {"voltage": "11V"}
    assert document["draft"] is True
    # By hand: 10.5 V x 4.75 A h = 49.875 W h = 179.55 kJ; the tolerance stays about the new value.
    found = by_id(document)["PWR-010"]["verification"][0]
    assert found["low"] == pytest.approx(179.55)
    assert found["value"] == pytest.approx(198.0)
    assert found["margin"] == pytest.approx(-10.45)
    # Nothing of it is left in the next run.
    plain = project.run("verify")
    assert plain.status == 0
    assert "WHAT IF" not in plain.stdout


@pytest.mark.parametrize(
    "setting",
    [
        "charge=4.8 A h",
        "charge=4.8A h",
        "charge = 4.8 A h",
        "charge=4800 mA h",
        "charge=17.28 kA s",
    ],
)
def test_set_reads_units_and_spaces(passing: Project, setting: str) -> None:
    # By hand: 12 V x 4.8 A h = 57.6 W h = 207.36 kJ; 4.8 A h x 3600 s/h = 17280 A s.
    found = by_id(passing.verify("--set", setting).json)["PWR-010"]["verification"][0]
    assert found["value"] == pytest.approx(207.36, rel=1e-12)


@pytest.mark.parametrize(
    ("setting", "low", "high"),
    [
        # By hand, of 12 V +/- 0.5 V and 5 A h +/- 5 %, in W h.
        ("charge=5 A h +/- 0.1 A h", 11.5 * 4.9, 12.5 * 5.1),
        ("charge=5 A h +/- 10 %", 11.5 * 4.5, 12.5 * 5.5),
        ("charge=4.9 A h to 5200 mA h", 11.5 * 4.9, 12.5 * 5.2),
        ("charge=5 A h exactly", 11.5 * 5.0, 12.5 * 5.0),
    ],
)
def test_set_takes_a_spread(passing: Project, setting: str, low: float, high: float) -> None:
    found = by_id(passing.verify("--set", setting).json)["PWR-010"]["verification"][0]
    assert found["low"] == pytest.approx(3.6 * low, rel=1e-6)
    assert found["high"] == pytest.approx(3.6 * high, rel=1e-6)


def test_the_tolerance_of_a_condition_without_one_is_asked_as_a_what_if(passing: Project) -> None:
    # 8 degC +/- 5 K is 3 degC at the least, in place of 5 degC to 20 degC that is given.
    run = passing.run("verify", "--set", "cell_temperature=8 degC +/- 5 K")
    assert run.status == 0
    assert (
        "what-if cell_temperature = 8 degC +/- 5 K replaces the condition 5 degC to 20 degC"
        in run.stdout
    )
    (line,) = [one for one in run.stdout.split("\n") if one.startswith("THM-010")]
    assert "+1 K" in line


def test_help_documents_the_spread(passing: Project) -> None:
    said = " ".join(passing.run("verify", "--help").stdout.split())
    assert "'x=40 N +/- 2 N', 'x=38 N to 42 N' and 'x=40 N exactly'" in said


def test_several_sets_act_together(passing: Project) -> None:
    run = passing.verify("--set", "voltage=10 V", "--set", "charge=6 A h")
    found = by_id(run.json)["PWR-010"]["verification"][0]
    assert found["value"] == pytest.approx(216.0)
    # 9.5 V x (6 A h - 5 %) x 3.6
    assert found["low"] == pytest.approx(9.5 * 5.7 * 3.6)


def test_set_beats_given_and_the_line_says_so(passing: Project) -> None:
    run = passing.run("verify", "--set", "cell_temperature=1 degC")
    assert run.status == 1
    lines = run.stdout.split("\n")
    place = next(number for number, line in enumerate(lines) if line.startswith("THM-010"))
    near = " ".join([lines[place], lines[place + 1]])
    assert "-1 K" in near
    assert "what-if cell_temperature = 1 degC replaces the condition" in near
    detail = " ".join(run.stdout.partition("Non-compliances")[2].split())
    assert "given cell_temperature = 5 degC to 20 degC" in detail
    assert "what-if cell_temperature = 1 degC replaces the condition" in detail
    # Where nothing is beaten nothing is said.
    other = passing.run("verify", "--set", "voltage=11.9 V")
    assert "replaces the condition" not in other.stdout


def test_set_does_not_reach_the_package_unseen(project: Project, tmp_path: Path) -> None:
    for name in ("m.md", "m.html"):
        assert project.run("matrix", "-o", name, "--set", "voltage=11 V").status == 0
        assert "WHAT IF voltage=11 V" in (project.path / name).read_text("utf-8")
    project.run("package", "-o", str(tmp_path / "out"), "--set", "voltage=11 V")
    for page in (tmp_path / "out").rglob("*.html"):
        assert "WHAT IF voltage=11 V" in page.read_text("utf-8"), page


# -- --only


@pytest.mark.parametrize(
    ("patterns", "wanted"),
    [
        (["PWR-010"], {"PWR-010"}),
        (["PWR-*"], {"PWR-010"}),
        (["*-010"], {"PWR-010", "THM-010", "SYS-010"}),
        (["THM-*", "PWR-?10"], {"PWR-010", "THM-010"}),
        (["SYS-010"], {"PWR-010", "THM-010", "SYS-010"}),  # and what is derived from it
    ],
)
def test_only_chooses(passing: Project, patterns: list[str], wanted: set[str]) -> None:
    run = passing.verify(*(text for pattern in patterns for text in ("--only", pattern)))
    assert set(by_id(run.json)) == wanted
    assert run.json["scale"]["requirements"] == len(wanted)


def test_only_leaves_other_shortfalls_out_of_the_status(project: Project) -> None:
    project.write({"requirements/power.yaml": power(item(limit="at_least: 197 kJ"))})
    assert project.run("verify", "--only", "THM-010").status == 0
    assert project.run("verify", "--only", "PWR-010").status == 1


# -- --jobs, the store


def test_jobs_and_store_change_nothing_of_the_result(project: Project) -> None:
    first = project.verify("--jobs", "1")
    again = project.verify("--jobs", "2")
    for path in (project.path / ".closeout").iterdir():
        path.unlink()
    anew = project.verify("--jobs", "2")
    documents = [first.json, again.json, anew.json]
    assert documents[0]["scale"]["evaluated"] == documents[2]["scale"]["evaluated"] == 2
    assert documents[1]["scale"]["evaluated"] == 0
    for document in documents:
        del document["scale"]
    assert documents[0] == documents[1] == documents[2]


def test_the_store_is_never_believed_against_a_changed_file(project: Project) -> None:
    assert project.run("verify").status == 0
    project.replace("analyses/parameters.yaml", "12 V", "11 V")
    assert project.run("verify").status == 1
    project.replace("analyses/parameters.yaml", "11 V", "12 V")
    assert project.run("verify").status == 0
    project.replace("analyses/energy.py", "voltage * charge", "voltage * charge * 0.9")
    assert project.run("verify").status == 1


def test_a_damaged_store_is_set_aside(project: Project) -> None:
    project.run("verify")
    (store,) = (project.path / ".closeout").glob("*.sqlite3")
    store.write_bytes(b"no database" * 1000)
    run = project.run("verify")
    assert run.status == 0
    assert "damaged" in run.stderr


def test_a_store_that_is_a_file_or_a_link_stops_nothing(project: Project, tmp_path: Path) -> None:
    (project.path / ".closeout").write_text("in the way")
    assert project.run("verify").status == 0
    assert (project.path / ".closeout").read_text() == "in the way"
    (project.path / ".closeout").unlink()
    (tmp_path / "elsewhere").mkdir()
    (project.path / ".closeout").symlink_to(tmp_path / "elsewhere")
    assert project.run("verify").status == 0
    assert list((tmp_path / "elsewhere").iterdir()) == []


# -- --at


def test_at_judges_a_commit_and_not_the_working_tree(tmp_path: Path) -> None:
    project = repository(tmp_path / "p")
    first = project.git("rev-parse", "HEAD")
    project.write({"requirements/power.yaml": power(item(limit="at_least: 197 kJ"))})
    second = project.commit("worse")
    project.write({"requirements/power.yaml": "requirements: [\n"})
    before = project.contents()
    assert project.run("verify").status == 2
    for revision, status, commit in (
        ("HEAD", 1, second), ("HEAD~1", 0, first), (first[:10], 0, first), ("main", 1, second),
    ):  # fmt: skip
        run = project.verify("--at", revision)
        assert run.status == status
        day = project.git("log", "-1", "--format=%cs", revision)
        state = {"kind": "commit", "commit": commit, "dirty": False, "date": day}
        assert run.json["snapshot"] == state
        assert run.json["draft"] is False
    assert project.run("verify", "--at", "nowhere").status == 2
    assert project.run("verify", "--at", "-x").status == 2
    assert project.contents() == before


def test_a_tree_says_whether_it_is_dirty(tmp_path: Path) -> None:
    project = repository(tmp_path / "p", base())
    clean = project.verify().json
    assert clean["snapshot"]["kind"] == "tree"
    assert clean["snapshot"]["dirty"] is False
    assert "DRAFT" not in project.run("verify").stdout
    project.write({"notes.txt": "x"})
    assert project.verify().json["snapshot"]["dirty"] is True
    assert "DRAFT" in project.run("verify").stdout


def test_outside_of_git_commit_and_dirty_are_null(passing: Project) -> None:
    state = passing.verify("--today", "2026-11-30").json["snapshot"]
    assert state == {"kind": "tree", "commit": None, "dirty": None, "date": "2026-11-30"}


def test_the_same_text_from_an_empty_and_a_full_store(tmp_path: Path) -> None:
    project = make(tmp_path / "p")
    first, second = project.run("verify"), project.run("verify")
    assert "2 evaluations run, 0 reused" in " ".join(first.stdout.split())
    assert "0 evaluations run, 2 reused" in " ".join(second.stdout.split())
    assert without_run(first) == without_run(second)


def test_a_what_if_shows_the_difference_to_the_unchanged_project(passing: Project) -> None:
    # By hand: 11.5 V x 4.75 A h = 54.625 W h at worst; at 10 V it is 9.5 x 4.75 = 45.125 W h, and
    # 190 kJ are 52.78 W h: the margin is 6.65 kJ before, and -27.55 kJ under the what-if.
    run = passing.run("verify", "--set", "voltage=10 V")
    change = run.stdout.split("What the settings change\n")[1]
    assert "PWR-010  C -> NC  margin +6.65 kJ -> -27.6 kJ  energy" in change
    same = passing.run("verify", "--set", "voltage=12 V")
    assert same.stdout.split("What the settings change\n")[1].startswith(
        "  no change of verdict or margin"
    )


# -- where nothing is written


PLACES = [
    "requirements/power.yaml",
    "requirements/new.json",
    "analyses/energy.py",
    "analyses/data/new.json",
    ".closeout/store.sqlite3",
    ".git/config",
    ".git/hooks/pre-commit",
    "linked/power.yaml",
    "../p/requirements/power.yaml",
]


@pytest.mark.parametrize("place", PLACES)
def test_no_output_goes_over_sources_or_gits_own_files(tmp_path: Path, place: str) -> None:
    project = repository(tmp_path / "p", base())
    (project.path / "linked").symlink_to("requirements")
    before = {
        path: path.read_bytes()
        for path in project.path.rglob("*")
        if path.is_file() and ".closeout" not in path.parts
    }
    ending = Path(place).suffix
    commands = [("verify", "--json", place), ("package", "-o", place)]
    if ending in (".json",):
        commands.append(("matrix", "-o", place))
    for command in commands:
        run = project.run(*command)
        assert run.status == 2
        assert "nothing is written there" in run.stderr
        assert run.stdout == ""
    assert all(path.read_bytes() == content for path, content in before.items())


def test_a_package_follows_no_link_into_the_sources(passing: Project, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert passing.run("package", "-o", str(out)).status == 0
    (out / "index.html").unlink()
    source = passing.path / "requirements" / "power.yaml"
    (out / "index.html").symlink_to(source)
    before = source.read_bytes()
    assert passing.run("package", "-o", str(out)).status == 2
    assert source.read_bytes() == before


def test_no_project_is_started_among_the_sources_of_another(passing: Project) -> None:
    assert passing.run("start", "requirements/inner").status == 2
    assert not (passing.path / "requirements" / "inner").exists()
