"""All formats list the same requirements with the same codes, and nothing of a text acts."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from closeout.model.answer import Assurance
from closeout.model.dossier import Compliance, Dossier, State
from closeout.render.jsonform import dossier_json
from closeout.render.matrix import FORMS, matrix
from closeout.render.order import by_urgency
from closeout.render.package import package
from closeout.render.plain import flow, pad, safe
from closeout.render.terminal import verify_text
from tests.render import dossiers
from tests.render.reading import (
    Node,
    csv_rows,
    html_tree,
    markdown_tables,
    one_line,
    plain_cell,
)

texts = st.text(max_size=12)
# Surrogates are no text that a file in UTF-8 can hold.
characters = st.characters(exclude_categories=["Cs"])
names = st.text(characters, min_size=1, max_size=8).filter(lambda text: flow(text).strip() != "")
numbers = st.none() | st.floats(allow_nan=False)
maybe = st.none() | st.text(characters, max_size=8)


@st.composite
def some_evidence(draw: st.DrawFn) -> Any:
    return dossiers.evidence(
        number=draw(st.integers(0, 3)),
        method=draw(st.sampled_from(["test", "analysis", "review of design", "inspection"])),
        due=draw(st.booleans()),
        state=draw(st.sampled_from(State)),
        assurance=draw(st.none() | st.sampled_from(Assurance)),
        **{key: draw(numbers) for key in ("value", "low", "high", "at_least", "at_most", "margin")},
        **{
            key: draw(maybe)
            for key in ("analysis", "quantity", "case", "unit", "basis", "message", "record",
                        "covered_by", "level", "stage", "review", "plan")
        },
    )  # fmt: skip


@st.composite
def some_dossier(draw: st.DrawFn) -> Dossier:
    made = []
    for name in draw(st.lists(names, max_size=4, unique_by=lambda text: one_line(safe(text)))):
        lines = draw(st.lists(some_evidence(), max_size=3))
        made.append(
            dossiers.requirement(
                name, *lines, title=draw(st.text(characters, max_size=12)),
                statement=draw(st.text(characters, max_size=12)),
                compliance=draw(st.sampled_from(Compliance)), closed=draw(st.booleans()),
                covered=draw(st.booleans()), due=draw(st.booleans()),
            )
        )  # fmt: skip
    return dossiers.dossier(*made)


def listed_json(dossier: Dossier) -> list[tuple[str, str, bool]]:
    return [
        (one_line(safe(r["id"])), r["compliance"], r["closed"])
        for r in json.loads(dossier_json(dossier))["requirements"]
    ]


def listed_csv(dossier: Dossier) -> list[tuple[str, str, bool]]:
    rows = csv_rows(matrix(dossier, "csv"))
    found = [
        (one_line(plain_cell(r["requirement"])), r["compliance"], r["close-out"] == "closed")
        for r in rows
    ]
    return list(dict.fromkeys(found))


def listed_markdown(dossier: Dossier) -> list[tuple[str, str, bool]]:
    table = next(t for t in markdown_tables(matrix(dossier, "md")) if len(t[0]) == 14)
    assert all(len(row) == 14 for row in table)
    found = [
        (one_line(row[0]), row[4].split(",")[0], row[5].split(",")[0] == "closed")
        for row in table[1:]
    ]
    return list(dict.fromkeys(found))


def listed_html(dossier: Dossier) -> list[tuple[str, str, bool]]:
    found = []
    for group in html_tree(matrix(dossier, "html")).all("tbody", "group"):
        code = group.all("td", "code")[0].parts[0]
        assert isinstance(code, str)
        status = next(c for c in group.all("td") if c.attributes["data-label"] == "Close-out")
        closed = status.all("span")[0].text == "closed"
        found.append((one_line(group.all("a", "id")[0].text), code, closed))
    return found


def listed_terminal(dossier: Dossier) -> list[tuple[str, str, bool]]:
    """Check each line against its requirement, from the first line below the head.

    Lines stand in their own order; they are returned in that of the dossier.
    """
    lines = verify_text(dossier, colour=False, width=120).split("\n")
    if not dossier.requirements:
        assert "There is no requirement." in lines
        return []
    head = next(n for n, line in enumerate(lines) if line.startswith("ID "))
    width = lines[head].index("CODE") - 2
    found = {}
    for result, line in zip(by_urgency(dossier.requirements), lines[head + 1 :], strict=False):
        name = pad(safe(result.id), width)
        assert line.startswith(name + "  ")
        rest = line[len(name) + 2 :].replace(" covered", "", 1).split()
        found[id(result)] = one_line(safe(result.id)), rest[0], rest[1].rstrip(",") == "closed"
    return [found[id(result)] for result in dossier.requirements]


@given(some_dossier())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_all_formats_list_the_same(dossier: Dossier) -> None:
    expected = [(one_line(safe(r.id)), r.compliance.value, r.closed) for r in dossier.requirements]
    assert listed_json(dossier) == expected
    assert listed_csv(dossier) == expected
    assert listed_html(dossier) == expected
    assert listed_terminal(dossier) == expected
    if expected:
        assert listed_markdown(dossier) == expected


def test_the_package_lists_the_same(any_dossier: Dossier) -> None:
    files = {path: data.decode() for path, data in package(any_dossier, {}).items()}
    expected = [one_line(safe(r.id)) for r in any_dossier.requirements]
    tables = markdown_tables(files["verification-control.md"])
    rows = [row for t in tables if t[0][0] == "requirement" for row in t[1:]]
    assert [row[0] for row in rows if row[0]] == expected
    page = html_tree(files["verification-control.html"])
    heads = [th.text for row in _last_table(page).all("tr")[1:] for th in row.all("th")]
    assert (heads if expected else []) == expected


def _last_table(page: Node) -> Node:
    """Return the last table before that of the signatures."""
    return [t for t in page.all("table") if t.attributes.get("class") != "approval"][-1]


def test_same_dossier_same_bytes(any_dossier: Dossier) -> None:
    assert package(any_dossier, {"a": "1"}) == package(any_dossier, {"a": "1"})
    for form in FORMS:
        assert matrix(any_dossier, form) == matrix(any_dossier, form)


def test_json_follows_its_schema(any_dossier: Dossier) -> None:
    schema = json.loads(files("closeout.render").joinpath("verify.schema.json").read_text("utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    validator.check_schema(schema)
    text = dossier_json(any_dossier)
    assert text.endswith("}\n")
    assert text.isascii()
    validator.validate(json.loads(text))
    broken = json.loads(text)
    broken["totals"].pop("C")
    assert not validator.is_valid(broken)


def test_json_holds_the_agreed_keys_and_unrounded_numbers(gannet: Dossier) -> None:
    found = json.loads(dossier_json(gannet))
    assert found["format"] == 1
    state = {"kind": "commit", "commit": gannet.snapshot.commit, "dirty": False}
    assert found["snapshot"] == {**state, "date": "2026-11-30"}
    assert found["totals"] == {"C": 3, "PC": 1, "NC": 1, "NA": 1, "open": 2, "closed": 3}
    assert found["exit_status"] == 2
    power = next(r for r in found["requirements"] if r["id"] == "PWR-020")
    first = power["verification"][0]
    agreed = {
        "method": "analysis", "analysis": "pad_hold_energy", "quantity": "usable_energy",
        "case": None, "unit": "W h", "value": 63.214, "low": 55.1234, "high": 70.9,
        "at_least": 52.0, "at_most": None, "margin": 3.1234, "basis": "worst case",
        "assurance": "bounded", "state": "met", "message": None,
    }  # fmt: skip
    assert {key: first[key] for key in agreed} == agreed
    radio = next(r for r in found["requirements"] if r["id"] == "COM-040")
    assert radio["verification"][1]["counterexample"]["antenna_gain"] == "3.8 dBi exactly"
    assert found["problems"][0]["rule"] == "unit-mismatch"


def test_json_has_no_number_that_json_lacks() -> None:
    odd = dossiers.evidence(value=float("inf"), low=float("-inf"), high=float("nan"))
    text = dossier_json(dossiers.dossier(dossiers.requirement("X-1", odd)))

    def refuse(token: str) -> None:
        raise AssertionError(token)

    found = json.loads(text, parse_constant=refuse)
    assert found["requirements"][0]["verification"][0]["low"] is None


@pytest.mark.parametrize("colour", [False, True])
def test_nothing_of_a_text_acts_on_a_terminal(nasty: Dossier, colour: bool) -> None:
    text = verify_text(nasty, colour=colour)
    for code in ("\x1b[31m", "\x1b[33m", "\x1b[1m", "\x1b[2m", "\x1b[0m"):
        text = text.replace(code, "" if colour else code)
    assert safe(text.replace("\n", " ")) == text.replace("\n", " ")


def test_nothing_of_a_text_is_markup(nasty: Dossier) -> None:
    for path, data in package(nasty, {}).items():
        text = data.decode("utf-8")
        assert "\x1b" not in text, path
        assert "\u202e" not in text, path
        if path.endswith(".html"):
            page = html_tree(text)
            assert not page.all("script"), path
            assert not page.all("img"), path
            assert not page.all("u"), path
            links = {a.attributes["href"] for a in page.all("a")}
            assert not any("script" in (link or "") for link in links), path
            assert "alert(1)" in page.text, path
        elif path.endswith(".md"):
            markdown_tables(text)


def test_a_spreadsheet_finds_no_formula_but_numbers(nasty: Dossier) -> None:
    text = matrix(nasty, "csv")
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    rows = csv_rows(text)
    figures = {"judged value", "at least", "at most", "margin"}
    for row in rows:
        for name, content in row.items():
            if name in figures and content:
                float(content)
            else:
                assert content[:1] not in ("=", "+", "-", "@"), (name, content)
    assert float(rows[0]["margin"]) == -1e300
    assert rows[0]["requirement"] == "'=cmd()"


def test_unknown_form_of_the_matrix_is_refused(gannet: Dossier) -> None:
    with pytest.raises(ValueError, match="one of md, html, csv, json"):
        matrix(gannet, "pdf")
