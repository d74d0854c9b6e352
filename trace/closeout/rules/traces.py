"""Pages of the rules of trace and unit: what refers to what. They hold for every project."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_BOTH_WAYS = "ECSS-E-ST-10-06C, 8.2: requirements are traceable in both directions"
_trace = partial(Rule, kind="trace", severity=Severity.ERROR, clause=_BOTH_WAYS)
_loose = partial(Rule, kind="trace", severity=Severity.WARNING, clause=_BOTH_WAYS)

_LAMP = """\
# file: analyses/lamp.py
from typing import NamedTuple
from closeout import analysis
from closeout.units import A_h, hour, mA

class Lamp(NamedTuple):
    lamp_time: hour

@analysis
def lamp(capacity: A_h, current: mA) -> Lamp:
    \"\"\"Time for which a full battery feeds the lamp.\"\"\"
    return Lamp(capacity / current * 1000.0)
"""
_PARAMETERS = """\
# file: analyses/lamp.yaml
parameters:
  capacity: {value: 3.4 A h, source: data sheet}
  current: {value: 240 mA, source: bench log}
"""
_REQUIREMENT = """\
# file: requirements/lamp.yaml
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    verification:
      - {method: analysis, analysis: lamp, quantity: lamp_time, at_least: 10 h}
"""
_WHOLE = _LAMP + _PARAMETERS + _REQUIREMENT

REFERENCES = (
    _trace(
        name="dangling-reference",
        title="a name leads to nothing",
        why="A chain of evidence with a broken link proves nothing.",
        breaks="""\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    derived_from: [SYS-010]
    verification: [{method: test}]
""",
        keeps="""\
requirements:
  - id: SYS-010
    title: Light
    statement: The lantern shall give light for at least 10 h.
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    derived_from: [SYS-010]
    verification: [{method: test}]
""",
    ),
    _trace(
        name="unknown-review",
        title="a review is not one of the project's",
        why="When a verification is due is told by the project's own list of reviews.",
        clause="ECSS-M-ST-10C, 4.4.3: reviews of a project's phases",
        breaks="""\
project: {name: Lantern, reviews: [PDR, CDR], next_review: CRD}
""",
        keeps="""\
project: {name: Lantern, reviews: [PDR, CDR], next_review: CDR}
""",
    ),
    _trace(
        name="duplicate-identifier",
        title="two items have the same identifier",
        why="Who cites the identifier cannot say which of the two is meant.",
        clause="ISO/IEC/IEEE 29148:2011, 5.2.8: identifiers are unique",
        breaks="documents:\n  - {id: LSA, title: Agreement}\n  - {id: LSA, title: Minutes}\n",
        keeps="documents:\n  - {id: LSA, title: Agreement}\n  - {id: MOM, title: Minutes}\n",
    ),
    _trace(
        name="cycle",
        title="requirements are derived from each other, or records replace each other",
        why="In a circle nothing is above or below, so nothing can be judged by what is below it.",
        breaks="""\
requirements:
  - {id: A-1, title: One, statement: It shall be one., derived_from: [A-2]}
  - {id: A-2, title: Two, statement: It shall be two., derived_from: [A-1]}
""",
        keeps="""\
requirements:
  - {id: A-1, title: One, statement: It shall be one.}
  - id: A-2
    title: Two
    statement: It shall be two.
    derived_from: [A-1]
    verification: [{method: test}]
""",
    ),
    _trace(
        name="record-method",
        title="a verification rests on evidence of another method",
        why="A test is shown by the record of a test, an analysis by the analysis itself.",
        clause="ECSS-E-ST-10-02C Rev.1, 5.2.2.1: verification methods",
        breaks="""\
requirements:
  - id: PWR-010
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, records: [TR-001]}]
records:
  - {id: TR-001, method: test}
""",
        keeps="""\
requirements:
  - id: PWR-010
    title: Label
    statement: The battery shall carry a label.
    verification: [{method: inspection, records: [IN-001]}]
records:
  - {id: IN-001, method: inspection}
""",
    ),
    _trace(
        name="unverified-requirement",
        title="nothing verifies a requirement",
        why="A requirement that nobody plans to show is a wish.",
        clause="ECSS-E-ST-10-02C Rev.1, 5.2.2.1: verification methods",
        breaks="""\
