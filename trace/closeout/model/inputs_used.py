"""What an evaluation took: values and ends, beside what the project says of them."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.records import ConditionKind

# The origin of an input that no parameter is: where between its ends a computed input is, or what
# the model of an analysis below may be off.
CHAIN = "chain"


@dataclass(frozen=True, slots=True)
class InputUsed:
    """An input of an evaluation, in the analysis' unit, beside what the project says of it.

    ``origin`` is parameter, given, set or chain; ``text`` and ``spread`` as they were written.
    ``contingency`` says what the project's policy added to the value and its ends, and why.
    ``record`` is the one that measured it, of a measured input.
    ``side`` is True of a range that is a condition and no chance, ``is_off`` where it is what a
    model below may be off. ``sigmas`` is of a normal distribution by how many of its standard
    deviations the ends are away: three, or the coverage factor of what was measured. ``amounts``
    are those that someone wrote for its value or an end, by the number that each is.
    """

    name: str
    unit: str
    value: float
    low: float | None
    high: float | None
    text: str
    spread: str
    source: str | None
    maturity: str | None
    condition: ConditionKind | None
    origin: str
    contingency: str = ""
    side: bool = False
    sigmas: float | None = None
    amounts: tuple[tuple[float, str], ...] = ()
    is_off: bool = False
    record: str | None = None

    @property
    def as_declared(self) -> bool:
        """Whether it is a condition that no criterion gives, and that holds as it is declared."""
        return self.condition == "declared" and self.origin == "parameter"

    @property
    def spreads(self) -> bool:
        """Whether it has a spread, be it that the basis leaves it out."""
        if self.low is None or self.high is None:
            return bool(self.spread)
        return self.low < self.high

    @property
    def written(self) -> str:
        """Value and spread as they were written, in one text."""
        if self.spread.startswith("+/-"):
            return f"{self.text} {self.spread}"
        return f"{self.text}, {self.spread}" if self.spread else self.text
