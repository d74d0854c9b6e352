"""Pages of the rules of verification control: reports, waivers, agreements, margins, budgets."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_E1002 = "ECSS-E-ST-10-02C Rev.1"
_standard = partial(Rule, kind="standard", severity=Severity.WARNING)
_trace = partial(Rule, kind="trace", severity=Severity.ERROR)

_CHARTER = """\
project:
  name: Lantern
  reviews: [PDR, CDR]
  next_review: CDR
  authorities: {default: board}
"""
_MEASURED = """\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    verification:
      - {method: test, stage: qualification, review: CDR, quantity: lamp_time, at_least: 10 h,
         records: [TR-001]}
"""
_RECORD = """\
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    judged: {PWR-010: A}
    measured: {lamp_time: 9.0 h +/- 0.1 h (k = 2)}
"""
_GOOD = _RECORD.replace("9.0 h", "12.5 h")
_REPORT = "nonconformances: [{id: NCR-1, found_by: TR-001, requirements: [PWR-010]}]\n"


def _waived(waiver: str, record: str = _RECORD) -> str:
    """Return a requirement that falls 1.1 h short of 10 h, and what is accepted of it."""
    said = "  - {id: RFW-1, kind: waiver, requirement: PWR-010, "
    return f"{_CHARTER}{_MEASURED}{record}{_REPORT}waivers:\n{said}{waiver}}}\n"


_ACCEPTED = "accepts: {quantity: lamp_time, at_least: 8.8 h}, approved_by: board, date: 2026-03-09"


def _reported(report: str, more: str = "") -> str:
    return (
        f"{_CHARTER}{_MEASURED}{_GOOD}nonconformances:\n"
        f"  - {{id: NCR-1, requirements: [PWR-010], {report}}}\n{more}"
    )


def _agreed(agreement: str, record: str = _GOOD) -> str:
    return (
        f"{_CHARTER}{_MEASURED}{record}agreements:\n"
        f"  - {{review: PDR, requirements: [PWR-010], {agreement}}}\n"
    )


def _budget(first: str, second: str) -> str:
    parts = "".join(
        f"""\
  - id: PWR-01{number}
    title: Mass of part {number}
    statement: The part shall have a mass of at most {mass}.
    rationale: The budget of PWR-010.
    derived_from: [PWR-010]
    verification: [{{method: test, stage: acceptance, quantity: mass, at_most: {mass}}}]
"""
        for number, mass in ((1, first), (2, second))
    )
    return f"""\
requirements:
  - id: PWR-010
    title: Mass
    statement: The lantern shall have a mass of at most 3 kg.
    allocates: {{quantity: mass, rule: sum}}
    verification: [{{method: test, stage: acceptance, quantity: mass, at_most: 3 kg}}]
{parts}"""


def _margins(required: str) -> str:
    policy = f"  margins: [{{quantity: lamp_time, required: {{CDR: {required}}}}}]\n"
    return f"{_CHARTER}{policy}{_MEASURED}{_GOOD}"


_DEPENDENT = """\
# file: analyses/lamp.py
from typing import NamedTuple
from closeout import analysis
from closeout.units import V

class Lamp(NamedTuple):
    drop: V

@analysis
def lamp(first: V, second: V) -> Lamp:
    \"\"\"Voltage of two cells in series.\"\"\"
    return Lamp(first + second)
# file: analyses/lamp.yaml
parameters:
  first: {value: 1.5 V, tolerance: 0.1 V, group: lot, source: data sheet}
  second: {value: 1.5 V, tolerance: 0.1 V, group: lot, source: data sheet}
# file: requirements/lamp.yaml
requirements:
  - id: PWR-010
    title: Voltage
    statement: The battery shall give at least 2.5 V.
    verification:
      - {method: analysis, stage: qualification, risk: RA 1, analysis: lamp, quantity: drop,
         at_least: 2.5 V, basis: root sum square}
"""
_CERTAIN = _DEPENDENT.replace("group: lot, ", "").replace(
    "root sum square", "{probability: 0.9999999, confidence: 0.95}"
)
_INSPECTED = """\
requirements:
  - id: PWR-010
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, stage: acceptance, review: AR, records: [IN-001]}]
records:
  - {id: IN-001, method: inspection, date: 2026-03-02, judged: {PWR-010: A}, outcome: not met}
