"""Pages of the rules over records, over policies of nothing, and over a history that is cut off."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_E1002 = "ECSS-E-ST-10-02C Rev.1"
_standard = partial(Rule, kind="standard", severity=Severity.WARNING)

_PROJECT = """\
project:
  name: Lantern
  reviews: [PDR, CDR, AR]
  next_review: CDR
  review_dates: {CDR: 2026-06-18}
"""
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


_CLONED = """\
$ git init --quiet; git add --all; git commit --quiet --no-verify --message first
$ echo "# more" >> requirements/power.yaml; git commit --quiet --no-verify --all --message second
"""

RULES = (
    _standard(
        name="analogue-without-differs",
        title="a record of an article that is not the flight one does not say what differs",
        clause=f"{_E1002}, 5.2.4: stages and models; common practice for what to say",
        why="A result on another article is one of the flight article only as far as they are"
        " alike. Development and engineering models are asked at each stage; any but a flight or"
        " protoflight model at acceptance and pre-launch.",
        breaks=_ON_BENCH,
        keeps=_ON_BENCH.replace("    judged", "    differs: [a commercial lamp]\n    judged"),
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
        name="dated-after-review",
        title="a record, a waiver or an agreement is dated after the review that is judged",
        clause="common practice, no source",
        why="Nobody could see it at the review; the date is wrong, or the test is planned.",
        breaks=_PROJECT + _SET_ASIDE.replace("2026-03-02", "2026-07-01"),
        keeps=_PROJECT + _SET_ASIDE,
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
        breaks="$ python3.14 -m closeout lint\n",
        keeps="$ python3.13 -m closeout lint\n",
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
