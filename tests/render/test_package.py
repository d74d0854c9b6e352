from __future__ import annotations

import hashlib
import json
import posixpath
import re
from dataclasses import replace

from closeout.model.dossier import Dossier, State
from closeout.render.package import package
from tests.documents.links import broken
from tests.documents.told import none
from tests.render import dossiers
from tests.render.reading import Node, html_tree, markdown_tables, without_style


def pages(files: dict[str, bytes]) -> dict[str, Node]:
    return {p: html_tree(data.decode()) for p, data in files.items() if p.endswith(".html")}


def test_manifest_names_every_file_by_digest_and_size(any_dossier: Dossier) -> None:
    files = package(any_dossier, {"closeout": "0.1.0", "Python": "3.11.7"})
    manifest = json.loads(files["manifest.json"])
    assert set(manifest["files"]) == set(files) - {"manifest.json"}
    for path, entry in manifest["files"].items():
        assert entry == {
            "sha256": hashlib.sha256(files[path]).hexdigest(),
            "size": len(files[path]),
        }
    assert manifest["versions"] == {"Python": "3.11.7", "closeout": "0.1.0"}
    assert manifest["review"] == any_dossier.review
    assert manifest["draft"] == any_dossier.draft


def test_documents(gannet: Dossier) -> None:
    expected = {
        "compliance-matrix.csv", "compliance-matrix.html", "compliance-matrix.md",
        "verification-control.html", "verification-control.md", "open-points.html",
        "open-points.md", "analyses/power.pad_hold_energy.html",
        "analyses/power.pad_hold_energy.md", "analyses/radio.link_margin.html",
        "analyses/radio.link_margin.md", "dossier.json", "index.html", "index.md",
        "manifest.json", "analysis-reports.html", "analysis-reports.md", "safety-extract.html",
        "safety-extract.md", "verification-report.html",
        "verification-report.md",
    }  # fmt: skip
    assert set(package(gannet, {})) == expected


def test_paths_stay_inside_and_apart() -> None:
    twins = (
        dossiers.LINK._replace(name="a.Link", function="Link"),
        dossiers.LINK._replace(name="a.link", function="link"),
        dossiers.LINK._replace(name="../../etc/x", function="x"),
    )
    files = package(dossiers.dossier(analyses=twins), {})
    reports = [path for path in files if path.startswith("analyses/")]
    assert len(reports) == len({path.casefold() for path in reports}) == 6
    assert all(posixpath.normpath(path) == path for path in files)
    assert not any(".." in path.split("/") or path.startswith("/") for path in files)


def test_everything_leads_somewhere(any_dossier: Dossier) -> None:
    found = broken(package(any_dossier, {}))
    none(found)


def test_every_page_of_a_draft_says_so() -> None:
    clean = package(dossiers.gannet(), {})
    draft = package(dossiers.gannet(settings=(("sleep_current", "130 uA"),)), {})
    for path in clean:
        if path.endswith((".html", ".md")):
            assert b"WHAT IF" not in clean[path]
            shown = without_style(draft[path].decode())
            assert shown.count("WHAT IF") == 1, path
            assert shown.count("Decision support only") == 1, path


def test_the_store_leaves_no_trace(gannet: Dossier) -> None:
    scale = replace(gannet.scale, evaluated=0, from_store=3)
    warm = replace(
        gannet,
        scale=scale,
        evaluations=tuple(replace(e, from_store=True) for e in gannet.evaluations),
    )
    assert package(warm, {}) == package(gannet, {})


