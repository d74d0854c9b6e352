"""Predicted against measured for reading: rows of a table, remarks, lines of a terminal, JSON."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from closeout.model.compared import Compared, Correlated, Prediction, Standing
from closeout.model.dossier import Dossier
from closeout.render import rows
from closeout.render.numbers import MARGIN_DIGITS, number, show, show_beside, show_margin, with_unit
from closeout.render.plain import flow, safe
from closeout.render.tables import table
from closeout.render.terminal import Paint, wrap

TITLE = "Predicted against measured"
HEAD = ("model", "nominal", "low", "high", "difference", "place", "in range", "E_n")
STANDINGS = {
    Standing.INSIDE: "inside",
    Standing.ASTRIDE: "astride an end",
    Standing.OUTSIDE: "outside",
}
LEGEND = (
    "Low and high are over the spreads of the inputs, at the conditions of the test. Difference:"
    " measured less nominal. Place: the difference as a share of the way from nominal to the end on"
    " its side, so that 1 is the high and -1 the low end. In range: inside or outside with all of"
    " the measurement's expanded uncertainty, else astride an end. E_n: the difference over the"
    " root sum square of both expanded uncertainties (k = 2); beyond 1 they do not agree (ISO"
    " 13528). A test's verdict does not depend on any of this."
)


@dataclass(frozen=True, slots=True)
class Row:
    """What one model predicts of a measured value, as texts."""

    record: str
    quantity: str
    measured: str
    analysis: str
    model: str
    nominal: str
    low: str
    high: str
    difference: str
    place: str
    standing: str
    error: str

    @property
    def cells(self) -> tuple[str, ...]:
        """The cells below ``HEAD``."""
        return (
            self.model, self.nominal, self.low, self.high,
            self.difference, self.place, self.standing, self.error,
        )  # fmt: skip


def rows_of(one: Compared) -> list[Row]:
    """Return a row for each model that predicts something: today's, and the one before the test."""
    models = [("now", one.now)]
    if one.before is not None:
        models.append((_of_commit(one.before), one.before))
    return [_row(one, name, said) for name, said in models if said.failed is None]


def _of_commit(said: Prediction) -> str:
    return f"of {safe(said.commit or '')[:12]}, {safe(said.day or '')}"


def _row(one: Compared, name: str, said: Prediction) -> Row:
    assert said.value is not None
    assert said.low is not None
    assert said.high is not None
    unit, half = safe(one.unit), one.uncertainty or 0.0
    measured = (one.value, one.value - half, one.value + half)
    _, ends = show_beside(measured, (said.low, said.high), written=False)
    low, high = (with_unit(end, unit) for end in ends)
    return Row(
        record=safe(one.record),
        quantity=safe(one.quantity),
        measured=flow(one.text),
        analysis=safe(one.analysis),
        model=name,
        nominal=show(said.value, unit),
        low=low,
        high=high,
        difference=show_margin(said.difference or 0.0, safe(one.difference_unit or "")),
        place=_beside_one(said.place),
        standing="searched" if said.standing is None and not said.proved
        else STANDINGS[said.standing] if said.standing else "",
        error=_beside_one(said.normalised_error),
    )  # fmt: skip


def _beside_one(value: float | None) -> str:
    """Return a number that its text does not bring to the other side of 1 or -1."""
    if value is None:
        return ""
    (shown,), _ = show_beside((value,), (-1.0, 1.0), MARGIN_DIGITS)
    return shown


def remarks(one: Compared) -> Iterator[str]:
    """Yield what stands beside the rows: conditions, inputs that were measured, what is missing."""
    if one.conditions:
        yield f"made at {rows.pairs(one.conditions)}"
    if one.now.measured_inputs:
        inputs = (f"{safe(name)} ({safe(record)})" for name, record in one.now.measured_inputs)
        yield f"inputs measured on the same article: {', '.join(inputs)}"
    if one.now.failed is not None:
        yield f"not predicted: {flow(one.now.failed)}"
    elif one.now.no_error is not None:
        yield f"no E_n: {flow(one.now.no_error)}"
    before = one.no_before
    if one.before is not None and one.before.failed is not None:
        before = f"{_of_commit(one.before)}: {one.before.failed}"
    if before is not None:
        yield f"model before the test: {flow(before)}"
    elif one.before is not None and _is_same(one.now, one.before):
        yield "both models predict the same"
    if one.explained is not None:
        said = one.explained
        yield f"explained: {flow(said.text)} ({flow(said.document)}, {flow(said.by)})"
    if one.replaced:
        yield f"{safe(one.record)} is replaced by a newer record"
    yield from (_criterion(criterion) for criterion in one.correlated)


