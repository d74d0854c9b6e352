"""Every rule over a whole project: what breaks it (rule, place, cure), and what keeps it."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import dedent

import pytest

from closeout.graph import Index, check
from closeout.model.dossier import State
from closeout.model.problem import Severity
from closeout.model.question import AnalysisSpec
from tests.graph.projects import UNITS, Built, build, only_entry, requirement, requirements, spec

HOLD = spec("hold", {"t": "h", "i": "mA"}, {"used": "A h", "left": "A h"})
SEEN = spec("seen", {"t": "h"}, {"gain": "dB"}, by_case=["gain"])

GOOD = """\
requirements:
  - id: SYS-1
    title: Light
    statement: The lantern shall give light.
    source: {document: DOC, clause: "1"}
  - id: R-1
    title: Charge
    statement: The lantern shall keep its charge.
    derived_from: [SYS-1]
    verification:
      - method: analysis
        review: CDR
        analysis: hold
        quantity: left
        at_least: 2 A h
        given: {t: [1 d, 30 h]}
      - method: test
        review: AR
        records: [TR-1]
        quantity: left
        at_least: 2 A h
  - id: R-2
    title: Seen
    statement: The lantern shall be seen.
    derived_from: [SYS-1]
    verification:
      - method: analysis
        analysis: seen
        quantity: gain
        at_least: 3 dB
        cases: at least 2
records:
  - id: TR-1
    method: test
    date: 2026-01-02
    article: {LAMP: B-1}
    conditions: {t: 24 h}
    judged: {R-1: A}
    measured: {left: 2.5 A h +/- 1 % (k = 2)}
    replaces: TR-0
  - id: TR-0
    method: test
waivers:
  - id: W-1
    kind: waiver
    requirement: R-1
    accepts: {quantity: left, at_least: 1800 mA h}
    expires: AR
nonconformances:
  - id: N-1
    article: {LAMP: B-1}
    requirements: [R-1]
    found_by: TR-1
    closed_by: TR-0
agreements:
  - review: PDR
    requirements: [R-2]
documents:
  - {id: DOC, title: Contract}
articles:
  - {id: LAMP, title: Lamp, model: flight, build: B-1}
parameters:
  t: {value: 24 h, condition: declared}
  i: {value: 100 mA, tolerance: {initial: 1 mA, ageing: 2 %}}
"""
CHARTER = """\
project:
  name: Lantern (invented)
  reviews: [PDR, CDR, AR]
  next_review: CDR
  authorities: {DOC: customer, default: board}
  margins:
    - {quantity: left, of: limit, required: {PDR: 20 %, AR: 0 %}}
