"""``closeout sweep``: margins over the values of a parameter, and the window in which all hold.

The project is invented. Every expected number is computed by hand, as written beside it.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
from importlib.resources import files
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest

from tests.cli.project import CHARTER, FROST, SYSTEM, WARMTH, Project, by_id, make, power
from tests.cli.test_terminal import in_terminal

SCHEMA = json.loads((files("closeout.render") / "sweep.schema.json").read_bytes())

# Voltage 12 V +/- 0.5 V; charge 5 A h +/- 5 %; a march that asks for its number, so it is searched.
ANALYSES = '''\
"""What a battery gives, and a lamp that takes it."""
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import absent, analysis
from closeout.units import A_h, V, W_h, Unit, count, degC, hour


class Energy(NamedTuple):
    energy: W_h


class Time(NamedTuple):
    time: hour


class Votes(NamedTuple):
    votes: Annotated[float, Unit("1")]
    levels: Annotated[Mapping[str, float], Unit("V")]


@analysis
def energy(voltage: V, charge: A_h) -> Energy:
    """Voltage times charge."""
    if voltage > 15.0:
        raise ValueError("the battery burns")
    return Energy(voltage * charge)


@analysis
def march(voltage: V) -> Time:
    """A time that is found step by step."""
    time = 0.0
    while time < 2.0 * float(voltage):
        time += 0.25
    return Time(time)


@analysis
def votes(samples: count, voltage: V) -> Votes:
    """What so many samples say, and levels by mode."""
    levels = {"day": voltage, "night": voltage - samples}
    return Votes(2.0 * samples, levels)


@analysis
def mixed(voltage: V) -> Time:
    """A formula below 12.6 V, and a march above."""
    return Time(2.0 * voltage) if voltage < 12.6 else march(voltage)


@analysis
def cold(voltage: V, cell_temperature: degC) -> Time:
    """A time that the cold makes shorter, found step by step."""
    return Time(march(voltage).time + 0.125 * float(cell_temperature))
'''
PARAMETERS = """\
parameters:
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {value: 5 A h, tolerance: 5 %, source: Invented}
  samples: {value: 5 count, source: Invented}
  idle: {value: 1 s, tolerance: 0 s, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
"""


def by(identifier: str, analysis: str, quantity: str, limit: str, more: str = "") -> str:
    return f"""\
  - id: {identifier}
    title: {identifier}
    statement: As the limit says.
    derived_from: [SYS-010]
    rationale: Invented
    source: Invented
    verification:
      - {{method: analysis, level: system, stage: qualification, review: CDR,
         analysis: {analysis}, quantity: {quantity}, {limit}{more}}}
"""


# Over the tolerances the energy is (v - 0.5 V) * 4.75 A h to (v + 0.5 V) * 5.25 A h. So it is at
# least 52 W h from v = 11.447 V on, and at most 70 W h up to v = 12.833 V.
LEAST = by("LEAST", "energy", "energy", "at_least: 52 W h")
MOST = by("MOST", "energy", "energy", "at_most: 70 W h")
MARCH = by("MARCH", "march", "time", "at_least: 20 h")
VOTES = by("VOTES", "votes", "votes", "at_most: 10")
LEVELS = by("LEVELS", "votes", "levels", "at_least: 6 V")


def lantern(path: Path, *items: str, parameters: str = PARAMETERS, **more: str) -> Project:
    """Return a project of the analyses above."""
    contents = {
        "requirements/project.yaml": CHARTER,
        "requirements/system.yaml": SYSTEM,
        "requirements/power.yaml": power(*items),
        "analyses/parameters.yaml": parameters,
        "analyses/battery.py": ANALYSES,
        "analyses/warmth.py": WARMTH,
        "tests/test_all.py": "def test_nothing() -> None: ...\n",
    }
    return make(path / "lantern", {**contents, **more})


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """Nothing in it is changed by a test."""
    return lantern(tmp_path_factory.mktemp("usual"), LEAST, MOST, MARCH, VOTES, LEVELS, FROST)


def swept(project: Project, *arguments: str) -> Any:
    run = project.run("sweep", *arguments, "--json", "-")
    assert run.status == 0, run.said
    document = run.json
    jsonschema.validate(document, SCHEMA)
    return document


def told(project: Project, *arguments: str) -> str:
    """Return what is printed, its lines joined."""
    run = project.run("sweep", *arguments)
    assert run.status == 0, run.said
    assert max(map(len, run.stdout.split("\n"))) <= 100
    return re.sub(r"[ \n]+", " ", run.stdout)


def margins(document: Any) -> dict[tuple[str, int], list[float | None]]:
    """Return the margins by requirement and point, of all cases."""
    return {
        (row["requirement"], point): [case["margin"] for case in found["cases"]]
        for row in document["verification"]
        for point, found in enumerate(row["points"])
    }


# One parameter


def test_eleven_values_both_ends_among_them(usual: Project) -> None:
    (axis,) = swept(usual, "voltage=10V..14V")["parameters"]
    assert axis["values"] == [10.0, 10.4, 10.8, 11.2, 11.6, 12.0, 12.4, 12.8, 13.2, 13.6, 14.0]
    assert axis["unit"] == "V"
    assert axis["declared"] == "12 V (+/- 0.5 V)"


def test_the_window_and_what_ends_it(usual: Project) -> None:
    # LEAST from 11.447 V on, MOST up to 12.833 V, as above.
    text = told(usual, "voltage=10V..14V", "--only", "LEAST", "--only", "MOST")
    assert (
        "All 2 requirements that rest on voltage hold from 11.6 V to 12.8 V: 4 of 11 points tried;"
        " between the points tried nothing is claimed." in text
    )
    # (11.2 - 0.5) * 4.75 - 52 = -1.175; 70 - (13.2 + 0.5) * 5.25 = -1.925.
    assert "below: ended at 11.2 V by LEAST energy not met, margin -1.18 W h" in text
    assert "above: ended at 13.2 V by MOST energy not met, margin -1.92 W h" in text


def test_the_window_in_json_names_the_same(usual: Project) -> None:
    document = swept(usual, "voltage=10V..14V", "--only", "LEAST", "--only", "MOST")
    assert document["windows"] == [
        {
            "from": 11.6,
            "to": 12.8,
            "ended_below_by": [{"requirement": "LEAST", "number": 0}],
            "ended_above_by": [{"requirement": "MOST", "number": 0}],
            "without": [],
        }
    ]
    assert document["all_hold"] == [False] * 4 + [True] * 4 + [False] * 3
    assert document["only"] == ["LEAST", "MOST"]


def test_a_window_that_the_sweep_ends(usual: Project) -> None:
    text = told(usual, "voltage=11.5V..12.5V", "--only", "LEAST", "--only", "MOST")
    assert "hold from 11.5 V to 12.5 V: 11 of 11 points tried" in text
    assert "below: nothing ends it up to the end of the sweep, 11.5 V" in text
    assert "above: nothing ends it up to the end of the sweep, 12.5 V" in text


def test_no_window_says_where_each_holds(tmp_path: Path) -> None:
    tight = by("TIGHT", "energy", "energy", "at_most: 57 W h")
    project = lantern(tmp_path, LEAST, tight)
    # At most 57 W h up to (v + 0.5 V) * 5.25 A h = 57 W h: 10.357 V.
    text = told(project, "voltage=10V..12V", "--points", "5")
    assert "At no value tried do all 2 requirements that rest on voltage hold together" in text
    assert "LEAST energy holds at 11.5 V to 12 V" in text
    assert "TIGHT energy holds at 10 V" in text


@pytest.mark.slow
def test_what_holds_nowhere_leaves_the_window_of_the_others(tmp_path: Path) -> None:
    never = by("NEVER", "energy", "energy", "at_least: 1 kW h")
    project = lantern(tmp_path, LEAST, never)
    text = told(project, "voltage=10V..14V", "--points", "5")
    # (14 - 0.5) * 4.75 W h = 64.125 W h of 1 kW h.
    assert "NEVER energy holds at no value tried: best margin -0.936 kW h" in text
    assert "holds from 12 V to 14 V: 3 of 5 points tried" in text


def test_the_smallest_margin_of_each_is_marked(usual: Project) -> None:
    run = usual.run("sweep", "voltage=10V..14V", "--only", "LEAST", "--only", "MOST")
    marked = re.findall(r"(\S+)\*(?= |\n)", run.stdout)
    # (10 - 0.5) * 4.75 - 52 = -6.875 and 70 - (14 + 0.5) * 5.25 = -6.125.
    assert marked == ["-6.88", "-6.12"]


def test_every_case_counts(usual: Project) -> None:
    # Night is voltage - samples: 11.5 V - 5 = 6.5 V at 12 V, and 6 V at 11.5 V.
    document = swept(usual, "voltage=11V..13V", "--points", "5", "--only", "LEVELS")
    (row,) = document["verification"]
    assert [found["holds"] for found in row["points"]] == [False, True, True, True, True]
    assert [case["case"] for case in row["points"][0]["cases"]] == ["day", "night"]


def test_ends_of_two_units_and_of_a_prefix(usual: Project) -> None:
    (axis,) = swept(usual, "voltage=11V..13000mV", "--points", "3")["parameters"]
    assert axis["values"] == [11.0, 12.0, 13.0]
    (axis,) = swept(usual, "voltage=11000mV..13V", "--points", "3")["parameters"]
    assert axis["values"] == [11000.0, 12000.0, 13000.0]
    assert axis["declared_value"] == 12000.0


def test_whole_numbers_where_it_is_counted(usual: Project) -> None:
    document = swept(usual, "samples=3..7")
    (axis,) = document["parameters"]
    assert axis["values"] == [3.0, 4.0, 5.0, 6.0, 7.0]
    assert axis["whole_numbers"]
    assert document["points"][0] == {"samples": "3 count"}
    # 2 * samples at most 10; 11.5 V - samples at least 6 V: both up to 5.
    assert [window["to"] for window in document["windows"]] == [5.0]
    values = swept(usual, "samples=3 count..103 count")["parameters"][0]["values"]
    assert values == [float(number) for number in range(3, 104, 10)]
    assert "samples: whole numbers only" in told(usual, "samples=3..7")


def test_a_condition_that_is_given_is_replaced_and_said(usual: Project) -> None:
    # FROST gives 5 degC to 20 degC, and wants 2 K above 0 degC.
    text = told(usual, "cell_temperature=-10degC..20degC", "--points", "4")
    assert "holds from 10 degC to 20 degC" in text
    assert "cell_temperature is a condition that THM-010 gives: the values of the sweep" in text


def test_an_error_at_a_point_has_its_reason(usual: Project) -> None:
    # Burns above 15 V; with the spread from 14.5 V on.
    text = told(usual, "voltage=12V..16V", "--points", "5", "--only", "LEAST")
    assert "holds from 12 V to 14 V: 3 of 5 points tried" in text
    assert "above: ended at 15 V by LEAST energy error: " in text
    assert "at 15 V to 16 V error: " in text or "at 15 V error: " in text
    assert "the battery burns" in text


@pytest.mark.slow
def test_covered_holds_and_is_marked(tmp_path: Path) -> None:
    waived = """\
  - id: RFW-001
    reason: Invented
    kind: waiver
    requirement: LEAST
    accepts: {quantity: energy, at_least: 50 W h}
    approved_by: verification control board
    date: 2026-01-10
    document: RFW-001
    expires: AR
"""
    project = lantern(tmp_path, LEAST, **{"requirements/waivers.yaml": f"waivers:\n{waived}"})
    document = swept(project, "voltage=10V..12V", "--points", "5")
    (row,) = document["verification"]
    states = [(one["state"], one["holds"]) for one in row["points"]]
    # The lowest is (v - 0.5) * 4.75: 45.1, 47.5, 49.9, 52.25, 54.6 W h; the waiver reaches 50 W h.
    assert [state for state, _ in states] == ["not met"] * 3 + ["met"] * 2
    document = swept(project, "voltage=11V..12V", "--points", "11")
    # At 11.1 V it is 50.35 W h, at 11.5 V 52.25 W h.
    assert document["all_hold"] == [False] + [True] * 10
    assert "w under waiver" in told(project, "voltage=11V..12V")


@pytest.mark.slow
def test_a_margin_that_is_less_sure_than_others_is_marked(tmp_path: Path) -> None:
    """A formula on one side of a switch and a march on the other."""
    project = lantern(
        tmp_path,
        by("MIXED", "mixed", "time", "at_least: 20 h"),
    )
    run = project.run("sweep", "voltage=11V..14V", "--points", "4")
    # Twice the least voltage, 0.5 V less than the value, of 20 h.
    assert "MIXED time: at least 20 h, in h, bounded, s searched, due at CDR" in run.stdout
    assert re.search(r"\n +\+1\* +\+3 +\+5s +\+7s\n", run.stdout), run.stdout


# As with --set


def test_it_agrees_with_set_to_the_last_digit(usual: Project) -> None:
    document = swept(usual, "voltage=10V..15V", "--points", "11", "--whole")
    for place in (0, 3, 10):
        setting = document["points"][place]["voltage"]
        run = usual.verify("--set", f"voltage={setting}")
        judged = by_id(run.json)
        for row in document["verification"]:
            entries = judged[row["requirement"]]["verification"]
            assert row["points"][place]["cases"] == entries, (row["requirement"], setting)
    assert {row["requirement"] for row in document["verification"]} == {
        "LEAST", "MOST", "MARCH", "VOTES", "LEVELS",
    }  # fmt: skip


@pytest.mark.slow
def test_two_settings_agree_with_set_too(usual: Project) -> None:
    document = swept(usual, "voltage=11V..13V", "charge=4.4 A h..5.6 A h", "--points", "3,4")
    for place in (0, 6, 11):
        point = document["points"][place]
        given = [text for name, value in point.items() for text in ("--set", f"{name}={value}")]
        judged = by_id(usual.verify(*given).json)
        for row in document["verification"]:
            if not row["nominal_only"]:
                entries = judged[row["requirement"]]["verification"]
                assert row["points"][place]["cases"] == entries


def test_it_stands_on_other_settings_and_a_review(usual: Project) -> None:
    document = swept(usual, "voltage=11V..13V", "--points", "3", "--set", "charge=6 A h exactly")
    assert document["settings"] == {"charge": "6 A h exactly"}
    # 6 A h * 10.5 V - 52 W h = 11 W h.
    assert margins(document)["LEAST", 0] == [pytest.approx(11.0, abs=1e-12)]


def test_what_is_searched_is_nominal_unless_whole(usual: Project) -> None:
    document = swept(usual, "voltage=11V..13V", "--points", "3", "--only", "MARCH")
    (row,) = document["verification"]
    assert row["nominal_only"]
    assert row["basis"] == "nominal"
    # The time is twice the voltage, and at least 20 h are wanted.
    assert margins(document) == {("MARCH", n): [m] for n, m in enumerate((2.0, 4.0, 6.0))}
    assert {case["assurance"] for one in row["points"] for case in one["cases"]} == {"nominal"}
    text = told(usual, "voltage=11V..13V", "--points", "3", "--only", "MARCH")
    assert "3 of 3 points tried, MARCH at nominal values only;" in text
    assert "at nominal values: the worst case can only be searched" in text
    document = swept(usual, "voltage=11V..13V", "--points", "3", "--only", "MARCH", "--whole")
    (row,) = document["verification"]
    assert not row["nominal_only"]
    # With 0.5 V less it is 1 h less.
    assert margins(document) == {("MARCH", n): [m] for n, m in enumerate((1.0, 3.0, 5.0))}
    assert {case["assurance"] for one in row["points"] for case in one["cases"]} == {"searched"}


def test_a_second_sweep_runs_nothing(tmp_path: Path) -> None:
    project = lantern(tmp_path, LEAST, MARCH, LEVELS)
    first = project.run("sweep", "voltage=11V..13V", "--points", "3")
    assert re.search(r"\n[1-9]\d* evaluations run, ", first.stdout)
    second = project.run("sweep", "voltage=11V..13V", "--points", "3")
    assert re.search(r"\n0 evaluations run, 10 reused", second.stdout)
    assert (
        first.stdout.rpartition("evaluations run")[0].rpartition("\n")[0]
        == (second.stdout.rpartition("evaluations run")[0].rpartition("\n")[0])
    )
    # A point of another sweep is kept as well: nothing but 11.5 V and 12.5 V is new.
    third = project.run("sweep", "voltage=11V..13V", "--points", "5", "--only", "LEAST")
    assert "\n2 evaluations run, 3 reused" in third.stdout


# Two parameters


def test_a_map_of_two(usual: Project) -> None:
    arguments = ("voltage=11V..13V", "samples=3..7", "--only", "VOTES", "--only", "LEVELS")
    document = swept(usual, *arguments)
    assert len(document["points"]) == 7 * 5
    assert document["windows"] is None
    holds = dict(zip(map(tuple, map(dict.items, document["points"])), document["all_hold"],
                     strict=True))  # fmt: skip
    # VOTES up to 5 samples; LEVELS where voltage - 0.5 V - samples is at least 6 V.
    for (volts, samples), (_, known) in zip(
        itertools.product(document["parameters"][0]["values"], range(3, 8)),
        holds.items(), strict=True,
    ):  # fmt: skip
        assert known == (samples <= 5 and volts - 0.5 - samples >= 6.0), (volts, samples)
    run = usual.run("sweep", *arguments)
    rows = re.findall(r"^ +(\d) \|(.*)$", run.stdout, re.M)
    assert [row for row, _ in rows] == ["7", "6", "5", "4", "3"]
    assert rows[0][1].split() == ["AB"] * 7
    assert rows[2][1].split() == ["B", "B"] + ["+"] * 5 or rows[2][1].split()[0] == "B"
    assert rows[4][1].split() == ["+"] * 7
    assert re.search(r"^ *A  VOTES votes, at most 10: holds at 21 of 35 points", run.stdout, re.M)


# What is written


def test_csv_has_a_line_for_each_point_and_case(usual: Project, tmp_path: Path) -> None:
    target = tmp_path / "sweep.csv"
    arguments = ("voltage=11V..13V", "--points", "3", "--only", "LEVELS", "--only", "LEAST")
    assert usual.run("sweep", *arguments, "-o", str(target)).status == 0
    rows = list(csv.DictReader(io.StringIO(target.read_text("utf-8"))))
    assert len(rows) == 3 * (1 + 2)
    document = swept(usual, *arguments)
    assert [float(row["margin"]) for row in rows if row["requirement"] == "LEAST"] == [
        found["cases"][0]["margin"]
        for row in document["verification"]
        if row["requirement"] == "LEAST"
        for found in row["points"]
    ]
    assert {row["voltage as set"] for row in rows} == {"11V", "12 V", "13V"}
    assert {row["draft"] for row in rows} == {"DRAFT - the judged state is not committed"}


@pytest.mark.slow
@pytest.mark.parametrize("values", [("voltage=11V..13V",), ("voltage=11V..13V", "samples=3..7")])
def test_a_figure_is_well_formed_and_names_all(
    usual: Project, tmp_path: Path, values: tuple[str, ...]
) -> None:
    picture, table = tmp_path / "sweep.svg", tmp_path / "sweep.json"
    run = usual.run("sweep", *values, "-o", str(picture), "-o", str(table))
    assert run.status == 0
    root = ElementTree.parse(picture).getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    text = " ".join("".join(one.itertext()) for one in root.iter())
    document = json.loads(table.read_text("utf-8"))
    jsonschema.validate(document, SCHEMA)
    for row in document["verification"]:
        held = all(found["holds"] for found in row["points"])
        assert f"{row['requirement']} {row['quantity']}" in text or (len(values) == 2 and held)
    if len(values) == 1:
        dots = [one for one in root.iter() if one.tag.endswith("circle")]
        assert len(dots) == sum(
            any(case["margin"] is not None for case in found["cases"])
            for row in document["verification"]
            for found in row["points"]
        )
    assert "between the points tried nothing is claimed" in text


def test_at_a_commit(tmp_path: Path) -> None:
    project = lantern(tmp_path, LEAST)
    project.git("init", "--quiet", "--initial-branch=main")
    project.commit("first")
    project.replace("requirements/power.yaml", "52 W h", "1 W h")
    document = swept(project, "voltage=10V..12V", "--points", "3", "--at", "HEAD")
    assert document["snapshot"]["kind"] == "commit"
    assert document["all_hold"] == [False, False, True]


# Mistakes


def mistakes(project: Project, *arguments: str) -> str:
    run = project.run("sweep", *arguments)
    assert run.status == 2, run.said
    assert run.stdout == ""
    return run.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "message", "cure"),
    [
        (("voltge=10V..12V",), "voltge=10V..12V: there is no parameter voltge", "mean voltage?"),
        (("idle=1s..2s",), "no requirement rests on idle", "sweep one of voltage, charge"),
        (("voltage=10A..12V",), "electric current is given", "write it in a unit of voltage"),
        (("voltage=10..12V",), "unit missing in '10'", "10 V"),
        (("voltage=12V..12000mV",), "both ends are the same value", "--set 'voltage=12V'"),
        (("voltage=14V..10V",), "the first end is above", "write 'voltage=10V..14V'"),
        (("voltage=10V",), "no two ends with .. between them", "write NAME=FROM..TO"),
        (("voltage=10V...12V",), "no two ends with .. between them", "write NAME=FROM..TO"),
        (("voltage",), "voltage: no =", "write NAME=FROM..TO"),
        (("voltage=ten..12V",), "'ten' does not begin with a number", "write a number"),
        (("voltage=10V..12V", "voltage=1V..2V"), "voltage is swept twice", "name each parameter"),
        (
            ("voltage=10V..12V", "charge=4A h..5A h", "samples=3..7"),
            "a sweep over 3 parameters", "name one or two, and set the others",
        ),
        (("voltage=10V..12V", "--points", "1"), "two points at the least", "from 2"),
        (("voltage=10V..12V", "--points", "5000"), "5000 points, more than", "at most 1000"),
        (("voltage=10V..12V", "--points", "some"), "no number of points", "write a number"),
        (("voltage=10V..12V", "--points", "3,4"), "no number of points for one", "write a number"),
        (("voltage=10V..12V", "--set", "voltage=11V"), "the sweep sets voltage", "leave out one"),
        (("voltage=10V..12V", "--only", "state=open"), "another at each value", "leave out"),
        (("voltage=10V..12V", "--only", "THM-010"), "none of these rests on voltage", "LEAST"),
        (("voltage=10V..12V", "-o", "sweep.pdf"), "-o sweep.pdf: no such form", ".svg, .csv"),
        (("voltage=10V..12V", "--review", "TRR"), "--review TRR: unknown review", "SRR, CDR, AR"),
    ],
)  # fmt: skip
def test_a_mistake_has_its_cure(
    usual: Project, arguments: tuple[str, ...], message: str, cure: str
) -> None:
    said = mistakes(usual, *arguments)
    assert message in said
    assert cure in said


def test_all_mistakes_at_once(usual: Project) -> None:
    said = mistakes(
        usual, "voltge=14V..10V", "charge=4A..5", "--points", "1", "--review", "TRR",
        "--set", "nothing=1",
    )  # fmt: skip
    parts = ("voltge", "electric current", "unit missing in '5'", "two points", "TRR", "nothing")
    for part in parts:
        assert part in said


def test_no_output_among_the_sources(usual: Project) -> None:
    said = mistakes(usual, "voltage=10V..12V", "-o", "requirements/sweep.csv")
    assert "is among the project's sources" in said


def test_a_project_that_cannot_be_read(tmp_path: Path) -> None:
    project = make(tmp_path / "p", {"requirements/project.yaml": "project: [\n"})
    run = project.run("sweep", "voltage=10V..12V")
    assert run.status == 2
    assert "nothing was written" in run.stderr


# In a program


def test_a_program_gets_the_same(usual: Project) -> None:
    from closeout.run import Project as Opened

    found = Opened(usual.path, jobs=2).sweep(
        {"voltage": "10 V..14 V"}, points=5, only=("LEAST", "MOST")
    )
    (window,) = found.windows()
    assert found.axes[0].tried[window.first].text == "12 V"
    assert found.axes[0].tried[window.last].text == "12 V"
    document = swept(
        usual, "voltage=10 V..14 V", "--points", "5", "--only", "LEAST", "--only", "MOST"
    )
    margins_found = [[at.evidence[0].margin for at in row] for row in found.found]
    assert margins_found == [
        [at["cases"][0]["margin"] for at in row["points"]] for row in document["verification"]
    ]
    ElementTree.fromstring(found._repr_svg_())  # type: ignore[attr-defined]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("values", "points", "message"),
    [
        ({"voltage": 3}, None, "an amount is a text"),
        ("voltage=10V..12V", None, "maps no parameters"),
        ({}, None, "no parameter to sweep"),
        ({"voltage": "10V..12V"}, 1, "two points at the least"),
        ({"voltge": "10V..12V"}, None, "did you mean voltage?"),
    ],
)
def test_a_program_is_told_its_mistakes(
    usual: Project, values: Any, points: int | None, message: str
) -> None:
    from closeout.run import Project as Opened
    from closeout.run import UserError

    with pytest.raises(UserError) as told_of:
        Opened(usual.path).sweep(values, points=points)
    assert message in str(told_of.value)


@pytest.mark.slow
def test_the_estimate_comes_before_the_work_and_on_a_terminal_only(tmp_path: Path) -> None:
    project = lantern(tmp_path, LEAST, MARCH)
    arguments = ("sweep", "voltage=11V..13V", "--points", "4")
    status, shown = in_terminal(project, *arguments)
    assert status == 0
    said = "6 evaluations to go, less than 1 s of processor time by the first point"
    assert said in shown
    assert shown.index(said) < shown.index("Margins over voltage")
    other = lantern(tmp_path / "other", LEAST, MARCH)
    run = other.run(*arguments)
    assert run.stderr == ""
    assert "processor time" not in run.stdout
    # The estimate does not change what is told of the work: four points and the declared values.
    assert shown.rstrip().endswith("10 evaluations run, 0 reused")
    assert run.stdout.rstrip().endswith("10 evaluations run, 0 reused")
    # Nothing is left to do, so nothing is estimated.
    assert "to go" not in in_terminal(project, *arguments)[1]


@pytest.mark.slow
def test_given_ranges_are_at_both_ends_at_nominal_values(tmp_path: Path) -> None:
    """A march over a range of a condition: at its worse end, without a search between."""
    given = ", given: {cell_temperature: [-8 degC, 16 degC]}"
    project = lantern(
        tmp_path,
        by("COLD", "cold", "time", "at_least: 20 h", given),
    )
    document = swept(project, "voltage=11V..13V", "--points", "3")
    # Twice the voltage, less 0.125 h for each of 8 degC, of 20 h.
    assert margins(document) == {("COLD", n): [m] for n, m in enumerate((1.0, 3.0, 5.0))}
    (row,) = document["verification"]
    for found in row["points"]:
        (case,) = found["cases"]
        assert case["given"] == {"cell_temperature": "-8 degC"}
        assert case["assurance"] == "nominal"
    # The condition itself moved: the values stand in place of the range.
    document = swept(project, "cell_temperature=-8degC..16degC", "--points", "3")
    assert margins(document) == {("COLD", n): [m] for n, m in enumerate((3.0, 4.5, 6.0))}


# Through a chain of analyses


CHAIN = """\
\"\"\"A battery that a heater drains: its power comes from another analysis.\"\"\"
from typing import NamedTuple

from closeout import analysis
from closeout.units import V, W, ohm, hour, W_h


class Heat(NamedTuple):
    power: W


class Drained(NamedTuple):
    drained: W_h


@analysis(validated_by="tests/test_all.py")
def heat(bus: V, resistance: ohm) -> Heat:
    \"\"\"Power of a heater.\"\"\"
    return Heat(bus * bus / resistance)


@analysis(validated_by="tests/test_all.py")
def drained(heater_power: W, on_time: hour) -> Drained:
    \"\"\"Energy that a heater takes.\"\"\"
    return Drained(heater_power * on_time)
"""
CHAINED = """\
parameters:
  bus: {value: 10 V, tolerance: 0 V, source: Invented}
  resistance: {value: 20 ohm, tolerance: 0 ohm, source: Invented}
  heater_power: {from: heat.power}
  on_time: {value: 2 h, tolerance: 0.5 h, source: Invented}
"""


def test_what_rests_on_a_parameter_through_another_analysis(tmp_path: Path) -> None:
    files_of = {"analyses/battery.py": CHAIN, "analyses/warmth.py": '"""Nothing."""\n'}
    most = by("DRAIN", "drained", "drained", "at_most: 15 W h")
    power_of = by("HEAT", "heat", "power", "at_most: 6.05 W")
    project = lantern(tmp_path, most, power_of, parameters=CHAINED, **files_of)
    document = swept(project, "bus=8V..12V", "--points", "5")
    # The power is bus^2 / 20 ohm: 3.2, 4.05, 5, 6.05, 7.2 W; on for up to 2.5 h.
    wanted = {
        ("DRAIN", n): [pytest.approx(15.0 - 2.5 * watts, abs=1e-5)]
        for n, watts in enumerate((3.2, 4.05, 5.0, 6.05, 7.2))
    }
    found = margins(document)
    assert {key: found[key] for key in wanted} == wanted
    (window,) = document["windows"]
    assert (window["from"], window["to"]) == (8.0, 10.0)
    assert [one["requirement"] for one in window["ended_above_by"]] == ["DRAIN"]
    # To the last digit what --set gives.
    judged = by_id(project.verify("--set", "bus=11 V").json)
    for row in document["verification"]:
        assert row["points"][3]["cases"] == judged[row["requirement"]]["verification"]
    only = swept(project, "on_time=1h..3h", "--points", "3")
    assert [row["requirement"] for row in only["verification"]] == ["DRAIN"]
    # A computed input moves as well, in place of what is found: 2.5 h at 4, 6 and 8 W.
    document = swept(project, "heater_power=4W..8W", "--points", "3")
    assert margins(document) == {
        ("DRAIN", n): [pytest.approx(m, abs=1e-5)] for n, m in enumerate((5.0, 0.0, -5.0))
    }
    assert document["parameters"][0]["declared"] == "as heat.power finds it"
    judged = by_id(project.verify("--set", "heater_power=6 W").json)
    (row,) = document["verification"]
    assert row["points"][1]["cases"] == judged["DRAIN"]["verification"]


def test_an_agreed_range_that_no_longer_holds_is_said(tmp_path: Path) -> None:
    agreed = CHAINED.replace(
        "{from: heat.power}",
        "{value: 5 W, range: [3 W, 6.5 W], estimate: heat.power, source: Invented}",
    )
    files_of = {"analyses/battery.py": CHAIN, "analyses/warmth.py": '"""Nothing."""\n'}
    most = by("DRAIN", "drained", "drained", "at_most: 17 W h")
    project = lantern(tmp_path, most, parameters=agreed, **files_of)
    document = swept(project, "bus=8V..12V", "--points", "3")
    (row,) = document["verification"]
    # The power is bus^2 / 20 ohm: 3.2, 5, 7.2 W.
    assert [found["holds"] for found in row["points"]] == [True, True, False]
    judged = by_id(project.verify("--set", "bus=12 V").json)
    assert row["points"][2]["cases"] == judged["DRAIN"]["verification"]
    text = told(project, "bus=8V..12V", "--points", "3")
    assert "the agreed range of heater_power, 3 W to 6.5 W, does not contain" in text