def _is_same(now: Prediction, before: Prediction) -> bool:
    return (now.value, now.low, now.high) == (before.value, before.low, before.high)


def _criterion(said: Correlated) -> str:
    at = f" from {safe(said.at)} on" if said.at else ""
    source = f" ({flow(said.source)})" if said.source else ""
    kept = "kept" if said.kept else "not kept" if said.due else "not kept, not due yet"
    return f"correlation within {flow(said.within)}{at}{source}: {kept}"


def compared_lines(dossier: Dossier, name: str, paint: Paint, width: int) -> Iterator[str]:
    """Yield what is predicted and measured of whatever has an identifier, with a heading."""
    some = dossier.compared_for(name)
    left = [pair for pair in unpredicted(dossier) if name in pair.about]
    if not some and not left:
        return
    yield from ("", paint.strong(TITLE))
    for one in some:
        yield from _comparison(one, width)
    if any(one.now.failed is None for one in some):
        yield from map(paint.quiet, wrap(LEGEND, width, 2))
    for pair in left:
        text = f"{safe(pair.record)}  {safe(pair.quantity)} = {flow(pair.text)}"
        yield from wrap(f"{text}: no analysis that verifies a requirement gives it", width, 2)


def _comparison(one: Compared, width: int) -> Iterator[str]:
    of = f"{safe(one.record)}  {safe(one.quantity)} = {flow(one.text)}"
    document = f" ({flow(one.document)})" if one.document else ""
    yield from wrap(f"{of} on {safe(one.day)}{document}, by {safe(one.analysis)}", width, 2)
    found = [row.cells for row in rows_of(one)]
    yield from table(HEAD, found, 4, width)
    for text in remarks(one):
        yield from wrap(text, width, 4)


@dataclass(frozen=True, slots=True)
class Unpredicted:
    """A measured quantity that no analysis predicts; ``about`` are record and requirements."""

    record: str
    quantity: str
    text: str
    about: frozenset[str]


def unpredicted(dossier: Dossier) -> list[Unpredicted]:
    """Return what dated records measured and no analysis predicts."""
    known = {(one.record, one.quantity) for one in dossier.compared}
    naming: dict[str, set[str]] = {}
    for result in dossier.requirements:
        for entry in result.evidence:
            for record in entry.records:
                naming.setdefault(record, set()).add(result.id)
    return [
        Unpredicted(
            record.id, quantity, measured.text,
            frozenset({record.id, *dict(record.judged), *naming.get(record.id, ())}),
        )
        for record in dossier.records
        if record.date is not None
        for quantity, measured in record.measured
        if (record.id, quantity) not in known
    ]  # fmt: skip


def numbers_of(one: Compared) -> list[float]:
    """Return every number of a comparison that a picture has to have room for."""
    half = one.uncertainty or 0.0
    found = [one.value - half, one.value + half]
    for said in (one.now, one.before):
        if said is not None and said.low is not None and said.high is not None:
            found += [said.low, said.high]
    return found


def named(one: Compared) -> str:
    """Return ``TR-BAT-003 full_charge_energy, by full_charge``."""
    return f"{safe(one.record)} {safe(one.quantity)}, by {safe(one.analysis)}"


def ends_of_scale(one: Compared) -> tuple[str, str]:
    """Return the least and the greatest number of a comparison, as texts."""
    found = numbers_of(one)
    unit = safe(one.unit)
    return with_unit(number(min(found)), unit), with_unit(number(max(found)), unit)
