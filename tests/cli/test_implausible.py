"""What is well-formed and can hardly be meant is reported, with place and cure."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.project import CHARTER, FROST, PARAMETERS, Project, base, make, power, requirement

# Each starts processes of a second; a default run has other tests of the command line.
pytestmark = pytest.mark.slow

OWNED = """\
  - id: {id}
    title: Energy of the battery
    statement: The battery shall hold the energy that the limit says.
    source: Invented
    owner: {owner}
    verification:
      - {{method: test, level: system, stage: qualification, review: CDR}}
      - {{method: inspection, level: system, stage: acceptance, review: AR}}
"""


def _lint(tmp_path: Path, **changed: str) -> str:
    run = make(tmp_path, base(**changed)).run("lint")
    return " ".join(run.stdout.split())


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ("45 degC", "at cell_temperature = 45 degC"),
        ("272 K", "at cell_temperature = 272 K"),
        ("[5 degC, 45 degC]", "at cell_temperature = 5 degC to 45 degC"),
        ("[45 degC, 50 degC]", "at cell_temperature = 45 degC to 50 degC"),
        ("[5 degC, 20 degC]", None),
        ("40 degC", None),
        ("[-5 degC, 45 degC]", None),  # holds all that is declared, and more: a hard requirement
    ],
)
def test_a_condition_outside_of_the_declared_range(
    tmp_path: Path, given: str, found: str | None
) -> None:
    parameters = PARAMETERS.replace("20 degC,", "20 degC, range: [0 degC, 40 degC],")
    frost = power(FROST.replace("[5 degC, 20 degC]", given))
    told = _lint(tmp_path, parameters=parameters, frost=frost)
    assert ("[given-outside-range]" in told) is (found is not None), told
    assert found is None or f"{found}, and cell_temperature is declared from 0 degC to 40" in told


def test_a_worst_case_of_no_spread_at_all(tmp_path: Path) -> None:
    exact = PARAMETERS.replace("0.5 V", "0 V").replace("5 %", "0 A h")
    assert "PWR-010 requires the worst case of energy" in _lint(tmp_path / "1", parameters=exact)
    nominal = power(requirement(limit="at_least: 190 kJ\n        basis: nominal"))
    told = _lint(tmp_path / "2", parameters=exact, power=nominal)
    assert "worst-case-of-nothing" not in told
    one = PARAMETERS.replace("0.5 V", "0 V")
    assert "worst-case-of-nothing" not in _lint(tmp_path / "3", parameters=one)


def test_a_share_of_decibels_has_no_meaning(tmp_path: Path) -> None:
    loss = f"{PARAMETERS}  loss: {{value: 3 dB, tolerance: 5 %, source: Invented}}\n"
    told = _lint(tmp_path, parameters=loss)
    assert "'5 %' of a value in dB has no meaning" in told
    assert "write the tolerance as a difference, in dB" in told


def test_reviews_that_are_dated_backward(tmp_path: Path) -> None:
    dates = f"{CHARTER}  review_dates: {{SRR: 2026-03-01, AR: 2026-02-01}}\n"
    told = _lint(tmp_path, charter=dates)
    assert "AR is on 2026-02-01, before SRR on 2026-03-01" in told
    assert "[review-dates-falling]" in told


@pytest.mark.parametrize(
    ("report", "lacks"),
    [
        ("cause: a slip", "the record that found it (found_by), nor its requirements"),
        ("requirements: [PWR-010]", "the record that found it (found_by)"),
        ("found_by: IN-1", None),  # the record says what it judged
    ],
)
def test_a_nonconformance_of_nothing(tmp_path: Path, report: str, lacks: str | None) -> None:
    more = (
        "records: [{id: IN-1, method: inspection, date: 2026-03-02, judged: {PWR-010: A},"
        f" outcome: not met}}]\nnonconformances: [{{id: NCR-1, {report}}}]\n"
    )
    told = _lint(tmp_path, power=power(requirement()) + more)
    assert ("[nonconformance-of-nothing]" in told) is (lacks is not None), told
    assert lacks is None or f"NCR-1 does not name {lacks}" in told


def test_one_risk_assessment_for_two_subjects(tmp_path: Path) -> None:
    first = requirement(more="    owner: power\n").replace("risk: Invented", "risk: RA 7")
    second = first.replace("PWR-010", "STR-010").replace("owner: power", "owner: structure")
    told = _lint(tmp_path / "1", power=power(first, second))
    assert "STR-010 of structure cites RA 7, and so does PWR-010 of power" in told
    clause = second.replace("RA 7", "RA 7.2")
    assert "risk-of-another" not in _lint(tmp_path / "2", power=power(first, clause))


def _owned(tmp_path: Path, charter: str = CHARTER) -> Project:
    names = [("PWR-020", "power"), ("PWR-021", "power"), ("PWR-022", "power"), ("STR-1", "frame")]
    items = [OWNED.format(id=name, owner=owner) for name, owner in names]
    return make(tmp_path, base(charter=charter, power=power(requirement(), *items)))


def _asked(project: Project, *arguments: str) -> list[str]:
    problems = project.verify("--review", "AR", *arguments).json["problems"]
    return [one["message"] for one in problems if one["rule"] == "no-verification-report"]


def test_a_report_is_asked_for_once_an_owner_and_of_what_is_asked_for(tmp_path: Path) -> None:
    project = _owned(tmp_path)
    of_one, of_three = sorted(_asked(project), reverse=True)
    assert of_one.startswith("STR-1 is verified by 2 methods")
    assert of_three.startswith("3 requirements of power are verified by several methods")
    assert of_three.endswith("PWR-020, PWR-021, PWR-022")
    assert [one[:7] for one in _asked(project, "--only", "PWR-021")] == ["PWR-021"]
    assert _asked(project, "--only", "SYS-010", "--only", "PWR-010") == []


def test_a_report_may_be_named_by_owner(tmp_path: Path) -> None:
    reports = f"{CHARTER}  reports: {{power: LAN-VR-2 issue 1, fraem: LAN-VR-3}}\n"
    project = _owned(tmp_path, reports)
    assert [one[:5] for one in _asked(project)] == ["STR-1"]
    told = " ".join(project.run("lint").stdout.split())
    assert "no requirement has the owner fraem" in told
    assert "did you mean frame?" in told


def test_a_policy_about_one_requirement_leaves_the_others_of_its_owner(tmp_path: Path) -> None:
    off = "no-verification-report: {severity: off, reason: by hand, for: [PWR-020 issue A]}"
    project = _owned(tmp_path, f"{CHARTER}  policy: {{rules: {{{off}}}}}\n")
    told = [one for one in _asked(project) if "power" in one]
    assert [one[-16:] for one in told] == ["PWR-021, PWR-022"]
