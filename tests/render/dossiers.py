"""Dossiers made by hand: the invented Gannet mission, and projects that are out to make trouble.

Every name and figure here is invented.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from closeout.model.answer import Assurance
from closeout.model.dossier import (
    Compliance,
    Dossier,
    Evaluation,
    Evidence,
    ParameterSaid,
    QuantityFound,
    RequirementResult,
    Scale,
    State,
)
from closeout.model.identity import SnapshotIdentity
from closeout.model.inputs_used import InputUsed
from closeout.model.probability import Chance
from closeout.model.problem import Problem, Severity
from closeout.model.question import AnalysisSpec, Argument, Failure, Field
from closeout.model.records import ConditionKind

COMMIT = "1e496c4a0b3d5f7e9c2b4d6f8a0c1e3f5a7b9d0c"
CLEAN = SnapshotIdentity("commit", COMMIT, False, date="2026-11-30")


def evidence(**fields: Any) -> Evidence:
    usual: dict[str, Any] = {
        "number": 0,
        "method": "analysis",
        "level": "subsystem",
        "stage": "qualification",
        "review": "CDR",
        "due": True,
        "state": State.MET,
    }
    return Evidence(**{**usual, **fields})


def requirement(name: str, *lines: Evidence, **fields: Any) -> RequirementResult:
    usual: dict[str, Any] = {
        "id": name,
        "issue": "A",
        "title": f"Title of {name}",
        "statement": f"The recorder shall do what {name} says.",
        "rationale": None,
        "source": None,
        "owner": None,
        "safety": None,
        "derived_from": (),
        "derived": (),
        "compliance": Compliance.C,
        "closed": True,
        "covered": False,
        "due": True,
        "why": "",
        "evidence": lines,
        "outstanding": any(line.due and not line.closed for line in lines),
    }
    return RequirementResult(**{**usual, **fields})


def dossier(*requirements: RequirementResult, **fields: Any) -> Dossier:
    usual: dict[str, Any] = {
        "project": "Gannet",
        "note": None,
        "snapshot": CLEAN,
        "review": "CDR",
        "reviews": ("SRR", "PDR", "CDR", "QR", "AR", "FRR"),
        "requirements": requirements,
        "problems": (),
        "analyses": (),
        "evaluations": (),
        "scale": Scale(
            files=3,
            requirements=len(requirements),
            verifications=sum(len(r.evidence) for r in requirements),
            parameters=5,
            analyses=1,
            evaluated=1,
            from_store=2,
        ),
        "exit_status": 0,
        "parameters": (
            ParameterSaid("cell_capacity", "3.35 A h", "3.20 A h to 3.45 A h",
                          "Maker's sheet, issue 4", "specified", None),
            ParameterSaid("sleep_current", "95 uA", "+/- 10 uA", "Bench log of 3 March", "measured",
                          None),
        ),
    }  # fmt: skip
    return Dossier(**{**usual, **fields})


HOLD_GIVEN = (("hold_duration", "28 d"), ("cell_temperature", "5 degC to 20 degC"))
HOLD_DOC = """Usable battery energy that is left after the wait on the pad.

Self-discharge and drain act together: dq/dt = -k q - I, so that

    q(t) = (q0 + I/k) exp(-k t) - I/k

Assumptions:

- self-discharge is of first order at the mean temperature of the hold;
- the hold counts from the end of the last charge.

