"""Pages of the rules over records, over policies of nothing, and over a history that is cut off."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_E1002 = "ECSS-E-ST-10-02C Rev.1"
_standard = partial(Rule, kind="standard", severity=Severity.WARNING)

_ON_BENCH = """\
articles:
  - {id: LAN, title: Lantern on the bench, model: engineering, build: EM-2}
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    verification:
      - {method: test, stage: qualification, review: CDR, quantity: lamp_time, at_least: 10 h,
         records: [TR-001]}
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    article: {LAN: EM-2}
    judged: {PWR-010: A}
    measured: {lamp_time: 12.5 h +/- 0.1 h (k = 2)}
"""
_SET_ASIDE = """\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    not_applicable: {reason: The lamp is never used for so long.}
    verification: [{method: test, quantity: lamp_time, at_least: 10 h, records: [TR-001]}]
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    judged: {PWR-010: A}
    measured: {lamp_time: 12.5 h +/- 0.1 h (k = 2)}
"""


_ALIKE = """\
    same_design: battery and regulator are to the flight drawings
    differs: [a commercial lamp]
"""


def _range(more: str) -> str:
    return f"""\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    verification:
      - {{method: analysis, stage: qualification, review: CDR, analysis: lamp_time,
         quantity: lamp_time, at_least: 10 h, given: {{cell_temperature: [0 degC, 20 degC]}}}}
      - method: test
        stage: qualification
        review: QR
        quantity: lamp_time
        at_least: 10 h
        {more}
parameters:
  cell_capacity: {{value: 3.4 A h, tolerance: 3 %, source: data sheet}}
  cell_temperature: {{value: 20 degC, condition: true, source: Invented}}
# file: analyses/lamp.py
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, degC, hour


class Lamp(NamedTuple):
    lamp_time: hour


@analysis()
def lamp_time(cell_capacity: A_h, cell_temperature: degC) -> Lamp:
    '''How long the lamp burns; a cold cell gives less.'''
    return Lamp(cell_capacity / 0.24 * (1.0 - 0.004 * (20 - cell_temperature)))
"""


def _policy(pattern: str, amount: str) -> str:
    return f"""\
project:
  name: Lantern
  reviews: [PDR, CDR]
  policy:
    contingency:
      - {{parameters: [{pattern}], by_maturity: {{estimated: {amount}}}}}
parameters:
  lamp_mass: {{value: 120 g, tolerance: 5 g, source: data sheet, maturity: estimated}}
"""


_OUTCOME = """\
requirements:
  - id: PWR-010
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, stage: acceptance, review: AR, records: [IN-001]}]
records:
  - {id: IN-001, method: inspection, date: 2026-03-02, outcome: not met}
nonconformances:
  - {id: NCR-001, found_by: IN-001, requirements: [PWR-010]}