def test_report_of_an_analysis(gannet: Dossier) -> None:
    text = package(gannet, {})["analyses/power.pad_hold_energy.md"].decode()
    for part in (
        "\n\nUsable battery energy that is left after the wait on the pad.\n",
        "## 2 Cautions\n\nCaution: cells vent and burn.",
        "q(t) = (q0 + I/k) exp(-k t) - I/k",
        "- the hold counts from the end of the last charge.",
        "- tests/analyses/test_pad_hold_energy.py",
    ):
        assert part in text
    tables = markdown_tables(text)
    inputs = next(t for t in tables if t[0][0] == "input")
    assert inputs[2] == [
        "sleep_current", "95 uA", "95 uA", "+/- 10 uA", "85 uA", "105 uA",
        "parameter, measured", "Bench log of 3 March",
    ]  # fmt: skip
    assert inputs[3][0] == "hold_duration (condition)"
    found = next(t for t in tables if t[0][:2] == ["quantity", "nominal"])
    assert found[2] == ["usable_energy", "63.21 W h", "55.12 W h", "70.9 W h"]
    verdicts = tables[0]
    assert verdicts[0][-4:] == ["judged value", "limit", "margin", "result"]
    assert verdicts[1][0] == "PWR-020 Energy left after the pad hold"
    assert verdicts[1][-4:-1] == ["55.12 W h", "at least 52 W h", "+3.12 W h"]
    assert verdicts[1][-1].startswith("met (worst case")
    order = [line.split(" ", 2)[2] for line in text.split("\n") if line.startswith("## ")]
    assert order[:4] == ["Verdict and margin", "Cautions", "Worst case", "Results"]
    assert "55.1234 W h against at least 52 W h: margin +3.12 W h" in text


def test_report_of_an_analysis_that_failed_and_of_absent_cases(gannet: Dossier) -> None:
    page = pages(package(gannet, {}))["analyses/radio.link_margin.html"]
    assert "No validation is named." in page.text
    assert "absent: never rises" in page.text
    # What an exception says is for who writes code, on a terminal.
    assert "link_margin failed: it ended with an error" in page.text
    assert "ValueError" not in page.text
    assert "return log10(-1.0)" not in page.text


def test_open_points(gannet: Dossier) -> None:
    text = package(gannet, {})["open-points.md"].decode()
    section = {re.sub(r"^[\d.]+ ", "", p.split("\n")[0]): p for p in text.split("\n## ")[1:]}
    late = markdown_tables(section["Late"])[0]
    state = late[0].index("state")
    found = {row[0]: row[state] for row in late[1:]}
    assert found["COM-040"] == "not met"
    assert found["COM-050"] == "could not be evaluated"
    accepted = markdown_tables(section["Accepted under waiver or deviation"])[0]
    assert {row[0] for row in accepted[1:]} == {"COM-041"}
    later = markdown_tables(section["For AR"])[0]
    assert [row[0] for row in later[1:]] == ["COM-060", "PWR-020"]
    problems = markdown_tables(section["Findings in the project's files"])[0]
    assert problems[1][0] == "requirements/radio.yaml:12:7"


def test_verification_control_document(gannet: Dossier) -> None:
    # The ten columns of ECSS-E-ST-10-02C Rev.1, Annex B; yes, no, partial are its words.
    text = package(gannet, {})["verification-control.md"].decode()
    (table,) = (t for t in markdown_tables(text) if t[0][0] == "requirement")
    assert table[0] == [
        "requirement", "text", "traceability", "method, level, stage, review", "plan", "evidence",
        "state", "status", "close-out", "reason",
    ]  # fmt: skip
    rows = table[1:]
    by_name = {row[0]: row for row in rows if row[0]}
    first = by_name["PWR-020"]
    assert first[3:7] == [
        "analysis, subsystem, qualification, CDR",
        "VP 4.2",
        "pad_hold_energy",
        "met",
    ]
    assert first[7:9] == ["yes", "open"]
    second = rows[rows.index(first) + 1]
    assert second[3:7] == ["test, subsystem, acceptance, AR", "", "TR-PWR-004", "open"]
    assert (second[0], second[7]) == ("", "")
    assert by_name["COM-040"][7] == "partial"
    assert by_name["COM-041"][5:9] == [
        "link_margin", "not met, under waiver RFW-003", "no", "closed",
    ]  # fmt: skip
    assert by_name["PWR-021"][7] == "not applicable"
    legend = next(t for t in markdown_tables(text) if t[0][0] == "status")
    assert [row[:2] for row in legend[1:4]] == [["yes", "C"], ["partial", "PC"], ["no", "NC"]]


def test_fewer_cases_than_are_asked_are_still_a_row() -> None:
    """Of a verification that asks for three stations and is only planned, nothing is left out."""
    planned = dossiers.evidence(state=State.OPEN, quantity="link_margin", cases_wanted=3)
    files = package(dossiers.dossier(dossiers.requirement("RAD-010", planned)), {})
    assert "RAD-010" in files["compliance-matrix.md"].decode()
