"""Earlier files under the identifiers of today."""

from __future__ import annotations

from closeout.rules.history.facts import Facts, decoded, facts_of
from closeout.rules.history.renamed import Renaming, beside, quoted, renamed, with_earlier

FILE = b"""\
requirements:
  - id: PWR-012
    formerly: EPS-1
    title: Energy
    statement: It shall hold the energy of PWR-012.
    verification:
      - method: test
        quantity: energy
        equal_to: 52 W h
        records: [TR-001]
        given: {energy: 3 W h, hold: 1 d}
        within: {energy: 1 W h, hold: 1 h}
records:
  - id: TR-001
    method: test
    judged: {PWR-012: {issue: A, date: 2026-01-02}}
    article: {BAT: FM-1}
    conditions: {hold: 1 d}
    measured: {hold: 3 d +/- 1 d (k = 2), energy: 3 W h +/- 1 W h (k = 2)}
    replaces: TR-000
    differs: [none from TR-000]
nonconformances:
  - {id: NCR-1, requirements: [PWR-012], found_by: TR-001, closed_by: TR-000, retest: [TR-000],
     article: {BAT: FM-1}}
waivers:
  - {id: RFW-1, kind: waiver, requirement: PWR-012}
articles:
  - {id: BAT, title: Battery, model: flight, formerly: [BAT-0]}
parameters:
  hold: {value: 1 d, formerly: hold_time}
"""
NAMES = {
    "requirements": {"PWR-012": "PWR-020"},
    "records": {"TR-001": "TR-011", "TR-000": "TR-010"},
    "nonconformances": {"NCR-1": "NCR-2"},
    "waivers": {"RFW-1": "RFW-2"},
    "articles": {"BAT": "BATTERY"},
    "parameters": {"hold": "hold_duration", "energy": "stored"},
}


def test_every_reference_is_exchanged_and_no_quantity() -> None:
    facts = facts_of(FILE, None)
    texts = quoted(NAMES, ["of PWR-020"])
    found = renamed(facts, Renaming(NAMES, texts)).sections
    (requirement,), (record,) = found["requirements"], found["records"]
    assert (requirement["id"], requirement["statement"][-8:]) == ("PWR-020", "PWR-020.")
    (part,) = requirement["verification"]
    assert part["records"] == ["TR-011"]
    assert part["given"] == {"stored": "3 W h", "hold_duration": "1 d"}
    # That of the quantity itself is how nearly it is to be equal, and no parameter's.
    assert part["within"] == {"energy": "1 W h", "hold_duration": "1 h"}
    assert part["quantity"] == "energy"
    assert record["id"] == "TR-011"
    assert list(record["judged"]) == ["PWR-020"]
    assert record["article"] == {"BATTERY": "FM-1"}
    assert list(record["conditions"]) == ["hold_duration"]
    assert list(record["measured"]) == ["hold", "energy"]
    assert (record["replaces"], record["differs"]) == ("TR-010", ["none from TR-010"])
    lost = Facts({}, ["TR-001", "TR-9"], {}, {})
    assert renamed(lost, Renaming(NAMES, {})).left_out == ["TR-001", "TR-9", "TR-011"]
    (report,), (waiver,) = found["nonconformances"], found["waivers"]
    assert report == {
        "id": "NCR-2",
        "requirements": ["PWR-020"],
        "found_by": "TR-011",
        "closed_by": "TR-010",
        "retest": ["TR-010"],
        "article": {"BATTERY": "FM-1"},
    }
    assert (waiver["id"], waiver["requirement"]) == ("RFW-2", "PWR-020")


def test_what_an_item_was_called_is_kept_apart_from_what_it_says() -> None:
    facts = decoded(facts_of(FILE, None).encoded())
    assert facts.formerly == {
        "requirements": {"PWR-012": ["EPS-1"]},
        "articles": {"BAT": ["BAT-0"]},
        "parameters": {"hold": ["hold_time"]},
    }
    assert all("formerly" not in item for items in facts.sections.values() for item in items)
    assert {("parameters", "hold"), ("articles", "BAT")} <= set(facts.identifiers())


def test_only_what_is_surely_an_identifier_is_exchanged_in_texts() -> None:
    names = {"requirements": {"Power": "Energy", "PWR-1": "PWR-2", "PWR-3": "PWR-4"}}
    assert quoted(names, ["as PWR-3 says"]) == {"PWR-1": "PWR-2"}
    renaming = Renaming(names, quoted(names, []))
    assert (
        renaming.quote("Power of PWR-1, PWR-10 and X-PWR-1.")
        == "Power of PWR-2, PWR-10 and X-PWR-1."
    )


def test_earlier_renames_are_followed_from_the_old_identifier_alone() -> None:
    claims = {"records": {"C": "B", "D": "C", "X": "A", "E": "D", "B": "C"}}
    found = with_earlier({"records": {"B": "A"}}, claims, {"records": {"A", "E"}})
    assert found == {"records": {"B": "A", "C": "A", "D": "A"}}


def test_two_that_stood_in_one_commit_were_two() -> None:
    old, new = (
        facts_of(f"parameters: {{{name}: {{value: 1 W}}}}".encode(), None) for name in ("a", "b")
    )
    names = {"parameters": {"a": "b"}}
    assert beside([("1", [], [old]), ("2", [old], [new])], names) == []
    rows = beside([("1", [], [old]), ("2", [], [new]), ("3", [old], [])], names)
    assert rows == [("parameters", "a", "b", "2")]
    assert not Renaming(names, {}).without(rows)