"""
_CLONED = """\
$ git init --quiet; git add --all; git commit --quiet --no-verify --message first
$ echo "# more" >> requirements/power.yaml; git commit --quiet --no-verify --all --message second
"""

RULES = (
    _standard(
        name="analogue-without-differs",
        title="a record of a development or engineering model does not say what is alike and what"
        " differs",
        clause=f"{_E1002}, 5.2.4: stages and models; common practice for what to say",
        why="A result on such a model is one of the flight design only as far as they are alike."
        " Without both it is no evidence of a qualification.",
        breaks=_ON_BENCH.replace("    judged", "    differs: [a commercial lamp]\n    judged"),
        keeps=_ON_BENCH.replace("    judged", f"{_ALIKE}    judged"),
    ),
    _standard(
        name="no-flight-article",
        title="a record at acceptance or later is not of a flight or protoflight model",
        clause=f"{_E1002}, 5.2.4: acceptance speaks of the article that is delivered",
        why="That another article is sound says nothing of the one that flies; the verification"
        " stays open. It is told of planned records too, while the plan can still be changed.",
        breaks=_ON_BENCH.replace("stage: qualification", "stage: acceptance"),
        keeps=_ON_BENCH.replace("stage: qualification", "stage: acceptance").replace(
            "model: engineering", "model: flight"
        ),
    ),
    Rule(
        name="tested-at",
        kind="trace",
        severity=Severity.ERROR,
        title="tested_at names a condition that is given no range, or a point outside of it",
        clause="common practice, no source",
        why="It says at which point of a range a test is enough, and why; of anything else it says"
        " nothing, and the range would be taken for tested.",
        breaks=_range("tested_at: {cell_temperature: -5 degC, reason: The cold end is worse.}"),
        keeps=_range("tested_at: {cell_temperature: 0 degC, reason: The cold end is worse.}"),
    ),
    _standard(
        name="bad-end-not-tested",
        title="an analysis finds its bad end where no test was made",
        clause="common practice, no source",
        why="A test at the point that does no harm closes nothing of what the analysis fears. Where"
        " a range is tested at both ends, the bad end may lie between them.",
        breaks=_range("tested_at: {cell_temperature: 20 degC, reason: So is the laboratory.}"),
        keeps=_range("tested_at: {cell_temperature: 0 degC, reason: The cold end is worse.}"),
    ),
    _standard(
        name="article-without-build",
        title="a record names the build of an article whose present build nobody knows",
        clause=f"{_E1002}, 5.4.3: what was rebuilt or repaired is verified again",
        why="Without the present build in the register no rework opens anything again.",
        breaks=_ON_BENCH.replace(", build: EM-2}", "}"),
        keeps=_ON_BENCH,
    ),
    _standard(
        name="failed-and-set-aside",
        title="a requirement is said not to apply, and a record found it not met",
        clause="common practice, no source",
        why="A failure does not go away when the requirement does; somebody has to say why it does"
        " not matter.",
        breaks=_SET_ASIDE.replace("12.5 h", "8 h"),
        keeps=_SET_ASIDE,
    ),
    _standard(
        name="failure-out-of-sight",
        title="a record found something not met, and nothing that is verified speaks of it",
        clause="common practice, no source",
        why="A failure must not go with the verification that is dropped, the quantity that gets"
        " another name, the requirement that is deleted. It is closed by a nonconformance, with"
        " what was done about it. Limits of earlier issues are looked for in git.",
        breaks=_OUTCOME.replace("records: [IN-001]", "plan: later"),
        keeps=_OUTCOME,
    ),
    _standard(
        name="history-cut-off",
        title="the clone holds only the end of the project's history",
        clause="common practice, no source",
        why="A failed record that was deleted, or a limit that was moved after its test, is found"
        " in the history or not at all.",
        breaks=_CLONED + '$ git clone --quiet --bare --depth 1 "file://$PWD" .git-cut; rm -rf .git;'
        " mv .git-cut .git; git config core.bare false\n",
        keeps=_CLONED,
    ),
    _standard(
        name="unknown-interpreter",
        title="Python has instructions of which nobody knows whether a range may meet them",
        clause="common practice, no source",
        why="What is proved on ranges holds of numbers only where the code does the same with both;"
        " that is judged from its instructions.",
        breaks="$ python3.15 -m closeout lint\n",
        keeps="$ python3.14 -m closeout lint\n",
    ),
    Rule(
        name="policy-of-nothing",
        kind="trace",
        severity=Severity.WARNING,
        title="a contingency or a margin of the project's policy holds for nothing",
        clause="common practice, no source",
        why="A name with a typing error adds no contingency and asks for no margin, and nobody"
        " notices.",
        breaks=_policy("lamb_mass", "20 %"),
        keeps=_policy("lamp_*", "20 %"),
    ),
    Rule(
        name="contingency-below-zero",
        kind="trace",
        severity=Severity.ERROR,
        title="a contingency is below zero",
        clause="common practice, no source",
        why="It would turn a margin of safety into a gift; what falls has direction: down.",
        breaks=_policy("lamp_*", "-20 %"),
        keeps=_policy("lamp_*", "20 %"),
    ),
)
