"""Where each rule begins and ends, beyond the two examples of its page."""

from __future__ import annotations

import platform
from textwrap import dedent

import pytest

from closeout.model.problem import Finding
from closeout.rules import Context, check_rules
from tests.graph.projects import UNITS, build, spec

CHARTER = "project: {name: Lantern, reviews: [SRR, PDR, CDR, QR, AR, FRR, CRR]}\n"
HEAD = """\
requirements:
  - id: R-1
    title: Light
    statement: The lantern shall give light.
"""


def findings(text: str, context: Context | None = None, charter: str = CHARTER) -> list[Finding]:
    built = build(dedent(text), charter=charter)
    assert built.loaded.problems == ()
    return check_rules(built.index, UNITS, context or Context())


def rules(text: str, context: Context | None = None, charter: str = CHARTER) -> list[str]:
    return sorted(finding.rule for finding in findings(text, context, charter))


def verified(*verifications: str, more: str = "") -> str:
    rows = "".join(f"      - {{{row}}}\n" for row in verifications)
    return f"{HEAD}{more}    verification:\n{rows}"


ANALYSIS = "method: analysis, stage: qualification, review: CDR"
DESIGN = "method: review of design, stage: qualification, review: CDR"
TEST = "method: test, stage: acceptance, review: AR"


@pytest.mark.parametrize(
    ("verifications", "found"),
    [
        ((ANALYSIS,), True),
        ((DESIGN,), True),
        ((ANALYSIS, DESIGN), True),
        ((ANALYSIS, TEST), False),
        ((DESIGN, "method: inspection, review: AR"), False),
        ((f"{ANALYSIS}, risk: RA 1", DESIGN), False),
        ((TEST,), False),
    ],
)
def test_a_risk_assessment_is_asked_for_where_nothing_is_put_to_the_proof(verifications, found):
    # ECSS-E-ST-10-02C Rev.1, 5.2.2.1d
    assert ("no-risk-assessment" in rules(verified(*verifications))) is found


@pytest.mark.parametrize("method", ["analysis", "review of design", "test", "inspection"])
@pytest.mark.parametrize(
    ("stage", "counts"),
    [
        # ECSS-E-ST-10-02C Rev.1, 5.2.2.3f and 5.2.2.4c: qualification and in-orbit only.
        ("qualification", True),
        ("in-orbit", True),
        ("acceptance", False),
        ("pre-launch", False),
        ("post-landing", False),
    ],
)
def test_on_paper_alone_two_stages_count(method, stage, counts):
    found = "stage-not-served" in rules(verified(f"method: {method}, stage: {stage}"))
    assert found is (not counts and method in ("analysis", "review of design"))


@pytest.mark.parametrize(
    ("review", "asked"), [("CDR", False), ("QR", False), ("AR", True), ("FRR", True), (None, True)]
)
def test_a_verification_report_is_asked_for_when_the_last_method_is_due(review, asked):
    text = verified(ANALYSIS, TEST)
    assert ("no-verification-report" in rules(text, Context(review))) is asked
    named = verified(ANALYSIS, TEST, more="    report: GAN-VR-001\n")
    assert "no-verification-report" not in rules(named, Context(review))


def test_one_method_twice_needs_no_report():
    assert "no-verification-report" not in rules(verified(TEST, TEST))


@pytest.mark.parametrize("category", ["critical", "catastrophic"])
def test_safety_by_analysis_alone(category):
    more = f"    safety: {category}\n"
    name = "safety-by-analysis-alone"
    assert name in rules(verified(f"{ANALYSIS}, risk: RA 1", more=more))
    assert name not in rules(verified(ANALYSIS))
    for other in (TEST, DESIGN, "method: inspection"):
        assert name not in rules(verified(ANALYSIS, other, more=more))


