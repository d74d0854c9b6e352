"""Pages of the rules of the standards over one state of a project, and of what a run finds."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_E1002 = "ECSS-E-ST-10-02C Rev.1"
_standard = partial(Rule, kind="standard", severity=Severity.WARNING)


def _requirement(verification: str, more: str = "") -> str:
    """Return a requirement with one line of verifications, and further keys above it."""
    return f"""\
requirements:
  - id: PWR-020
    title: Energy after the hold
    statement: The recorder shall hold at least 52 W h of usable energy.
    {more}verification: [{verification}]
"""


_TEST = "{method: test, stage: acceptance, review: AR}"
_ANALYSIS = "{method: analysis, stage: qualification, review: CDR}"
_DERIVED = """\
requirements:
  - id: SYS-010
    title: Light
    statement: The lantern shall give light for at least 10 h.
    verification: [{method: test, stage: acceptance, review: QR}]
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    derived_from: [SYS-010]
    rationale: The lamp is the only consumer.
    verification: [{method: test, stage: acceptance, review: QR}]
"""
_LAMP = """\
# file: tests/test_lamp.py
def test_an_hour(): ...
# file: analyses/lamp.py
from typing import NamedTuple
from closeout import analysis
from closeout.units import A_h, hour, mA

class Lamp(NamedTuple):
    lamp_time: hour

@analysis(validated_by="tests/test_lamp.py")
def lamp(capacity: A_h, current: mA) -> Lamp:
    \"\"\"Time for which a full battery feeds the lamp.\"\"\"
    return Lamp(capacity / current * 1000.0)
# file: analyses/lamp.yaml
parameters:
  capacity: {value: 3.4 A h, tolerance: 3 %, source: data sheet}
  current: {value: 240 mA, tolerance: 15 mA, source: bench log}
# file: requirements/lamp.yaml
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    safety: critical
    verification:
      - {method: analysis, analysis: lamp, quantity: lamp_time, at_least: 10 h}
      - {method: test, records: [TR-001], quantity: lamp_time, at_least: 10 h}
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    judged: {PWR-010: A}
    measured: {lamp_time: 12.5 h +/- 0.1 h (k = 2)}
"""

PLANS = (
    _standard(
        name="no-risk-assessment",
        title="verified by analysis or review of design alone, without a risk assessment",
        clause=f"{_E1002}, 5.2.2.1d",
        why="Nobody puts the product itself to the proof; what that may cost is assessed first.",
        breaks=_requirement(_ANALYSIS),
        keeps=_requirement(_ANALYSIS.replace("}", ", risk: RA 2}")),
    ),
    _standard(
        name="stage-not-served",
        title="analysis or review of design at a stage at which it does not count",
        clause=f"{_E1002}, 5.2.2.3f and 5.2.2.4c",
        why="Acceptance and pre-launch show that this very article is built as it was designed; no"
        " paper shows that.",
        breaks=_requirement("{method: review of design, stage: acceptance, risk: RA 2}"),
        keeps=_requirement("{method: review of design, stage: qualification, risk: RA 2}"),
    ),
    _standard(
        name="analysis-not-validated",
        title="an analysis names no test that validates it, or one that is not there",
        clause=f"{_E1002}, 5.2.6.5: software that verifies by analysis is validated before use",
        why="A verdict is as good as the model that it rests on.",
        breaks=_LAMP.replace('(validated_by="tests/test_lamp.py")', ""),
        keeps=_LAMP,
    ),
    _standard(
        name="no-verification-report",
        title="several methods serve a requirement, all of them due, and no report joins them",
        clause=f"{_E1002}, 5.3.2.5",
        why="Each piece of evidence speaks for itself; that they make one proof is for a report to"
        " say. It is asked for at the review at which the last of them is due, once for all"
        " requirements of an owner; reports: of the project names one for all of them.",
        breaks="project: {name: Lantern, reviews: [CDR, AR], next_review: AR}\n"
        + _requirement(f"{_ANALYSIS}, {_TEST}"),
        keeps="project: {name: Lantern, reviews: [CDR, AR], next_review: AR}\n"
        + _requirement(f"{_ANALYSIS}, {_TEST}", "report: GAN-VR-020 issue 1\n    "),
    ),
    _standard(
        name="safety-by-analysis-alone",
        title="a safety requirement would be closed by analysis alone",
        clause="common practice, no source",
        why="Where people can be hurt, a model that left something out is not noticed before they"
        " are. The authority for safety decides; this rule only points there.",
        breaks=_requirement(_ANALYSIS.replace("}", ", risk: RA 2}"), "safety: critical\n    "),
        keeps=_requirement(f"{_ANALYSIS}, {_TEST}", "safety: critical\n    "),
    ),
    _standard(
        name="in-orbit-only",
        title="a requirement is verified after launch alone",
        clause=f"{_E1002}, 4.2.4 and 5.2.4.1",
        why="What is found wrong in orbit cannot be put right. Qualification, acceptance and"
        " pre-launch are complete without it.",
        breaks=_requirement("{method: test, stage: in-orbit}"),
        keeps=_requirement(
            "{method: test, stage: acceptance, review: AR}, {method: test, stage: in-orbit}"
        ),
    ),
    _standard(
        name="stage-and-review",
        title="a stage before launch is due after it, or one in orbit before it",
        clause=f"{_E1002}, 4.2.4, with the reviews of ECSS-M-ST-10C, 4.4.3",
        why="The first three stages are complete before launch. Where launch stands among the"
        " project's reviews is told by their names: behind FRR and LRR, before CRR, ELR and MCR.",
        breaks="project: {name: Lantern, reviews: [AR, FRR, CRR]}\n"
        + _requirement("{method: test, stage: acceptance, review: CRR}"),
        keeps="project: {name: Lantern, reviews: [AR, FRR, CRR]}\n"
        + _requirement("{method: test, stage: acceptance, review: AR}"),
    ),
    _standard(
        name="due-after-parent",
        title="a derived requirement is due later than the one it is derived from",
        clause=f"{_E1002}, 5.2.3: close-out from the lower level up",
        why="The upper one would be closed while something that it rests on is still open.",
        breaks=_DERIVED.replace("review: QR}]\n  - id: PWR", "review: CDR}]\n  - id: PWR"),
        keeps=_DERIVED,
    ),
    _standard(
        name="derived-without-rationale",
        title="a derived requirement does not say why",
        clause="ECSS-E-ST-10-06C, 8.2: requirements are justified; ISO/IEC/IEEE 29148:2011, 5.2.8",
        why="The next who changes the upper one has to know what this one took from it.",
        breaks=_DERIVED.replace("    rationale: The lamp is the only consumer.\n", ""),
        keeps=_DERIVED,
    ),
)

INPUTS = (
    _standard(
        name="parameter-without-source",
        title="a parameter does not say where its value comes from",
        clause="common practice, no source",
        why="A verdict can be traced to its inputs, and there the trace would end.",
        breaks="parameters:\n  voltage: {value: 12 V, tolerance: 1 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V, tolerance: 1 V, source: data sheet 3}\n",
    ),
    _standard(
        name="parameter-without-tolerance",
        title="a parameter does not say how far it may be off",
        clause="ECSS-E-ST-10-06C, 8.2: a tolerance for each parameter",
        why="A worst case over a value without a tolerance is no worst case. Conditions are set by"
        " what the requirement names, whole numbers of pieces (count) are exact. A tolerance of 0"
        " says that a value is exact, or that its error is part of another parameter's.",
        breaks="parameters:\n  threshold: {value: 55 kPa, source: memory map}\n",
        keeps="parameters:\n  threshold: {value: 55 kPa, tolerance: 0 kPa, source: memory map}\n",
    ),
    _standard(
        name="open-term",
        title="TBD or TBC stands at a review that allows none any more",
        clause="ISO/IEC/IEEE 29148:2011, 5.2.6: no TBD, TBS or TBR in a complete set",
        why="What is not decided cannot be verified. The policy's open_terms_until names the last"
        " review at which such terms may stand; where it is not set, none may. A limit may be one"
        " of them, as at_most: TBD: its criterion is listed and open at every review until that is"
        " decided, and not met where another limit of it is broken.",
        breaks="""\
