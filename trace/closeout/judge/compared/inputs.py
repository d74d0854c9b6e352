"""What a test was made at: its conditions as run, and what was measured on the same article.

Both are put to the model as a what-if is; how far each may lie from its value goes with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from closeout.graph import Index
from closeout.model.amount import Amount, Measured
from closeout.model.criterion import Condition
from closeout.model.records import LinkedParameter, Parameter, Record, Spread
from closeout.model.setting import Setting

Stated = Parameter | LinkedParameter
_NONE = Spread()


@dataclass(frozen=True, slots=True)
class MadeAt:
    """Inputs of a model as a test had them, by parameter.

    ``given`` are conditions of the environment, ``settings`` what takes the place of a declared
    value. ``factors`` are the coverage factors of those whose spread is an expanded uncertainty,
    ``swept`` what went through a range, ``measured`` the record that measured an input.
    """

    given: Mapping[str, Condition] = field(default_factory=dict)
    settings: Mapping[str, Setting] = field(default_factory=dict)
    factors: Mapping[str, Fraction] = field(default_factory=dict)
    swept: tuple[str, ...] = ()
    measured: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Bench:
    """The records of a project, to be asked what a test was made at."""

    index: Index

    @property
    def least_k(self) -> Fraction:
        """The project's coverage factor; a lesser one is raised to it (JCGM 100:2008, 6.2)."""
        return self.index.project.charter.policy.coverage_factor

    def made_at(
        self, record: Record, names: Iterable[str], parameters: Mapping[str, Stated]
    ) -> MadeAt:
        """Return the inputs of a model that a record or its article's other records give.

        Args:
            names: the model's inputs; what else a test was made at says nothing to it.
            parameters: those of the model, under names that they may have had before.
        """
        found = _Made(self.least_k)
        conditions = dict(record.conditions)
        renamed = self.index.renamed.get("parameters", {})
        for name in names:
            parameter, now = parameters.get(name), renamed.get(name, name)
            if parameter is None:
                continue  # the question says that it is missing
            if now in conditions:
                found.run(name, conditions[now], parameter)
            elif not _is_condition(parameter):
                known = self.article_value(record, now, parameter)
                if known is not None:
                    found.on_article(name, *known)
        return MadeAt(
            found.given, found.settings, found.factors, tuple(found.swept), found.measured
        )

    def article_value(
        self, record: Record, name: str, parameter: Stated
    ) -> tuple[Record, Measured] | None:
        """Return what the newest record of the same build of an article measured of an input.

        It has a quantity of the input's name, or it is the input's source and measured one quantity
        alone. None where there is none, or none with an uncertainty.
        """
        best: tuple[Record, Measured] | None = None
        for other in self._on_bench(record):
            measured = dict(other.measured)
            value = measured.get(name)
            if value is None and parameter.source == other.id and len(measured) == 1:
                (value,) = measured.values()
            if value is None or (value.uncertainty is None and value.exact is None):
                continue
            if best is None or (best[0].date or "") <= (other.date or ""):
                best = other, value
        return best

    def _on_bench(self, record: Record) -> list[Record]:
        """Return the records that measured anything on one of the builds of a record."""
        found = {one.id: one for built in record.article for one in self._by_build.get(built, ())}
        return list(found.values())

    @cached_property
    def _by_build(self) -> dict[tuple[str, str], list[Record]]:
        found: dict[tuple[str, str], list[Record]] = {}
        for record in self.index.records.values():
            if record.measured and record.date and not self.index.replaced.get(record.id):
                for built in record.article:
                    found.setdefault(built, []).append(record)
        return found


class _Made:
    """Collects inputs one after another."""

    def __init__(self, least_k: Fraction) -> None:
        self._least_k = least_k
        self.given: dict[str, Condition] = {}
        self.settings: dict[str, Setting] = {}
        self.factors: dict[str, Fraction] = {}
        self.swept: list[str] = []
        self.measured: dict[str, str] = {}

    def run(self, name: str, at: Condition, parameter: Stated) -> None:
        """Take a condition as it was run; a design value keeps what is declared about it."""
        is_condition = _is_condition(parameter)
        if is_condition:
            self.given[name] = Condition(at.ends)
        if at.is_range:
            self.swept.append(name)
            if not is_condition:
                low, high = at.ends
                self.settings[name] = Setting(str(at), None, Spread(range=(low, high)))
        elif at.measured is not None and at.measured.uncertainty is not None:
            self._take(name, at.measured)
        elif not is_condition:
            self.settings[name] = Setting(str(at), at.ends[0])

    def on_article(self, name: str, record: Record, value: Measured) -> None:
        """Take what a record measured of an input on the same article."""
        self._take(name, value)
        self.measured[name] = record.id

    def _take(self, name: str, value: Measured) -> None:
        if value.uncertainty is None or value.k is None or not value.uncertainty.number:
            self.settings[name] = Setting(value.text, value.value, _NONE)
            return
        k = max(value.k, self._least_k)
        half = _times(value.uncertainty, k / value.k)
        self.settings[name] = Setting(value.text, value.value, Spread(tolerance=(("", half),)))
        self.factors[name] = k


def _times(amount: Amount, factor: Fraction) -> Amount:
    if factor == 1:
        return amount
    number = amount.number * factor
    return Amount(f"{float(number):.6g} {amount.unit}".strip(), number, amount.unit)


def _is_condition(parameter: Stated) -> bool:
    # What is computed is no condition: these reach the analyses below.
    return isinstance(parameter, Parameter) and parameter.condition is not None
