"""Small invented projects of analyses that feed analyses, judged in this process."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from closeout.model.dossier import Dossier, Evidence
from closeout.run import Project

CHARTER = "project: {name: Pump, note: Invented for a test., reviews: [CDR], next_review: CDR}\n"
HEAD = """\
from collections.abc import Mapping
from typing import Annotated, NamedTuple

from closeout import absent, analysis
from closeout.math import exp, maximum, minimum, sqrt
from closeout.units import Unit

"""


@dataclass(frozen=True)
class Function:
    """An analysis: arguments and results with their units, and its body.

    A result with a star is a mapping of cases.
    """

    name: str
    takes: Mapping[str, str]
    gives: Mapping[str, str]
    body: str
    mark: str = "@analysis"
    top: str = ""

    @property
    def text(self) -> str:
        """Return the module that holds it."""
        fields = "\n".join(f"    {name}: {_hint(unit)}" for name, unit in self.gives.items())
        takes = ", ".join(f"{name}: {_hint(unit)}" for name, unit in self.takes.items())
        lines = "\n".join(f"    {line}" for line in self.body.splitlines())
        return (
            f"{HEAD}{self.top}\n\nclass R(NamedTuple):\n{fields}\n\n\n"
            f'{self.mark}\ndef {self.name}({takes}) -> R:\n    """Invented."""\n{lines}\n'
        )


def _hint(unit: str) -> str:
    if unit.startswith("*"):
        return f'Annotated[Mapping[str, float], Unit("{unit[1:]}")]'
    return f'Annotated[float, Unit("{unit}")]'


def written(
    folder: Path, parameters: str, functions: Iterable[Function], verifications: Iterable[str]
) -> Path:
    """Return a folder with a project of one requirement for each verification, A-1, A-2, ..."""
    items = [
        f"  - id: A-{number}\n    title: One\n    statement: It shall be so.\n    rationale: x\n"
        f"    source: invented\n    verification:\n      - {{method: analysis, level: system,"
        f" stage: qualification, review: CDR, {said}}}\n"
        for number, said in enumerate(verifications, 1)
    ]
    files = {
        "requirements/project.yaml": CHARTER,
        "requirements/all.yaml": "requirements:\n" + "".join(items),
        "analyses/all.yaml": "parameters:\n"
        + "".join(f"  {line.strip()}\n" for line in parameters.strip().splitlines()),
        **{f"analyses/{one.name}.py": one.text for one in functions},
    }
    for path, text in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text)
    return folder


def judged(folder: Path, **options: object) -> Dossier:
    """Return the dossier of a project in a folder, its proofs followed to their ends."""
    return Project(folder, jobs=2).verify(**options)  # type: ignore[arg-type]


def evidence(dossier: Dossier, number: int = 1) -> Evidence:
    """Return the one piece of evidence of requirement A-number."""
    (found,) = next(one for one in dossier.requirements if one.id == f"A-{number}").evidence
    return found


def rules(dossier: Dossier) -> dict[str, str]:
    """Return the errors of a project: message by rule."""
    return {one.rule: one.message for one in dossier.problems if one.severity.value == "error"}
