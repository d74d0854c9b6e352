"""``closeout lint`` tells what the rules of wording find, at the word and as warnings."""

from __future__ import annotations

from pathlib import Path

from tests.cli.project import Project, base, requirement

SAID = "statement: The battery shall hold the energy that the limit says."
FOLDED = """\
statement: >-
      The battery shall hold
      at least 50 W h of energy, as
      appropriate."""


def test_a_word_and_a_number_are_told_at_their_place(tmp_path: Path) -> None:
    project = Project(tmp_path)
    project.write(base())
    assert project.run("lint").status == 0
    project.replace("requirements/power.yaml", SAID, FOLDED)
    run = project.run("lint")
    assert run.status == 1
    assert "requirements/power.yaml:7:16: PWR-010: the statement says '50 W h'" in run.stdout
    assert "at_least: 190 kJ [limit-differs]" in " ".join(run.stdout.split())
    assert "requirements/power.yaml:7:34: PWR-010: 'as appropriate'" in run.stdout
    # Warnings do not keep a project from its verdict.
    assert project.run("verify").status == 0
    assert SAID in requirement()