"""


def read(old: str = "", new: str = "", *specs: AnalysisSpec) -> Built:
    """Return the good project with one text replaced, in its file or its charter."""
    assert not old or (GOOD + CHARTER).count(old) == 1, old
    return build(
        GOOD.replace(old, new), *(specs or (HOLD, SEEN)), charter=CHARTER.replace(old, new)
    )


def test_the_good_project_breaks_no_rule():
    assert read().problems == ()
    assert read().findings == ()


@dataclass(frozen=True)
class Break:
    """One change of the good project, and the one problem that it makes."""

    name: str
    old: str
    new: str
    rule: str
    at: str  # the text at whose line and column the problem stands
    message: str
    cure: str
    severity: Severity = Severity.ERROR

    def __str__(self) -> str:
        return self.name


BREAKS = [
    Break(
        "requirement twice",
        "records:\n",
        "  - {id: R-2, title: T, statement: It shall.}\nrecords:\n",
        "duplicate-identifier",
        "R-2, title: T",
        "R-2 is already in",
        "another identifier",
    ),
    Break(
        "record twice",
        "waivers:\n",
        "  - {id: TR-0, method: test}\nwaivers:\n",
        "duplicate-identifier",
        "TR-0, method",
        "TR-0 is already in",
        "another identifier",
    ),
    Break(
        "review twice",
        "[PDR, CDR, AR]",
        "[PDR, CDR, PDR, AR]",
        "duplicate-identifier",
        "PDR, AR]",
        "PDR is listed twice",
        "once",
    ),
    Break(
        "derived from nothing",
        "derived_from: [SYS-1]\n    verification:\n      - method: analysis\n        review",
        "derived_from: [SYS-1, SYS-9]\n    verification:\n      - method: analysis\n        review",
        "dangling-reference",
        "SYS-9",
        "no requirement SYS-9",
        "did you mean SYS-1?",
    ),
    Break(
        "document",
        "document: DOC",
        "document: DOK",
        "dangling-reference",
        "DOK",
        "no document DOK",
        "did you mean DOC?",
    ),
    Break(
        "record",
        "records: [TR-1]",
        "records: [XX]",
        "dangling-reference",
        "XX",
        "no record XX",
        "add the record",
    ),
    Break(
        "judged",
        "judged: {R-1: A}",
        "judged: {R-1: A, R-7: A}",
        "dangling-reference",
        "A}\n    measured",
        "no requirement R-7",
        "did you mean R-",
    ),
    Break(
        "replaces",
        "replaces: TR-0",
        "replaces: TR-9",
        "dangling-reference",
        "TR-9",
        "no record TR-9",
        "did you mean",
    ),
    Break(
        "article of a record",
        "article: {LAMP: B-1}\n    conditions",
        "article: {LAMPE: B-1}\n    conditions",
        "dangling-reference",
        "B-1}\n    conditions",
        "no article LAMPE",
        "did you mean LAMP?",
    ),
    Break(
        "article of a report",
        "article: {LAMP: B-1}\n    requirements",
        "article: {X: B-1}\n    requirements",
        "dangling-reference",
        "B-1}\n    requirements",
        "no article X",
        "add the article",
    ),
    Break(
        "condition of a record",
        "conditions: {t: 24 h}",
        "conditions: {tt: 24 h}",
        "dangling-reference",
        "24 h}\n    judged",
        "no parameter tt",
        "did you mean t?",
    ),
    Break(
        "given",
        "given: {t: [1 d, 30 h]}",
        "given: {u: 1 d}",
        "dangling-reference",
        "1 d}",
        "no parameter u",
        "add the parameter",
    ),
    Break(
        "waiver",
        "requirement: R-1",
        "requirement: R-8",
        "dangling-reference",
        "R-8",
        "no requirement R-8",
        "did you mean R-",
    ),
    Break(
        "report's requirement",
        "requirements: [R-1]",
        "requirements: [R-5]",
        "dangling-reference",
        "R-5",
        "no requirement R-5",
        "did you mean R-",
    ),
    Break(
        "found by",
        "found_by: TR-1",
        "found_by: TR-5",
        "dangling-reference",
        "TR-5",
        "no record TR-5",
        "did you mean TR-",
    ),
    Break(
        "closed by",
        "closed_by: TR-0",
        "closed_by: TR-5",
        "dangling-reference",
        "TR-5",
        "no record TR-5",
        "did you mean TR-",
    ),
    Break(
        "agreement",
        "requirements: [R-2]",
        "requirements: [R-5]",
        "dangling-reference",
        "R-5",
        "no requirement R-5",
        "did you mean R-",
    ),
    Break(
        "authority",
        "authorities: {DOC: customer",
        "authorities: {DOD: customer",
        "dangling-reference",
        "customer",
        "no document DOD",
        "did you mean DOC?",
    ),
    Break(
        "records replace each other",
        "  - id: TR-0\n    method: test",
        "  - id: TR-0\n    method: test\n    replaces: TR-1",
        "cycle",
        "TR-1\nwaivers",
        "TR-0 -> TR-1 -> TR-0",
        "the newer record",
    ),
    Break(
        "review of a verification",
        "review: AR",
        "review: XR",
        "unknown-review",
        "XR\n",
        "no review XR",
        "PDR, CDR, AR",
    ),
    Break(
        "next review",
        "next_review: CDR",
        "next_review: QR",
        "unknown-review",
        "QR",
        "no review QR",
        "PDR, CDR, AR",
    ),
    Break(
        "expires",
        "expires: AR",
        "expires: FRR",
        "unknown-review",
        "FRR",
        "no review FRR",
        "PDR, CDR, AR",
    ),
    Break(
        "review of an agreement",
        "review: PDR",
        "review: SRR",
        "unknown-review",
        "SRR",
        "no review SRR",
        "PDR, CDR, AR",
    ),
    Break(
        "review of a margin policy",
        "required: {PDR: 20 %, AR",
        "required: {PRR: 20 %, AR",
        "unknown-review",
        "20 %",
        "no review PRR",
        "PDR, CDR, AR",
    ),
    Break(
        "method of a record",
        "  - id: TR-1\n    method: test",
        "  - id: TR-1\n    method: inspection",
        "record-method",
        "TR-1]",
        "TR-1 is a record of inspection",
        "method of the verification",
    ),
    Break(
        "a test by an analysis",
        "      - method: analysis\n        analysis: seen",
        "      - method: test\n        analysis: seen",
        "record-method",
        "seen\n",
        "is closed by records",
        "method: analysis",
    ),
    Break(
        "no such analysis",
        "analysis: hold\n",
        "analysis: hald\n",
        "unknown-analysis",
        "hald",
        "no analysis hald",
        "did you mean hold?",
    ),
    Break(
        "no such quantity",
        "quantity: gain",
        "quantity: gaim",
        "unknown-quantity",
        "gaim",
        "no quantity gaim",
        "did you mean gain?",
    ),
    Break(
        "no such quantity to accept",
        "accepts: {quantity: left",
        "accepts: {quantity: right",
        "unknown-quantity",
        "right",
        "no verification of R-1 limits right",
        "left",
    ),
    Break(
        "cases of what has none",
        "given: {t: [1 d, 30 h]}",
        "cases: at least 2",
        "unknown-quantity",
        "at least 2\n      - method: test",
        "left of hold has no cases",
        "remove",
    ),
    Break(
        "given a design value",
        "given: {t: [1 d, 30 h]}",
        "given: {i: 1 mA}",
        "given-no-condition",
        "1 mA}",
        "conditions only",
        "condition: true",
    ),
    Break(
        "a condition left out",
        "condition: declared",
        "condition: true",
        "condition-not-given",
        "method: analysis\n        analysis: seen",
        "seen takes the condition t, which the criterion does not give: 24 h would be used",
        "condition: declared",
    ),
    Break("unit of a limit", "at_least: 3 dB", "at_least: 3 W", "unit", "3 W", "3 W", ""),
    Break("no unit", "at_least: 3 dB", "at_least: 3 dX", "unit", "3 dX", "dX", ""),
    Break(
        "limits of two units",
        "        at_least: 3 dB\n",
        "        at_most: 3 dB\n        at_least: 40 ppm\n",
        "unit",
        "40 ppm",
        "40 ppm",
        "",
    ),
    Break(
        "unit of the other limit",
        "cases: at least 2",
        "at_most: 20 cB\n        cases: at least 2",
        "unit",
        "20 cB",
        "cB",
        "",
    ),
    Break(
        "unit of a test's limit",
        "        quantity: left\n        at_least: 2 A h\n  - id: R-2",
        "        quantity: left\n        at_least: 2 V\n  - id: R-2",
        "unit",
        "2.5 A h",
        "2.5 A h",
        "",
    ),
    Break(
        "unit of a condition",
        "given: {t: [1 d, 30 h]}",
        "given: {t: [1 d, 30 W]}",
        "unit",
        "30 W",
        "30 W",
        "",
    ),
    Break(
        "pair the wrong way round",
        "given: {t: [1 d, 30 h]}",
        "given: {t: [2 d, 30 h]}",
        "bad-spread",
        "2 d",
        "2 d is above the high end 30 h",
        "lower end first",
    ),
    Break(
        "unit of a record's condition",
        "conditions: {t: 24 h}",
        "conditions: {t: 24 W}",
        "unit",
        "24 W",
        "24 W",
        "",
    ),
    Break("unit of an uncertainty", "+/- 1 % (k", "+/- 1 W (k", "unit", "2.5 A h +", "1 W", ""),
    Break("unit of a measured value", "left: 2.5 A h", "left: 2.5 V", "unit", "2.5 V", "2.5 V", ""),
    Break(
        "unit of what a waiver accepts",
        "at_least: 1800 mA h",
        "at_least: 1800 mA",
        "unit",
        "1800 mA",
        "1800 mA",
        "",
    ),
    Break(
        "unit of a parameter",
        "i: {value: 100 mA, tolerance: {initial: 1 mA, ageing: 2 %}}",
        "i: {value: 100 mV}",
        "unit",
        "100 mV",
        "i for hold",
        "",
    ),
    Break("unit of a tolerance", "ageing: 2 %", "ageing: 2 V", "unit", "2 V", "2 V", ""),
    Break(
        "unit of sigma",
        "tolerance: {initial: 1 mA, ageing: 2 %}",
        "sigma: 1 V",
        "unit",
        "1 V",
        "1 V",
        "",
    ),
    Break(
        "unit of a range",
        "tolerance: {initial: 1 mA, ageing: 2 %}",
        "range: [90 mA, 1 V]",
        "unit",
        "1 V",
        "1 V",
        "",
    ),
    Break(
        "range the wrong way round",
        "tolerance: {initial: 1 mA, ageing: 2 %}",
        "range: [1 A, 110 mA]",
        "bad-spread",
        "1 A",
        "above the high end",
        "lower end first",
    ),
    Break(
        "value outside its range",
        "tolerance: {initial: 1 mA, ageing: 2 %}",
        "range: [0.11 A, 120 mA]",
        "bad-spread",
        "range: [0.11 A",
        "100 mA is outside its range",
        "contains the value",
    ),
    Break(
        "parameter without use",
        "parameters:\n",
        "parameters:\n  spare: {value: 1 W}\n",
        "unused-parameter",
        "spare: {value: 1 W",
        "nothing uses the parameter spare",
        "remove it",
        Severity.WARNING,
    ),
]


@pytest.mark.parametrize("broken", BREAKS, ids=str)
def test_a_broken_rule_is_told_once_with_place_and_cure(broken: Break):
    built = read(broken.old, broken.new)
    problems = [p for p in built.problems if p.rule not in ("unused-analysis",)]
    assert [p.rule for p in problems] == [broken.rule], problems
    (problem,) = problems
    assert broken.message in problem.message
    assert broken.cure in problem.cure
    assert problem.cure
    assert problem.severity is broken.severity
    text = built.files.contents[problem.path].decode()
    shown = "\n".join(text.splitlines()[problem.line - 1 :])[problem.column - 1 :]
    assert shown.startswith((broken.at, "{" + broken.at)), shown[:40]


@pytest.mark.parametrize(
    ("low", "high"),
    [("2 kW", "1999 W"), ("2 kW", "1 kW"), ("0.3 W", "0.29999999999999999999 W")],
)
@pytest.mark.parametrize("by", ["method: test", "method: analysis, analysis: f"])
def test_a_limit_pair_that_excludes_each_other(low: str, high: str, by: str):
    text = requirements(
        requirement("R-1", f"{by}, quantity: x, at_least: {low}, at_most: {high}"),
        requirement("R-2", f"{by}, quantity: x, at_least: {high}, at_most: {low}"),
    )
    built = build(text, spec("f"))
    (problem,) = built.problems
    assert (problem.rule, problem.line) == ("bad-limits", 6)
    assert problem.message == f"at_least {low} is above at_most {high}: no value is between them"


def test_nothing_is_decided_by_a_limit_pair_that_excludes_each_other():
    text = requirements(
        requirement("R-1", "method: test, quantity: x, at_least: 3 W, at_most: 2 W,"
                           " records: [TR-1]")
    )  # fmt: skip
    built = build(
        text + "records: [{id: TR-1, method: test, date: 2026-03-01, measured:"
        " {x: {value: 2.5 W, exact: invented}}}]\n"
    )
    assert "bad-limits" in built.rules
    dossier = built.judge({})
    assert dossier.exit_status == 2
    entry = only_entry(dossier)
    assert entry.state is State.ERROR
    assert "no value is between them" in (entry.message or "")


def test_unverified_requirement_and_what_keeps_it():
    built = build(requirements(requirement("R-1")))
    (problem,) = built.problems
    assert (problem.rule, problem.line, problem.column) == ("unverified-requirement", 2, 5)
    assert "plan a verification" in problem.cure
    assert build(requirements(requirement("R-1", "method: test"))).rules == []
    assert (
        build(
            requirements(requirement("R-1", more="not_applicable: {reason: None on board.}"))
        ).rules
        == []
    )


def test_nothing_applicable_and_what_keeps_it():
    child = "derived_from: [S-1]\nnot_applicable: {reason: None on board.}"
    text = requirements(requirement("S-1"), requirement("R-1", more=child))
    (problem,) = build(text).problems
    assert (problem.rule, problem.line) == ("nothing-applicable", 2)
    assert problem.severity is Severity.WARNING
    other = requirement("R-2", "method: test", more="derived_from: [S-1]")
    assert build(text + other).rules == []


def test_unused_analysis_points_at_the_code_and_unknown_parameter_too():
    text = requirements(
        requirement("R-1", "method: analysis, analysis: f, quantity: x, at_least: 1 W")
    )
    built = build(
        text, spec("f", {"p": "W"}), spec("g"), more={"analyses/p.yaml": "parameters: {}"}
    )
    found = {f.rule: f for f in built.findings}
    assert set(found) == {"unused-analysis", "unknown-parameter"}
    for finding in found.values():
        assert (finding.where.path, finding.where.steps) == ("analyses/model.py", (7,))
    assert "g" in found["unused-analysis"].message
    assert "add p: {value: ... W}" in found["unknown-parameter"].cure


def test_unknown_parameter_suggests_and_is_told_once_for_many_requirements():
    verification = "method: analysis, analysis: f, quantity: x, at_least: 1 W"
    items = [requirement(f"R-{n}", verification) for n in range(30)]
    built = build(
        requirements(*items) + "parameters: {power: {value: 1 W, condition: true}}\n",
        spec("f", {"powr": "W"}),
    )
    assert built.rules == ["unknown-parameter", "unused-parameter"]
    by_rule = {f.rule: f for f in built.findings}
    assert by_rule["unknown-parameter"].cure == "did you mean power?"
    assert by_rule["unused-parameter"].cure == "did you mean powr?"


def test_given_unused_and_what_keeps_it():
    text = (
        requirements(
            requirement(
                "R-1", "method: analysis, analysis: f, quantity: x, at_least: 1 W, given: {c: 1 K}"
            )
        )
        + "parameters: {c: {value: 1 K, condition: true}}\n"
    )
    built = build(text, spec("f"))
    (problem,) = built.problems
    assert (problem.rule, problem.line) == ("given-unused", 6)
    assert build(text, spec("f", {"c": "K"})).rules == []


def test_ambiguous_analysis_and_both_ways_to_name_it():
    one, other = spec("f"), spec("f", module="analyses.other")
    text = requirements(
        requirement("R-1", "method: analysis, analysis: NAME, quantity: x, at_least: 1 W")
    )
    (problem,) = (f for f in build(text.replace("NAME", "f"), one, other).problems)
    assert problem.rule == "ambiguous-analysis"
    assert problem.cure == "write one of model.f, other.f"
    assert build(text.replace("NAME", "model.f"), one, other).rules == ["unused-analysis"]
    assert build(text.replace("NAME", "f"), one).rules == []
    assert build(text.replace("NAME", "model.f"), one).rules == []


def test_an_analysis_without_a_quantity_can_judge_nothing():
    text = requirements(requirement("R-1", "method: analysis, analysis: f"))
    (problem,) = build(text, spec("f")).problems
    assert problem.rule == "unknown-quantity"
    assert "the analysis returns x" in problem.cure


def cycle(*edges: tuple[str, str]) -> str:
    """Return requirements of which the second of a pair is derived from the first."""
    names = dict.fromkeys(name for edge in edges for name in edge)
    return requirements(
        *(
            requirement(
                name,
                "method: test",
                more=f"derived_from: [{', '.join(a for a, b in edges if b == name)}]",
            )
            for name in names
        )
    )


def test_cycles_are_told_each_as_a_path():
    built = build(cycle(("C", "B"), ("B", "A"), ("A", "C"), ("E", "D"), ("D", "E"), ("A", "F")))
    assert built.rules == ["cycle", "cycle"]
    told = [problem.message.partition(": ")[2] for problem in built.problems]
    # A path goes from above to below: C is derived from A, B from C, A from B.
    assert sorted(told) == ["A <- C <- B <- A", "D <- E <- D"]
    lines = built.files.contents["requirements/a.yaml"].decode().splitlines()
    for problem in built.problems:
        assert "derived_from" in lines[problem.line - 1]
        assert lines[problem.line - 1][problem.column - 1] in "BE"


def test_a_requirement_that_is_derived_from_itself():
    built = build(cycle(("A", "A")))
    assert [problem.message.partition(": ")[2] for problem in built.problems] == ["A <- A"]


def test_circles_that_share_a_requirement_are_each_told():
    built = build(cycle(("A", "B"), ("B", "A"), ("A", "C"), ("C", "A")))
    told = [problem.message.partition(": ")[2] for problem in built.problems]
    assert sorted(told) == ["A <- B <- A", "A <- C <- A"]


def test_a_tree_and_a_diamond_are_no_cycle():
    assert build(cycle(("T", "A"), ("T", "B"), ("A", "X"), ("B", "X"))).rules == []


def test_thousands_of_circles_are_told_in_time():
    edges = [(f"A-{n}", f"B-{n}") for n in range(1500)]
    built = build(cycle(*edges, *((b, a) for a, b in edges)))
    assert built.rules == ["cycle"] * 1500


def test_a_long_circle_is_shortened():
    names = [f"N-{n:03d}" for n in range(200)]
    (problem,) = build(cycle(*zip(names, [*names[1:], names[0]], strict=True))).problems
    assert len(problem.message) < 300
    assert "N-000 <- N-001" in problem.message
    assert "more)" in problem.message


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("requirement", "  - id: R-1\n", "  - id: R-1\n    colour: red\n"),
        ("record", "  - id: TR-1\n", "  - id: TR-1\n    colour: red\n"),
        ("document", "title: Contract}", "titel: Contract}"),
        ("article", "title: Lamp,", "titel: Lamp,"),
        ("parameter", "value: 24 h, condition", "valu: 24 h, condition"),
        ("parameter of an input", "value: 100 mA", "valu: 100 mA"),
        ("parent", "  - id: SYS-1\n", "  - id: SYS-1\n    colour: red\n"),
    ],
)
def test_what_the_loader_left_out_causes_no_further_problem(name: str, old: str, new: str):
    built = read(old, new)
    assert built.loaded.left_out
    assert built.findings == ()
    assert len(built.loaded.problems) >= 1


def test_a_parent_whose_only_child_was_left_out_is_not_called_unverified():
    child = requirement("R-1", "method: test", more="derived_from: [S-1]")
    built = build(requirements(requirement("S-1"), child.replace("method", "mehod")))
    assert built.loaded.left_out == ("R-1",)
    assert built.findings == ()


def test_an_unreadable_file_causes_no_dangling_references():
    good = build(requirements(requirement("R-1", "method: test", more="derived_from: [S-1]")))
    assert good.rules == ["dangling-reference"]
    assert good.loaded.project is not None
    index = Index.of(good.loaded.project, (), whole=False)
    assert check(index, UNITS) == []


def test_a_left_out_analysis_and_parameter_are_an_error_of_the_verification_not_a_problem():
    dossier = read("value: 24 h, condition", "valu: 24 h, condition").judge(
        {"seen": lambda _: pytest.fail("nothing can be asked")}
    )
    errors = {r.id: r.evidence[0].message for r in dossier.requirements if r.id != "SYS-1"}
    assert errors == {
        "R-1": "the parameter t cannot be used",
        "R-2": "the parameter t cannot be used",
    }
    assert dossier.exit_status == 2


def test_every_problem_is_told_at_once():
    text = dedent(
        """\
        requirements:
          - id: R-1
            title: One
            statement: It shall be one.
            derived_from: [R-9]
            verification:
              - {method: analysis, review: XR, analysis: f, quantity: x, at_least: 1 V}
              - {method: test, records: [TR-9], quantity: x, at_least: 1 VV}
          - id: R-2
            title: Two
            statement: It shall be two.
        parameters:
          p: {value: 1 W, tolerance: 1 V}
        """
    )
    assert build(text, spec("f", {"q": "W"})).rules == [
        "dangling-reference", "dangling-reference", "unit", "unit", "unit", "unknown-parameter",
        "unknown-review", "unused-parameter", "unverified-requirement",
    ]  # fmt: skip


def test_many_typing_errors_take_no_minutes():
    known = [requirement(f"R-{n:05d}", "method: test") for n in range(2000)]
    wrong = [
        requirement(f"X-{n:05d}", "method: test", more=f"derived_from: [Q-{n:05d}]")
        for n in range(1000)
    ]
    built = build(requirements(*known, *wrong))
    assert built.rules == ["dangling-reference"] * 1000
    assert 0 < sum("did you mean" in finding.cure for finding in built.findings) <= 50


def test_a_number_beyond_the_doubles_is_a_problem_and_no_traceback():
    text = (
        requirements(
            requirement("R-1", "method: analysis, analysis: f, quantity: x, at_least: 1e300 MW"),
            requirement("R-2", "method: test, quantity: x, at_least: 1e300 MW, at_most: 1e300 kW"),
        )
        + "parameters: {p: {value: 9e299 MW}}\n"
    )
    built = build(text, spec("f", {"p": "fW"}, {"x": "fW"}))
    assert set(built.rules) == {"unit", "bad-limits"}
    assert built.judge({}).exit_status == 2


def test_a_limit_is_not_blamed_for_the_unit_of_the_other():
    text = requirements(
        requirement("R-1", "method: test, quantity: x, at_least: 1 Wx, at_most: 2 W"),
    )
    (problem,) = build(text).problems
    assert "'1 Wx'" in problem.message


WARM = "method: analysis, analysis: warm, quantity: {0}, {1}"


def _kelvin(text: str, *specs: AnalysisSpec) -> list[tuple[Severity, str, str]]:
    return [
        (finding.severity, finding.message, finding.cure)
        for finding in build(text, *specs).findings
        if finding.rule == "kelvin-meets-celsius"
    ]


@pytest.mark.parametrize(
    ("limit", "unit", "read_as"),
    [
        ("at_most: 10 degC", "K", "10 degC is read as a temperature: 283.15 K"),
        ("at_most: 100 K", "degC", "100 K is read as a temperature: -173.15 degC"),
        ("at_least: -400 degF", "K", "-400 degF is read as a temperature: 33.15 K"),
    ],
)
def test_a_limit_in_kelvin_against_celsius_is_told_as_it_is_read(
    limit: str, unit: str, read_as: str
) -> None:
    warm = spec("warm", {}, {"case": unit})
    ((severity, message, _),) = _kelvin(
        requirements(requirement("R-1", WARM.format("case", limit))), warm
    )
    assert severity is Severity.WARNING
    assert message.startswith(read_as)


def test_a_record_and_a_condition_in_kelvin_against_celsius_are_told() -> None:
    text = requirements(
        requirement("R-1", "method: test, records: [T], quantity: case, at_most: 10 degC")
    ) + (
        "records:\n  - {id: T, method: test, measured: {case: 100 K}, conditions: {room: 293 K}}\n"
        "parameters:\n  room: {value: 20 degC, condition: true}\n"
    )
    told = [message for _, message, _ in _kelvin(text)]
    assert any(
        message.startswith("100 K is read as a temperature: -173.15 degC") for message in told
    )
    assert any(message.startswith("293 K is read as a temperature: 19.85 degC") for message in told)


def test_a_parameter_in_kelvin_for_an_argument_in_celsius_is_told() -> None:
    text = requirements(requirement("R-1", WARM.format("case", "at_most: 10 degC")))
    told = _kelvin(
        text + "parameters: {room: {value: 100 K}}\n",
        spec("warm", {"room": "degC"}, {"case": "degC"}),
    )
    assert [message for _, message, _ in told] == ["100 K is read as a temperature: -173.15 degC"]


@pytest.mark.parametrize(
    ("quantity", "said"),
    [
        ("case", "difference: true, "),
        ("case_spread", ""),
        ("gradient", ""),
        ("dT", ""),
        ("thermal_margin", ""),
    ],
)
def test_a_difference_is_refused_against_a_point_on_a_scale(quantity: str, said: str) -> None:
    limit = f"{said}at_most: 10 degC"
    warm = spec("warm", {}, {quantity: "K"})
    text = requirements(requirement("R-1", WARM.format(quantity, limit)))
    ((severity, message, cure),) = _kelvin(text, warm)
    (request,) = build(text, warm).plan.requests.values()
    assert request.fault == message  # and nothing is judged
    assert severity is Severity.ERROR
    assert "difference" in message
    assert "K" in cure


def test_said_once_a_quantity_is_a_difference_everywhere() -> None:
    text = (
        requirements(
            requirement("R-1", WARM.format("case", "difference: true, at_most: 5 K")),
            requirement("R-2", "method: test, records: [T], quantity: case, at_most: 10 degC"),
        )
        + "records:\n  - {id: T, method: test, measured: {case: 3 K}}\n"
    )
    told = _kelvin(text, spec("warm", {}, {"case": "K"}))
    assert [severity for severity, _, _ in told] == [Severity.ERROR]


def test_one_unit_has_nothing_to_tell() -> None:
    for limit, unit in (
        ("at_most: 10 K", "K"),
        ("at_most: 10 degC", "degC"),
        ("at_most: 9 K", "mK"),
    ):
        text = requirements(requirement("R-1", WARM.format("case", limit)))
        assert _kelvin(text, spec("warm", {}, {"case": unit})) == []