requirements:
  - {id: PWR-010, title: Lamp time, statement: The battery shall feed the lamp.}
""",
        keeps="""\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp.
    verification: [{method: test}]
""",
    ),
    _loose(
        name="nothing-applicable",
        title="all that is derived from a requirement is not applicable",
        why="It is judged by what is derived from it, and of that nothing is left.",
        clause="ECSS-E-ST-10-02C Rev.1, 5.2.3: close-out from the lower level up",
        breaks="""\
requirements:
  - {id: SYS-010, title: Light, statement: The lantern shall give light.}
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp.
    derived_from: [SYS-010]
    not_applicable: {reason: It burns oil.}
""",
        keeps="""\
requirements:
  - id: SYS-010
    title: Light
    statement: The lantern shall give light.
    verification: [{method: test}]
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp.
    derived_from: [SYS-010]
    not_applicable: {reason: It burns oil.}
""",
    ),
    _loose(
        name="no-requirements",
        title="the project has no requirement",
        why="Nothing is judged then, which is no success: usually a file was lost.",
        breaks="requirements: []\n",
        keeps="""\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp.
    verification: [{method: test}]
""",
    ),
    _trace(
        name="unknown-rule",
        title="the policy names a rule that does not exist",
        why="A rule that was meant to be raised would silently not be.",
        clause="the project's own policy",
        breaks="""\
project:
  name: Lantern
  policy: {rules: {no-risk-asessment: {severity: off, reason: assessed in the plan}}}
""",
        keeps="""\
project:
  name: Lantern
  policy: {rules: {no-risk-assessment: {severity: off, reason: assessed in the plan}}}
""",
    ),
    _trace(
        name="fixed-rule",
        title="the policy names a rule that holds for every project",
        why="Rules of form, trace and unit say whether a verdict means anything at all.",
        clause="the project's own policy",
        breaks="""\
project:
  name: Lantern
  policy: {rules: {dangling-reference: {severity: off, reason: it is a draft}}}
""",
        keeps="""\
project:
  name: Lantern
  policy: {rules: {derived-without-rationale: {severity: off, reason: it is a draft}}}
