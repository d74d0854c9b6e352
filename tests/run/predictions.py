"""Invented projects in which records measured what an analysis predicts.

All projects are invented. The model of most is a battery's energy, voltage times charge, less one
hundredth for each kelvin below 20 degC. By hand, at 20 degC: voltage 11.5 V to 12.5 V, charge
4.75 A h to 5.25 A h, so 60 W h at the inputs, and 54.625 W h to 65.625 W h over the tolerances.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from closeout.model.compared import Compared
from closeout.model.dossier import Dossier
from closeout.run import Project
from tests.cli.project import make

CHARTER = """\
project:
  name: Lantern
  note: Invented for a test.
  reviews: [SRR, CDR, QR]
  next_review: CDR
articles:
  - {id: BAT, title: Battery, model: flight, build: FM-3}
"""

MODEL = '''\
"""Energy in a battery."""
from typing import NamedTuple

from closeout import analysis
from closeout.units import A_h, V, W_h, degC


class Energy(NamedTuple):
    energy: W_h


@analysis(validated_by="tests/test_all.py")
def energy(voltage: V, charge: A_h, cell_temperature: degC) -> Energy:
    """Energy of a battery: voltage times charge, less 1 % for each kelvin below 20 degC."""
    return Energy(voltage * charge * (1 - 0.01 * (20 - cell_temperature)))
'''

PARAMETERS = """\
parameters:
  voltage: {value: 12 V, tolerance: 0.5 V, source: Invented}
  charge: {value: 5 A h, tolerance: 5 %, source: Invented}
  cell_temperature: {value: 20 degC, condition: true, source: Invented}
"""

ITEM = """\
requirements:
  - id: PWR-010
    title: Energy of the battery
    statement: The battery shall hold at least 40 W h at 20 degC.
    source: Invented
    verification:
      - {method: analysis, stage: qualification, review: CDR, analysis: energy, quantity: energy,
         at_least: 40 W h, given: {cell_temperature: 20 degC}, risk: Invented}
      - {method: test, review: CDR, quantity: energy, at_least: 40 W h, records: [TR-1]}
"""


def record(
    name: str = "TR-1",
    measured: str = "energy: 58 W h +/- 1 W h (k = 2)",
    *,
    day: str = "2026-03-02",
    conditions: str = "cell_temperature: 20 degC",
    more: str = "",
) -> str:
    return (
        f"  - {{id: {name}, method: test, date: {day}, article: {{BAT: FM-3}},"
        f" judged: {{PWR-010: A}}, conditions: {{{conditions}}}, measured: {{{measured}}}{more}}}\n"
    )


def files(*records: str, **changed: str) -> dict[str, str | bytes]:
    content: dict[str, str | bytes] = {
        "requirements/project.yaml": CHARTER,
        "requirements/power.yaml": ITEM,
        "requirements/records.yaml": "records:\n" + "".join(records or (record(),)),
        "analyses/parameters.yaml": PARAMETERS,
        "analyses/energy.py": MODEL,
        "tests/test_all.py": "def test_nothing() -> None: ...\n",
    }
    return content | dict(changed)


def verified(folder: Path, content: dict[str, str | bytes], **asked: Any) -> Dossier:
    return Project(make(folder / "p", content).path, jobs=1).verify(**asked)


def only(dossier: Dossier) -> Compared:
    (one,) = dossier.compared
    return one


def rules(dossier: Dossier, *names: str) -> list[tuple[str, str]]:
    known = names or (
        "outside-prediction", "unexplained-difference", "not-correlated", "coarse-prediction",
        "normalised-error",
    )  # fmt: skip
    return [(p.rule, p.severity.value) for p in dossier.problems if p.rule in known]


# The range is 11 W h wide: with less than 1.1 W h it would tell little.
FAR = "energy: 80 W h +/- 1.2 W h (k = 2)"
EXPLAINED = ", explained: {text: The cells are of a newer lot., document: TN-7, by: the board}"
CRITERION = "  correlation: [{quantity: energy, within: 1.5 W h, at: QR, source: VP 6.3}]\n"
