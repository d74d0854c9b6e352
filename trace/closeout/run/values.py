"""What an analysis gives at one point: values with their units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from closeout.model.inputs_used import InputUsed
from closeout.render import numbers
from closeout.render.fragments import table


@dataclass(frozen=True, slots=True)
class Value:
    """A number with its unit; ``number`` is as it was computed, and rounded in a text only."""

    number: float
    unit: str

    def __float__(self) -> float:
        return self.number

    def __str__(self) -> str:
        return numbers.show(self.number, self.unit)


@dataclass(frozen=True, slots=True)
class Absent:
    """Stands for a case that has no value, and why."""

    reason: str

    def __str__(self) -> str:
        return f"none: {self.reason}"


Found = Value | Absent
Cases = Mapping[str, Found]


@dataclass(frozen=True, slots=True)
class Values(Mapping[str, "Found | Cases"]):
    """The quantities of an analysis by name, each a value, or values by case.

    ``inputs`` are the arguments with what each was taken from, in the analysis' units.
    """

    analysis: str
    found: Mapping[str, Found | Cases]
    inputs: tuple[InputUsed, ...]

    def __getitem__(self, quantity: str) -> Found | Cases:
        return self.found[quantity]

    def __iter__(self) -> Iterator[str]:
        return iter(self.found)

    def __len__(self) -> int:
        return len(self.found)

    def __str__(self) -> str:
        return "\n".join(f"{name} = {text}" for name, text in self._rows())

    def __repr__(self) -> str:
        return f"{self.analysis}: {', '.join(f'{name} = {text}' for name, text in self._rows())}"

    def _rows(self) -> list[tuple[str, str]]:
        rows = []
        for name, found in self.found.items():
            if isinstance(found, Mapping):
                rows += [(f"{name} [{case}]", str(one)) for case, one in found.items()]
            else:
                rows.append((name, str(found)))
        return rows

    def _repr_html_(self) -> str:
        inputs = [
            (one.name, numbers.show(one.value, one.unit), one.text, _source(one))
            for one in self.inputs
        ]
        return table(("Quantity", f"{self.analysis} gives"), self._rows()) + table(
            ("Input", "Value", "As written", "Source"), inputs
        )


def _source(used: InputUsed) -> str:
    """Return where an input comes from; what the caller sets is no declared value."""
    return "set in this call" if used.origin == "set" else used.source or ""