project: {name: Lantern, reviews: [PDR, CDR], next_review: CDR, policy: {open_terms_until: PDR}}
requirements:
  - id: PWR-020
    title: Energy after the hold
    statement: The recorder shall hold at least TBD W h of usable energy.
    verification: [{method: test}]
""",
        keeps="""\
project: {name: Lantern, reviews: [PDR, CDR], next_review: PDR, policy: {open_terms_until: PDR}}
requirements:
  - id: PWR-020
    title: Energy after the hold
    statement: The recorder shall hold at least TBD W h of usable energy.
    verification: [{method: test}]
""",
    ),
)

# What a run finds, beside the verdicts.
FOUND = (
    _standard(
        name="test-against-analysis",
        title="a test found not met what an analysis says is met",
        clause=f"{_E1002}, 5.2.6.5: the software of an analysis is validated; a failed test says"
        " that it is not",
        why="The test decides the verdict; the model is to be corrected all the same, because other"
        " verdicts rest on it.",
        breaks=_LAMP.replace("12.5 h", "9.5 h"),
        keeps=_LAMP,
    ),
    Rule(
        name="validation-failed",
        title="a test that validates an analysis was run and failed",
        kind="trace",
        severity=Severity.ERROR,
        clause=f"{_E1002}, 5.2.6.5: software that verifies by analysis is validated before use",
        why="What a wrong analysis says is no evidence: nothing that rests on it is met before its"
        " test passes. Tests are run by closeout verify --validate, and how one ended is kept until"
        " any file of the project or any installed distribution changes.",
        breaks=_LAMP.replace("an_hour(): ...", "an_hour(): assert 3400 / 240 < 14"),
        keeps=_LAMP,
    ),
    _standard(
        name="safety-not-proved",
        title="a due criterion of a safety requirement rests on less than a proof",
        clause="common practice, no source",
        why="A search over corners and samples can miss the one case that hurts somebody.",
        breaks=_LAMP.replace("lamp_time, at_least: 10 h}\n      - {method: test",
                             "lamp_time, at_least: 10 h, basis: nominal}\n      - {method: test"),
        keeps=_LAMP,
    ),
)  # fmt: skip

RULES = (*PLANS, *INPUTS, *FOUND)