def test_after_launch_only_is_said_of_the_whole_chain_below():
    text = verified("method: test, stage: in-orbit", "method: test, stage: post-landing")
    assert "in-orbit-only" in rules(text)
    below = """\
  - id: R-2
    title: Lamp
    statement: The lamp shall burn.
    rationale: It is the light.
    derived_from: [R-1]
    verification: [{method: test, stage: acceptance}]
"""
    assert "in-orbit-only" not in rules(text + below)
    assert "in-orbit-only" in rules(text + below.replace("acceptance", "in-orbit"))
    # A stage that is not planned yet is no plan to do without.
    assert "in-orbit-only" not in rules(verified("method: test"))


@pytest.mark.parametrize(
    ("reviews", "stage", "review", "found"),
    [
        # ECSS-M-ST-10C, 4.4.3: FRR and LRR stand before the launch, CRR after it.
        ("AR, FRR, CRR", "acceptance", "FRR", False),
        ("AR, FRR, CRR", "acceptance", "CRR", True),
        ("AR, FRR, CRR", "in-orbit", "FRR", True),
        ("AR, FRR, CRR", "in-orbit", "CRR", False),
        ("AR, FRR, LRR", "pre-launch", "LRR", False),
        ("AR, FRR, LRR", "in-orbit", "LRR", True),
        ("AR, FRR, First light", "acceptance", "First light", True),
        ("Kick-off, Half way, End", "in-orbit", "Half way", False),
        ("PDR, CDR", "in-orbit", "CDR", False),
    ],
)
def test_a_stage_is_due_on_its_own_side_of_the_launch(reviews, stage, review, found):
    charter = f"project: {{name: Lantern, reviews: [{reviews}]}}\n"
    text = verified(f"method: test, stage: {stage}, review: {review}")
    assert ("stage-and-review" in rules(text, charter=charter)) is found


@pytest.mark.parametrize(
    ("above", "below", "found"),
    [
        (("CDR",), ("CDR",), False),
        (("CDR",), ("QR",), True),
        (("CDR", "AR"), ("QR",), False),
        (("CDR",), ("PDR", "AR"), True),
        ((), ("AR",), False),
        (("AR",), (), False),
    ],
)
def test_what_is_below_is_closed_first(above, below, found):
    def rows(reviews):
        return ", ".join(f"{{method: test, review: {name}}}" for name in reviews)

    text = (
        HEAD
        + f"    verification: [{rows(above)}]\n" * bool(above)
        + "  - id: R-2\n    title: Lamp\n    statement: The lamp shall burn.\n"
        "    rationale: It is the light.\n    derived_from: [R-1]\n"
        + f"    verification: [{rows(below)}]\n"
        * bool(below)
    )
    assert ("due-after-parent" in rules(text)) is found


def test_a_requirement_that_does_not_apply_is_left_alone():
    more = "    safety: critical\n    not_applicable: {reason: None here.}\n"
    assert rules(verified("method: analysis, stage: acceptance", more=more)) == []


@pytest.mark.parametrize(
    ("parameter", "found"),
    [
        ("{value: 12 V, source: s}", ["parameter-without-tolerance"]),
        ("{value: 12 V, tolerance: 0 V, source: s}", []),
        ("{value: 12 V, range: [11 V, 13 V], source: s}", []),
        ("{value: 12 V, sigma: 0.1 V, source: s}", []),
        ("{value: 12 V, condition: true, source: s}", []),
        ("{value: 4 count, source: s}", []),
        ("{value: 4.5 count, source: s}", ["parameter-without-tolerance"]),
        ("{value: 12 V, tolerance: 1 V}", ["parameter-without-source"]),
        ("{value: 12 V}", ["parameter-without-source", "parameter-without-tolerance"]),
    ],
)
def test_parameters_say_where_they_come_from_and_how_far_they_may_be_off(parameter, found):
    assert rules(f"parameters:\n  p: {parameter}\n") == found


def _validated(*named: str, there: tuple[str, ...] = ()) -> list[Finding]:
    one = spec("f", fields={"x": "W"})._replace(validated_by=named)
    built = build("", one, charter=CHARTER)
    context = Context(tests=frozenset(there))
    return [f for f in check_rules(built.index, UNITS, context) if "validated" in f.rule]