""",
    ),
)

ANALYSES = (
    _trace(
        name="analysis-import",
        title="a module of analyses cannot be imported",
        why="None of its analyses can be run.",
        breaks=_WHOLE.replace("from typing", "import no_such_module\nfrom typing"),
        keeps=_WHOLE,
    ),
    _trace(
        name="analysis-signature",
        title="a function cannot be used as an analysis",
        why="Each argument is a parameter and each field a quantity; without a unit neither can be"
        " converted.",
        breaks=_WHOLE.replace("current: mA", "current: float"),
        keeps=_WHOLE,
    ),
    _trace(
        name="unknown-analysis",
        title="no analysis has the name that a verification gives",
        why="The verification would stay open for ever.",
        breaks=_WHOLE.replace("analysis: lamp,", "analysis: lump,"),
        keeps=_WHOLE,
    ),
    _trace(
        name="ambiguous-analysis",
        title="several analyses have the name that a verification gives",
        why="Which of them is meant decides the verdict.",
        breaks=_WHOLE + _LAMP.replace("lamp.py", "torch.py"),
        keeps=_WHOLE.replace("analysis: lamp,", "analysis: lamp.lamp,")
        + _LAMP.replace("lamp.py", "torch.py"),
    ),
    _trace(
        name="unknown-quantity",
        title="a criterion limits what nothing gives, or a record measured what nothing limits",
        why="A limit on a quantity that the analysis does not return is never judged, and what was"
        " measured under a misspelt name is never read. Of a record only a name is told that is"
        " nearly the one its requirement limits; it may measure more than anybody asks for.",
        breaks=_WHOLE.replace("quantity: lamp_time", "quantity: lamp_life"),
        keeps=_WHOLE,
    ),
    _trace(
        name="unknown-parameter",
        title="an analysis takes an argument for which there is no parameter",
        why="Its value would be nobody's.",
        breaks=_WHOLE.replace("current: {value", "currant: {value"),
        keeps=_WHOLE,
    ),
    _trace(
        name="given-no-condition",
        title="a verification sets a design value",
        why="Conditions are what the statement names (environment, duration, mode); to set a design"
        " value there would judge another design.",
        breaks=_WHOLE.replace("at_least: 10 h", "at_least: 10 h, given: {current: 100 mA}"),
        keeps=_WHOLE.replace("at_least: 10 h", "at_least: 10 h, given: {current: 100 mA}").replace(
            "240 mA,", "240 mA, condition: true,"
        ),
    ),
    _trace(
        name="condition-not-given",
        title="a criterion leaves out a condition that its analysis takes",
        why="The requirement holds at the condition that its statement names. Where the criterion"
        " does not give it, the parameter's own value stands in, often a kinder one, and nothing"
        " shows it. Of an environment that is the same for all, condition: declared says so.",
        breaks=_WHOLE.replace("240 mA,", "240 mA, condition: true,"),
        keeps=_WHOLE.replace("at_least: 10 h", "at_least: 10 h, given: {current: 100 mA}").replace(
            "240 mA,", "240 mA, condition: true,"
        ),
    ),
    _trace(
        name="given-unused",
        title="a verification sets a condition that its analysis does not take",
        why="The statement names a condition, and the verdict does not depend on it.",
        breaks=_WHOLE.replace("at_least: 10 h", "at_least: 10 h, given: {wait: 5 h}").replace(
            "parameters:\n", "parameters:\n  wait: {value: 1 h, condition: true, source: user}\n"
        ),
        keeps=_WHOLE,
    ),
    _trace(
        name="model-uncertainty",
        title="what an analysis declares of its own uncertainty cannot be read",
        why="It is taken off on the bad side of each verdict, so it has to have the right unit.",
        breaks=_WHOLE.replace("@analysis", '@analysis(model_uncertainty={"lamp_time": "5 V"})'),
        keeps=_WHOLE.replace("@analysis", '@analysis(model_uncertainty={"lamp_time": "5 %"})'),
    ),
    _loose(
        name="unused-analysis",
        title="no requirement uses an analysis",
        why="It is either forgotten in a verification, or a leftover.",
        breaks=_LAMP + _PARAMETERS,
        keeps=_WHOLE,
    ),
    _loose(
        name="unused-parameter",
        title="nothing uses a parameter",
        why="Usually its name is misspelt; else a reader would believe that it matters.",
        breaks="parameters:\n  voltage: {value: 12 V, source: data sheet}\n",
        keeps=_WHOLE,
    ),
)


def _warm(limit: str) -> str:
    analysis = _LAMP.replace("hour, mA", "degC, mA").replace("lamp_time: hour", "case: degC")
    return (
        analysis.replace("Time for which a full battery feeds the lamp", "Temperature of the case")
        + _PARAMETERS
        + _REQUIREMENT.replace("quantity: lamp_time, at_least: 10 h", f"quantity: case, {limit}")
    )


UNITS = (
    Rule(
        name="unit",
        kind="unit",
        severity=Severity.ERROR,
        title="a unit cannot be read, or does not fit what it is compared with",
        clause="JCGM 200:2012 (VIM), 1.2, from memory: quantities of the same kind are compared",
        why="A number without its right unit gives a wrong verdict that looks right.",
        breaks="parameters:\n  voltage: {value: 12 V, tolerance: 1 A}\n",
        keeps="parameters:\n  voltage: {value: 12 V, tolerance: 100 mV}\n",
    ),
    Rule(
        name="kelvin-meets-celsius",
        kind="unit",
        severity=Severity.WARNING,
        title="an amount in kelvin is held against degrees Celsius",
        clause="SI Brochure, 9th edition, 2.3.1, from memory: the kelvin is the unit of both a"
        " temperature and a difference",
        why="100 K is -173.15 degC as a temperature and as wide as 100 degC as a difference. Read"
        " as the wrong one of the two, a difference meets every limit. Where the quantity is a"
        " difference (a criterion of it says difference: true, or its name says spread, gradient,"
        " margin, rise), this is an error.",
        breaks=_warm("at_most: 320 K"),
        keeps=_warm("at_most: 46.85 degC"),
    ),
)

RULES = (*REFERENCES, *ANALYSES, *UNITS)
