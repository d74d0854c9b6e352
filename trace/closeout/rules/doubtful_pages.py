"""Pages of the rules over what is written in good form and can hardly be meant."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_E1002 = "ECSS-E-ST-10-02C Rev.1"
_standard = partial(Rule, kind="standard", severity=Severity.WARNING)

_LAMP = """\
# file: analyses/lamp.py
from typing import NamedTuple
from closeout import analysis
from closeout.units import A_h, degC, hour, mA

class Lamp(NamedTuple):
    lamp_time: hour

@analysis
def lamp(capacity: A_h, current: mA, cell_temperature: degC) -> Lamp:
    \"\"\"Time for which a full battery feeds the lamp.\"\"\"
    return Lamp(capacity / current * (1000.0 - 2.0 * (20.0 - cell_temperature)))
# file: analyses/lamp.yaml
parameters:
  capacity: {value: 3.4 A h, tolerance: 3 %, source: data sheet}
  current: {value: 240 mA, tolerance: 15 mA, source: bench log}
  cell_temperature: {value: 20 degC, range: [0 degC, 40 degC], condition: true, source: data sheet}
# file: requirements/lamp.yaml
requirements:
  - id: PWR-010
    title: Lamp time
    statement: At a cell temperature of 5 degC the battery shall feed the lamp for at least 10 h.
    verification:
      - {method: analysis, stage: qualification, risk: RA 1, analysis: lamp, quantity: lamp_time,
         at_least: 10 h, given: {cell_temperature: 5 degC}}
"""
_EXACT = _LAMP.replace("tolerance: 3 %", "tolerance: 0 %").replace("15 mA", "0 mA")
_REVIEWS = """\
project:
  name: Lantern
  reviews: [PDR, CDR]
  review_dates: {PDR: 2026-06-18, CDR: 2026-12-10}
"""
_FOUND = """\
requirements:
  - id: PWR-010
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, stage: acceptance, review: AR, records: [IN-001]}]
records:
  - {id: IN-001, method: inspection, date: 2026-03-02, judged: {PWR-010: A}, outcome: not met}
nonconformances:
  - {id: NCR-1, found_by: IN-001, requirements: [PWR-010]}
"""
_RISKS = """\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    owner: power
    verification: [{method: analysis, stage: qualification, review: CDR, risk: RA 1}]
  - id: STR-010
    title: Drop
    statement: The lantern shall stand a drop of at least 1 m.
    owner: structure
    verification: [{method: analysis, stage: qualification, review: CDR, risk: RA 2}]
"""

RULES = (
    _standard(
        name="given-outside-range",
        title="a criterion is to hold at a condition outside of its declared range",
        clause="common practice, no source",
        why="The range is what the parameter can be, or what the model was made for; a verdict"
        " outside of it is one of nothing, or the range is too small. A criterion over a range that"
        " holds all of the declared one asks for more than that, and may.",
        breaks=_LAMP.replace("given: {cell_temperature: 5", "given: {cell_temperature: 45"),
        keeps=_LAMP,
    ),
    _standard(
        name="worst-case-of-nothing",
        title="the worst case of an analysis of which no input has a spread",
        clause="ECSS-Q-HB-30-01A: a worst case is one over tolerances and environment",
        why="One point is evaluated, and called the worst case. basis: nominal says what it is.",
        breaks=_EXACT,
        keeps=_EXACT.replace("at_least: 10 h,", "at_least: 10 h, basis: nominal,"),
    ),
    _standard(
        name="review-dates-falling",
        title="a review is dated before one that stands ahead of it",
        clause="ECSS-M-ST-10C, 4.4.3: the order of reviews",
        why="What is due, and what had expired, is told by the order of reviews; what was there to"
        " be seen, by their dates. The two have to agree.",
        breaks=_REVIEWS.replace("CDR: 2026", "CDR: 2025"),
        keeps=_REVIEWS,
    ),
    _standard(
        name="nonconformance-of-nothing",
        title="a nonconformance names no record that found it, or no requirement",
        clause=f"{_E1002}, Annex B: the control document refers to the report of each",
        why="One about no requirement keeps none open, and without the record nobody can tell what"
        " has to be made again. Requirements may be left out where its record says what it judged.",
        breaks=_FOUND.replace("found_by: IN-001, requirements: [PWR-010]", "cause: a slip")
        .replace("outcome: not met", "outcome: met"),
        keeps=_FOUND,
    ),
    _standard(
        name="risk-of-another",
        title="requirements of two owners cite one risk assessment",
        clause=f"{_E1002}, 5.2.2.1d: the risk of each that nothing puts to the proof is assessed",
        why="It was made for one subject, and says nothing of the other. Whether two requirements"
        " of one owner are one subject is left to him; a clause behind the number tells two apart.",
        breaks=_RISKS.replace("RA 2", "RA 1"),
        keeps=_RISKS,
    ),
)  # fmt: skip