def test_an_analysis_names_a_test_that_is_there():
    assert len(_validated()) == 1
    assert _validated("tests/test_f.py", there=("tests/test_f.py",)) == []
    assert _validated("tests/test_f.py::one", there=("tests/test_f.py::one",)) == []
    assert len(_validated("tests/test_f.py::one", there=("tests/test_f.py",))) == 1
    (finding,) = _validated("tests/test_f.py", "tests/no.py", there=("tests/test_f.py",))
    assert "tests/no.py" in finding.message
    assert (finding.where.path, finding.where.steps) == ("analyses/model.py", (7,))


TERMS = [
    ("at least TBD W h", "TBD"),
    ("at least 52 W h (TBC)", "TBC"),
    ("at a rate (to be confirmed) of", "(to be confirmed)"),
    ("TBR: at least", "TBR"),
    ("TBS.", "TBS"),
    ("the TBDS format", None),
    ("the code `TBD` in the table", None),
    ('the word "TBC" on the label', None),
    ("what is to be confirmed by the ground", None),
    ("XTBD-3", None),
]


@pytest.mark.parametrize(("text", "term"), TERMS)
def test_terms_that_are_open(text, term):
    statement = f"    statement: >-\n      The lantern shall give light, {text}\n"
    item = f"requirements:\n  - id: R-1\n    title: Light\n{statement}"
    found = [f for f in findings(item) if f.rule == "open-term"]
    assert [f.message.split(" still has ")[1].split(",")[0] for f in found] == (
        [] if term is None else [term]
    )
    for finding in found:
        assert finding.where.steps[-1] == "statement"


def test_every_text_is_looked_through():
    text = """\
    requirements:
      - id: R-1
        title: TBD
        statement: It shall be TBD.
        rationale: TBC
        report: TBD
        source: {document: LSA, clause: TBC}
        verification: [{method: test, plan: TBD, risk: TBC}]
      - id: R-2
        title: T
        statement: It shall be.
        source: TBD
        verification: [{method: test}]
    documents: [{id: LSA, title: Agreement}]
    parameters:
      p: {value: 1 V, tolerance: 0 V, source: TBC}
    """
    found = [f.where.steps[-1] for f in findings(text) if f.rule == "open-term"]
    assert sorted(map(str, found)) == sorted(
        ["title", "statement", "rationale", "report", "clause", "plan", "risk", "source", "source"]
    )


@pytest.mark.parametrize(
    ("until", "review", "found"),
    [
        ("PDR", "SRR", False),
        ("PDR", "PDR", False),
        ("PDR", "CDR", True),
        ("PDR", None, True),
        (None, "SRR", True),
    ],
)
def test_open_terms_may_stand_until_the_review_of_the_policy(until, review, found):
    policy = "" if until is None else f", policy: {{open_terms_until: {until}}}"
    charter = f"project: {{name: Lantern, reviews: [SRR, PDR, CDR]{policy}}}\n"
    text = verified("method: test, plan: TBD")
    assert ("open-term" in rules(text, Context(review), charter)) is found


def test_an_interpreter_whose_instructions_nobody_knows_is_named_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from closeout.arithmetic.code import instructions

    row = f"{ANALYSIS}, analysis: light, quantity: light, at_least: 1 lm"
    assert "unknown-interpreter" not in rules(verified(row, row))
    monkeypatch.setattr("closeout.rules.check.TRIED", ())
    assert "unknown-interpreter" not in rules(verified(row, row))
    monkeypatch.setitem(instructions.opcode.opmap, "LOAD_WHAT_NOBODY_KNOWS", 255)
    (found,) = [one for one in findings(verified(row, row)) if one.rule == "unknown-interpreter"]
    assert platform.python_version() in found.message
    assert "LOAD_WHAT_NOBODY_KNOWS" in found.message
    assert "unknown-interpreter" not in rules(verified(TEST))
