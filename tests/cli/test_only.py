"""``verify --only``: by identifier, owner, level, review, state and code."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import Project, base, by_id, make, power
from tests.cli.project import requirement as item
from tests.cli.test_terminal import in_terminal

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

# A test that is due at AR and planned, at another level than the analysis beside it.
TEST = """\
      - method: test
        level: equipment
        stage: acceptance
        review: AR
        quantity: energy
        at_least: 50 W h
"""


def owned(text: str, owner: str) -> str:
    return text.replace(
        "    rationale: Invented\n", f"    rationale: Invented\n    owner: {owner}\n"
    )


@pytest.fixture(scope="module")
def owners(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """At CDR: PWR-2 met, PWR-10 not met, PWR-20 met early with a test planned, THM-010 met.

    SYS-010, of which the others are derived, belongs to nobody.
    """
    files = base()
    files["requirements/power.yaml"] = power(
        owned(item("PWR-10", "at_least: 197 kJ"), "power"),
        owned(item("PWR-2"), "power"),
        owned(item("PWR-20", review="AR", more=TEST), "power and data"),
    )
    frost = str(files["requirements/frost.yaml"]).replace("risk: Invented", "risk: Of frost")
    files["requirements/frost.yaml"] = owned(frost, "thermal")
    return make(tmp_path_factory.mktemp("owners") / "p", files)


def only(*texts: str) -> list[str]:
    return [part for text in texts for part in ("--only", text)]


@pytest.mark.parametrize(
    ("asked", "wanted"),
    [
        (["owner=power"], {"PWR-2", "PWR-10"}),
        (["owner=power", "owner=thermal"], {"PWR-2", "PWR-10", "THM-010"}),
        (["owner=power*"], {"PWR-2", "PWR-10", "PWR-20"}),
        (["owner=power and data"], {"PWR-20"}),
        (["owner="], {"SYS-010"}),
        (["PWR-2", "THM-010"], {"PWR-2", "THM-010"}),
        (["PWR-2", "THM-010", "owner=thermal"], {"THM-010"}),
        (["SYS-010", "owner=thermal"], {"THM-010"}),
        (["level=equipment"], {"PWR-20"}),
        (["level=system"], {"PWR-2", "PWR-10", "PWR-20", "THM-010"}),
        (["review=AR"], {"PWR-20"}),
        (["review=CDR", "owner=power*"], {"PWR-2", "PWR-10"}),
        (["state=met"], {"PWR-2", "PWR-20", "THM-010"}),
        (["state=not met"], {"PWR-10", "SYS-010"}),
        (["state=open"], {"PWR-20"}),
        # Level, review and state are those of one verification.
        (["level=equipment", "state=met"], set()),
        (["level=system", "review=AR", "state=met"], {"PWR-20"}),
        (["code=NC"], {"PWR-10"}),
        (["code=NC", "code=PC"], {"PWR-10", "SYS-010"}),
        (["code=open", "state=met"], {"PWR-20"}),
        (["code=C", "owner=thermal"], {"THM-010"}),
        (["state=error"], set()),
    ],
)
def test_only_narrows(owners: Project, asked: list[str], wanted: set[str]) -> None:
    document = owners.verify(*only(*asked)).json
    assert set(by_id(document)) == wanted
    assert document["only"] == asked
    assert document["requirements_in_all"] == 5
    totals = document["totals"]
    assert sum(totals[code] for code in ("C", "PC", "NC", "NA", "open")) == len(wanted)


def test_what_is_shown_is_judged_as_in_the_whole(owners: Project) -> None:
    # SYS-010 alone is shown, and judged by those derived from it, which are not.
    whole = by_id(owners.verify().json)
    for asked in (["owner="], ["code=PC"], ["owner=power"], ["state=open"]):
        for name, entry in by_id(owners.verify(*only(*asked)).json).items():
            assert entry == whole[name], (asked, name)


def test_nothing_runs_for_what_is_not_needed(owners: Project, tmp_path: Path) -> None:
    project = make(tmp_path / "p", owners.contents())
    scale = project.verify(*only("owner=thermal")).json["scale"]
    assert (scale["evaluated"], scale["from_store"]) == (1, 0)
    # A state is known of what was judged alone.
    scale = project.verify(*only("owner=thermal", "state=met")).json["scale"]
    assert (scale["evaluated"], scale["from_store"]) == (0, 1)


def test_text_and_status_speak_of_what_is_shown(owners: Project) -> None:
    run = owners.run("verify", *only("owner=thermal", "state=met"))
    assert run.status == 0
    said = " ".join(run.stdout.split())
    asked = "--only owner=thermal --only state=met"
    assert f"1 of 5 requirements, {asked}: totals and exit status are for these only" in said
    assert "1 C, 0 PC, 0 NC, 0 NA, 0 open; 1 closed of 1" in said
    assert "Exit status 0 for what is shown: everything" in said
    # Findings are of the whole project, shown or not.
    assert "PWR-10" not in run.stdout.partition("\nFindings\n")[0]
    run = owners.run("verify", *only("state=not met"))
    assert run.status == 1
    assert "2 of 5 requirements, --only 'state=not met':" in run.stdout
    assert "for what is shown" not in owners.run("verify").stdout


def test_none_in_a_state_is_no_mistake(owners: Project) -> None:
    run = owners.run("verify", *only("state=error"))
    assert run.status == 0
    assert "0 of 5 requirements, --only state=error" in run.stdout
    assert "No requirement matches." in run.stdout


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (
            "ownr=power",
            ["there is no key ownr", "did you mean owner?", "level, review, state, code"],
        ),
        ("owner=powr", ["no requirement has this owner", "did you mean power?", "thermal"]),
        ("owner=xyz", ["there are owner= for none, power, power and data, thermal"]),
        ("level=systm", ["no verification is at this level", "system?", "equipment"]),
        ("level=segment", ["no verification is at this level", "equipment, system"]),
        ("review=XDR", ["no verification is due at this review", "there are CDR, AR"]),
        ("state=opn", ["no such state", "did you mean open?", "met, not met, open, error"]),
        ("state=NC", ["no such state", "write --only code=NC"]),
        ("code=met", ["no such code", "write --only state=met"]),
        ("code=X", ["no such code", "there are C, PC, NC, NA, open"]),
    ],
)
def test_a_misspelt_key_or_value_is_told_with_what_there_is(
    owners: Project, asked: str, told: list[str]
) -> None:
    run = owners.run("verify", "--only", asked)
    assert (run.status, run.stdout) == (2, "")
    for text in (f"--only {asked}:", *told):
        assert text in run.stderr


def test_every_mistake_is_told_at_once(owners: Project) -> None:
    run = owners.run("verify", *only("ownr=power", "level=systm", "PWR-99", "state=opn"))
    assert run.status == 2
    for text in ("ownr=power", "level=systm", "PWR-99", "state=opn"):
        assert f"--only {text}:" in run.stderr


def test_what_can_name_nothing_whatever_the_verdicts_is_told(owners: Project) -> None:
    run = owners.run("verify", *only("THM-010", "owner=power"))
    assert run.status == 2
    assert "--only THM-010 --only owner=power: no requirement matches" in run.stderr


def test_a_what_if_shows_what_it_moves_into_a_state(owners: Project) -> None:
    asked = ["--set", "voltage=11 V", *only("state=not met", "owner=power")]
    told = owners.run("verify", *asked).stdout.partition("What the settings change")[2]
    # PWR-2 was met before, and so it was not in this state.
    assert "PWR-2  C -> NC" in told
    assert "PWR-10  NC  margin" in told


def test_help_names_every_key(owners: Project) -> None:
    said = " ".join(owners.run("verify", "--help").stdout.split())
    for text in ("owner=power", "level=system", "review=CDR", "state=open", "code=NC", "add up"):
        assert text in said


@pytest.mark.parametrize("columns", [40, 60])
def test_what_was_left_out_fits_a_narrow_terminal(owners: Project, columns: int) -> None:
    status, told = in_terminal(
        owners, "verify", *only("state=not met"), columns=columns, NO_COLOR="1"
    )
    assert status == 1
    assert "2 of 5 requirements" in told
    for line in told.split("\n"):
        # Commands, and places with their message, are never cut.
        assert len(line) <= columns or "--set" in line or line.startswith("requirements/"), line