Caution: cells vent and burn. Never recover an over-discharged cell on a number from here; the
rules of the site and licensed practice hold.
"""

PAD_HOLD = AnalysisSpec(
    name="power.pad_hold_energy",
    module="analyses.power",
    function="pad_hold_energy",
    path="analyses/power.py",
    line=31,
    doc=HOLD_DOC,
    arguments=(
        Argument("cell_capacity", "A h"),
        Argument("sleep_current", "uA"),
        Argument("hold_duration", "d"),
    ),
    fields=(Field("drained", "A h", False), Field("usable_energy", "W h", False)),
    validated_by=("tests/analyses/test_pad_hold_energy.py",),
    time_limit=60.0,
)
LINK = AnalysisSpec(
    name="radio.link_margin",
    module="analyses.radio",
    function="link_margin",
    path="analyses/radio.py",
    line=12,
    doc="Margin of the downlink for each station.",
    arguments=(Argument("antenna_gain", "dBi"),),
    fields=(Field("link_margin", "dB", True),),
    validated_by=(),
    time_limit=60.0,
)

HOLD_RUN = Evaluation(
    analysis="power.pad_hold_energy",
    basis="worst case",
    given=HOLD_GIVEN,
    inputs=(
        InputUsed(
            "cell_capacity", "A h", 3.35, 3.20, 3.45, "3.35 A h", "3.20 A h to 3.45 A h",
            "Maker's sheet, issue 4", "specified", None, "parameter",
        ),
        InputUsed(
            "sleep_current", "uA", 95.0, 85.0, 105.0, "95 uA", "+/- 10 uA",
            "Bench log of 3 March", "measured", None, "parameter",
        ),
        InputUsed("hold_duration", "d", 28.0, None, None, "28 d", "", "LSA 4.3", None,
                  ConditionKind.GIVEN, "given"),
    ),
    found=(
        QuantityFound("drained", None, "A h", 0.06384, 0.05712, 0.07056, None),
        QuantityFound("usable_energy", None, "W h", 63.214, 55.1234, 70.9, None),
    ),
    failure=None,
    assurance=Assurance.BOUNDED,
    evaluations=37,
    serves=("PWR-020",),
    from_store=True,
)  # fmt: skip
LINK_RUN = Evaluation(
    analysis="radio.link_margin",
    basis="worst case",
    given=(),
    inputs=(
        InputUsed("antenna_gain", "dBi", 5.0, 3.8, 6.2, "5.0 dBi", "sigma 0.4 dB", None, None,
                  None, "parameter"),
    ),
    found=(
        QuantityFound("link_margin", "north", "dB", 4.2, 3.0, 5.4, None),
        QuantityFound("link_margin", "south", "dB", 3.4, 2.996, 4.6, None),
        QuantityFound("link_margin", "sea", "dB", None, None, None, "never rises"),
    ),
    failure=None,
    assurance=Assurance.SEARCHED,
    evaluations=1024,
    serves=("COM-040", "COM-041"),
    from_store=False,
)  # fmt: skip
BROKEN_RUN = Evaluation(
    analysis="radio.link_margin",
    basis="nominal",
    given=(("rain_rate", "20 mm/h"),),
    inputs=(),
    found=(),
    failure=Failure(
        "raised",
        "ValueError: math domain error",
        'Traceback (most recent call last):\n  File "analyses/radio.py", line 20, in link_margin\n'
        "    return log10(-1.0)\nValueError: math domain error\n",
        "analyses/radio.py",
        20,
    ),
    assurance=None,
    evaluations=0,
    serves=("COM-050",),
    from_store=False,
)


def _power() -> tuple[RequirementResult, ...]:
    hold = evidence(
        analysis="pad_hold_energy", quantity="usable_energy", unit="W h", value=63.214,
        low=55.1234, high=70.9, at_least=52.0, limit_text="at least 52 W h", given=HOLD_GIVEN,
        margin=3.1234, basis="worst case", assurance=Assurance.BOUNDED, plan="VP 4.2",
    )  # fmt: skip
    soak = evidence(
        number=1, method="test", stage="acceptance", review="AR", due=False, state=State.OPEN,
        quantity="usable_energy", unit="W h", at_least=52.0, record="TR-PWR-004",
        message="planned: the record has no date",
    )  # fmt: skip
    return (
        requirement(
            "SYS-030", title="Live through the wait on the pad", derived=("PWR-020", "PWR-021"),
            source="LSA 4.3", closed=False, why="PWR-020 is open until AR",
        ),
        requirement(
            "PWR-020", hold, soak, issue="B", title="Energy left after the pad hold",
            statement="The recorder shall hold at least 52 W h of usable battery energy, at a "
            "cell temperature of 5 degC, 28 d after the end of the last charge.",
            rationale="The active phase needs 40 W h; the launch may slip for four weeks.",
            owner="power", safety="critical", derived_from=("SYS-030",), closed=False,
            why="the test TR-PWR-004 is planned for AR",
        ),
        requirement(
            "PWR-021", compliance=Compliance.NA, derived_from=("SYS-030",),
            title="Pyrotechnic circuits",
            why="No pyrotechnic device on board; agreed by the launch authority, LSA-MOM-3",
        ),
    )  # fmt: skip


def _link(case: str, **fields: Any) -> Evidence:
    usual: dict[str, Any] = {
        "analysis": "link_margin", "quantity": "link_margin", "case": case, "unit": "dB",
        "at_least": 3.0, "limit_text": "at least 3 dB", "basis": "worst case",
        "assurance": Assurance.SEARCHED,
    }  # fmt: skip
    return evidence(**{**usual, **fields})


SOUTH = (("antenna_gain", "3.8 dBi exactly"), ("line loss", "it's 1 dB exactly"))


def _radio() -> tuple[RequirementResult, ...]:
    south = _link(
        "south", value=3.4, low=2.996, high=4.6, margin=-0.004, state=State.NOT_MET,
        counterexample=SOUTH, at=SOUTH,
    )  # fmt: skip
    return (
        requirement(
            "COM-040", _link("north", value=4.2, low=3.0, high=5.4, margin=0.0), south,
            title="Link margin at 5 deg elevation", compliance=Compliance.PC, closed=False,
            why="link_margin is not met at south",
        ),
        requirement(
            "COM-041", replace(south, covered_by="RFW-003"),
            _link("sea", state=State.NOT_MET, message="absent: never rises",
                  covered_by="RFW-003"),
            title="Link margin over the sea", compliance=Compliance.NC, covered=True,
            why="not met, under waiver RFW-003",
        ),
        requirement(
            "COM-050",
            evidence(analysis="link_margin", quantity="link_margin", unit="dB", at_least=3.0,
                     state=State.ERROR, given=(("rain_rate", "20 mm/h"),), basis="nominal",
                     message="ValueError: math domain error (analyses/radio.py:20)"),
            title="Link in rain", compliance=Compliance.OPEN, closed=False,
            why="the analysis gave no answer",
        ),
        requirement(
            "COM-060",
            evidence(method="test", review="AR", due=False, state=State.NOT_MET, unit="V",
                     quantity="bus_voltage", value=16.4, low=16.2, high=16.6, at_least=12.0,
                     at_most=16.0, margin=-0.6, record="TR-PWR-009", level="equipment"),
            title="Bus voltage", compliance=Compliance.OPEN, closed=False, due=False,
            why="early shortfall: TR-PWR-009 is due at AR",
        ),
        requirement(
            "COM-070",
            evidence(quantity="no_false_wake", analysis="wake_vote", unit="1", at_least=0.5,
                     chance=Chance(0.9991, 0.9996, 0.9994, 0.99, 0.9, 65536), margin=0.0091,
                     basis="probability 0.99, confidence 0.9", assurance=Assurance.SAMPLED),
            evidence(number=1, method="inspection", record="IR-2", state=State.MET),
            title="No wake-up on the ground",
        ),
    )  # fmt: skip


PROBLEMS = (
    Problem(
        "unit-mismatch", Severity.ERROR, "requirements/radio.yaml", 12, 7,
        "the limit is in V, the quantity link_margin in dB", "write the limit in dB",
    ),
    Problem(
        "weak-word", Severity.WARNING, "requirements/power.yaml", 40, 3,
        "the statement of PWR-020 says 'sufficient' (ECSS-E-ST-10-06C, 8.3.3)",
        "say how much is enough, as a limit with a unit",
    ),
)  # fmt: skip


def gannet(**fields: Any) -> Dossier:
    """The usual case: a bit of everything."""
    usual: dict[str, Any] = {
        "note": "Gannet is an invented mission.",
        "problems": PROBLEMS,
        "analyses": (PAD_HOLD, LINK),
        "evaluations": (HOLD_RUN, LINK_RUN, BROKEN_RUN),
        "exit_status": 2,
    }
    return dossier(*_power(), *_radio(), **{**usual, **fields})


EVIL = "<script>alert(1)</script> | =cmd() **b** [x](javascript:alert) \x1b[31m\u202eevil\n# h1"


def nasty() -> Dossier:
    """Every text of the project tries to become markup, a formula or a terminal command."""
    line = evidence(
        analysis="bad`name", quantity="q|<b>", case="=1+1", unit="W|h", value=-1e-300, low=-1e300,
        high=5e-324, at_least=0.1 + 0.2, at_most=1e300, limit_text=EVIL, given=((EVIL, EVIL),),
        margin=-1e300, basis="worst case", assurance=Assurance.BOUNDED, message=EVIL,
        record="-2+3", covered_by="@RFW", counterexample=(("x;rm", "$(reboot)"),),
        at=(("x;rm", "$(reboot)"),), plan="+1",
        state=State.NOT_MET, level="<i>", stage="a|b", review="\x07",
    )  # fmt: skip
    return dossier(
        requirement(
            "=cmd()", line, title=EVIL, statement="|||\n\n- x\n```\n<img src=x onerror=alert(1)>",
            rationale=EVIL, source=EVIL, owner=EVIL, safety=EVIL, derived_from=("<u>",),
            derived=("a|b",), compliance=Compliance.NC, closed=False, issue="<b>", why=EVIL,
        ),
        requirement("@SUM(A1)", title="-1+2", statement="", why="", compliance=Compliance.OPEN),
        requirement("a|b", title="日本語 &amp; \u200b ok", statement="http://x.invalid www.x.test"),
        project=EVIL,
        note=EVIL,
        problems=(Problem("r|", Severity.ERROR, "a\x1b.yaml", 1, 1, EVIL, EVIL),),
        analyses=(PAD_HOLD._replace(name="m.bad`name", function="bad`name",
                          doc=EVIL + "\n\n    ```\n    <b>\n\n<script>x</script>",
                          path=EVIL, validated_by=(EVIL,)),
                  LINK._replace(name="../../etc/passwd", function="p", doc="")),
        evaluations=(replace(BROKEN_RUN, analysis="m.bad`name",
                             failure=Failure("raised", EVIL, "```\n" + EVIL)),),
        settings=(("<x>", EVIL),),
        snapshot=SnapshotIdentity("tree", None, None),
        exit_status=1,
    )  # fmt: skip


def empty() -> Dossier:
    return dossier(scale=Scale(1, 0, 0, 0, 0, 0, 0))


def large(count: int) -> Dossier:
    """Many requirements with two verifications each; one in a hundred falls short."""
    made = []
    for n in range(count):
        low = 51.0 if n % 100 == 0 else 52.0 + n / 1000
        state = State.MET if low >= 52.0 else State.NOT_MET
        first = evidence(
            analysis=f"analysis_{n % 1000}", quantity="usable_energy", unit="W h", value=60.0,
            low=low, high=70.0, at_least=52.0, margin=low - 52.0, basis="worst case",
            assurance=Assurance.BOUNDED, state=state,
        )  # fmt: skip
        second = evidence(number=1, method="inspection", record=f"IR-{n}")
        code = Compliance.C if state is State.MET else Compliance.NC
        made.append(
            requirement(f"REQ-{n:05}", first, second, compliance=code, closed=state is State.MET)
        )
    return dossier(*made, exit_status=1)