"""
_DATA = """\
# file: analyses/data/soak.csv
day,voltage
0,4.1
# file: requirements/lamp.yaml
requirements:
  - id: PWR-010
    title: Soak
    statement: The battery shall stand a soak of at least 10 d.
    verification: [{method: test, stage: qualification, review: QR, records: [TR-001]}]
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    judged: {PWR-010: A}
    outcome: met
    data: analyses/data/soak.csv
"""

REPORTS = (
    _trace(
        name="nonconformance-missing",
        title="a record that is not met, or measured beyond a limit, without a nonconformance",
        clause=f"{_E1002}, Annex B: the control document refers to the report of each",
        why="A failure that nobody reports is forgotten at the next test; a waiver accepts it, and"
        " does not say what it was. The cure is a nonconformance to put into a file as it is.",
        breaks=_INSPECTED,
        keeps=_INSPECTED + "nonconformances:\n  - {id: NCR-1, found_by: IN-001,"
        " requirements: [PWR-010], disposition: return}\n",
    ),
    _standard(
        name="disposition-without-waiver",
        title="used as it is, or repaired, against a requirement that has no waiver",
        clause=f"{_E1002}, Annex B; common practice, no source for the dispositions",
        why="The article stays short of the requirement; its authority accepts that, or does not.",
        breaks=_reported("disposition: use as is, closed_by: TR-001"),
        keeps=_reported("disposition: rework, retest: [TR-001], closed_by: TR-001"),
    ),
    _standard(
        name="rework-without-retest",
        title="rework or repair that names nothing to be tested again",
        clause=f"{_E1002}, 5.4.3: verification is repeated after a repair",
        why="What was taken apart is another article; its tests speak of the one before.",
        breaks=_reported("disposition: rework"),
        keeps=_reported("disposition: rework, retest: [TR-001]"),
    ),
    _trace(
        name="record-data",
        title="the data file of a record is missing, or is not the one it speaks of",
        clause="common practice, no source",
        why="A record is evidence of the very numbers that were logged.",
        breaks=_DATA + f"    data_sha256: {'0' * 64}\n",
        keeps=_DATA,
    ),
    _standard(
        name="data-without-digest",
        title="a record does not say what its data file held",
        clause="common practice, no source",
        why="Without the digest a changed log is not noticed; the cure names the digest of today.",
        breaks=_DATA,
        keeps=_DATA.replace("    data: analyses/data/soak.csv\n", ""),
    ),
    _trace(
        name="dependent-parameters",
        title="root sum square over parameters that move together",
        clause="ECSS-Q-HB-30-01A: root sum square is for independent parameters",
        why="Squares add up only where one parameter knows nothing of the other.",
        breaks=_DEPENDENT,
        keeps=_DEPENDENT.replace("group: lot, ", ""),
    ),
    Rule(
        name="probability-out-of-reach",
        kind="trace",
        severity=Severity.WARNING,
        title="a probability is asked that samples can never show",
        clause="C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404: n of n samples show a"
        " probability of no more than the n-th root of what the confidence leaves",
        why="The verification could end as not met or open, never as met, after 2^20 samples.",
        breaks=_CERTAIN,
        keeps=_CERTAIN.replace("0.9999999", "0.999"),
    ),
)
_ARTICLES = "articles:\n  - {id: BAT, title: Battery, model: flight, build: FM-3}\n"
_ON_BENCH = _MEASURED + _GOOD.replace("    judged", "    article: {BAT: FM-3}\n    judged")
RECORDS = (
    _standard(
        name="record-without-issue",
        title="a record does not say which issue of a requirement it judged",
        clause=f"{_E1002}, 5.4.3: a changed requirement is verified again",
        why="It would speak of every later issue too.",
        breaks=_MEASURED + _GOOD.replace("    judged: {PWR-010: A}\n", ""),
        keeps=_MEASURED + _GOOD,
    ),
    _standard(
        name="record-without-article",
        title="a test does not say what stood on the bench",
        clause=f"{_E1002}, 5.4.3: what was rebuilt or repaired is verified again",
        why="It would speak of every later build too.",
        breaks=_ARTICLES + _MEASURED + _GOOD,
        keeps=_ARTICLES + _ON_BENCH,
    ),
)
WAIVERS = (
    _standard(
        name="waiver-not-approved",
        title="a waiver that nobody has approved yet, on a shortfall",
        clause="common practice, no source",
        why="It is a request so far, and covers nothing.",
        breaks=_waived("accepts: {quantity: lamp_time, at_least: 8.8 h}"),
        keeps=_waived(_ACCEPTED),
    ),
    _standard(
        name="waiver-expired",
        title="a waiver that ran out before the review, on a shortfall",
        clause="common practice, no source",
        why="It was given until then, because something was to be mended by then.",
        breaks=_waived(f"{_ACCEPTED}, expires: PDR"),
        keeps=_waived(f"{_ACCEPTED}, expires: CDR"),
    ),
    _standard(
        name="waiver-authority",
        title="a waiver by somebody who is not the authority of the requirement's source",
        clause="common practice, no source",
        why="Only who set a requirement can let somebody off it.",
        breaks=_waived(_ACCEPTED.replace("board", "we ourselves")),
        keeps=_waived(_ACCEPTED),
    ),
    _standard(
        name="waiver-short",
        title="a waiver that does not reach down to the judged value",
        clause="common practice, no source",
        why="The shortfall is larger than what was accepted; nobody has accepted the rest.",
        breaks=_waived(_ACCEPTED.replace("8.8 h", "9.5 h")),
        keeps=_waived(_ACCEPTED),
    ),
    _standard(
        name="waiver-too-wide",
        title="a waiver that accepts much more than is short, or cases that are met",
        clause="common practice, no source",
        why="The next shortfall hides under it.",
        breaks=_waived(_ACCEPTED.replace("8.8 h", "2 h")),
        keeps=_waived(_ACCEPTED),
    ),
    _standard(
        name="waiver-case",
        title="a waiver for a case that its quantity does not have",
        clause="common practice, no source",
        why="It covers nothing, and whoever approved it believes that it does.",
        breaks=_waived(_ACCEPTED.replace("8.8 h", "8.8 h, cases: [north]")),
        keeps=_waived(_ACCEPTED),
    ),
    _standard(
        name="waiver-not-needed",
        title="a waiver in force on a shortfall that is none any more",
        clause="common practice, no source",
        why="The next shortfall hides under it.",
        breaks=_waived(_ACCEPTED, _GOOD),
        keeps=_waived(_ACCEPTED),
    ),
)
AGREED = (
    _standard(
        name="agreed-but-open",
        title="agreed as closed by a board, and not closed",
        clause=f"{_E1002}, 5.4.3: such a requirement is open again",
        why="What the board saw is not what there is now.",
        breaks=_agreed("by: board, date: 2026-03-12", _RECORD),
        keeps=_agreed("by: board, date: 2026-03-12"),
    ),
    _standard(
        name="agreed-by-another",
        title="agreed as closed by somebody who is not the authority of its source",
        clause="common practice, no source",
        why="Only who set a requirement can agree that it is met.",
        breaks=_agreed("by: we ourselves, date: 2026-03-12"),
        keeps=_agreed("by: board, date: 2026-03-12"),
    ),
    _standard(
        name="margin-policy",
        title="a limit that is met by less than the review to come requires",
        clause="the project's own policy (project.margins); ECSS-M-ST-10C 4.4.3 for the reviews",
        why="Margins are there to be used up on the way, not before.",
        breaks=_margins("50 %"),
        keeps=_margins("10 %"),
    ),
    _standard(
        name="allocation",
        title="a budget that is exceeded, without a limit, or without a share for each derived one",
        clause="ECSS-E-ST-10-06C 8.2: traceable both ways; common practice for the sums",
        why="Each part keeps its share, and the whole does not keep its limit.",
        breaks=_budget("2 kg", "1500 g"),
        keeps=_budget("2 kg", "900 g"),
    ),
)

RULES = (*REPORTS, *RECORDS, *WAIVERS, *AGREED)
