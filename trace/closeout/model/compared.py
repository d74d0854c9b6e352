"""What was predicted beside what was measured: one quantity of one record, by one analysis.

All numbers of a comparison are in the unit in which the record has the measured value.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from closeout.model.difference_unit import difference_unit
from closeout.model.records import Explained


class Standing(StrEnum):
    """How a measured value with its uncertainty stands to a predicted range."""

    INSIDE = "inside"
    ASTRIDE = "astride"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a model says of a measured quantity at the conditions of its test.

    ``commit`` and ``day`` tell of which state the model is, None of the state that is judged.
    ``value`` is at the inputs, ``low`` and ``high`` are the ends over their spreads, ``proved`` or
    only searched. ``difference`` is measured less predicted. ``place`` is that as a share of the
    way from the value to the end on its side: 1 is the upper end, -1 the lower one; None where
    there is no way. ``standing`` is None where the range is no more than searched or the measured
    value has no uncertainty. ``expanded`` is the expanded uncertainty of the prediction (k = 2),
    ``normalised_error`` E_n; where there is none ``no_error`` says why. ``failed`` is why nothing
    is predicted at all. ``measured_inputs`` are inputs with the record that measured them on the
    same article.
    """

    commit: str | None = None
    day: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    proved: bool = False
    difference: float | None = None
    place: float | None = None
    standing: Standing | None = None
    expanded: float | None = None
    normalised_error: float | None = None
    no_error: str | None = None
    failed: str | None = None
    measured_inputs: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Correlated:
    """A criterion of the project for a comparison: as it is written, whether it is due and kept."""

    within: str
    at: str | None
    source: str | None
    due: bool
    kept: bool


@dataclass(frozen=True, slots=True)
class Compared:
    """A measured quantity of a record beside what an analysis predicts of it.

    ``requirements`` are those that the record is about; ``text`` is the measured value as it was
    written, ``uncertainty`` its expanded uncertainty at the project's coverage factor, None without
    any. ``now`` is by the model of the state that is judged, ``before`` by that of the last commit
    before the day of the test; where that is not known ``no_before`` says why, None where it was
    not asked. ``replaced`` tells that a newer record takes the place of this one.
    """

    record: str
    quantity: str
    analysis: str
    requirements: tuple[str, ...]
    day: str
    document: str | None
    article: tuple[tuple[str, str], ...]
    conditions: tuple[tuple[str, str], ...]
    text: str
    unit: str
    value: float
    uncertainty: float | None
    now: Prediction
    before: Prediction | None = None
    no_before: str | None = None
    explained: Explained | None = None
    replaced: bool = False
    correlated: tuple[Correlated, ...] = ()

    @property
    def difference_unit(self) -> str | None:
        """The unit of a difference of two such values."""
        return difference_unit(self.unit)
