"""The project's own criteria for how near a model comes to what was measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction

from closeout.graph import Index
from closeout.judge.compared.stated_inputs import resting_on
from closeout.measure import UnitError, Units
from closeout.model.amount import Amount
from closeout.model.compared import Compared, Correlated
from closeout.model.dossier import RequirementResult
from closeout.model.records import Correlation, Method


def correlated(one: Compared, index: Index, units: Units, review: str | None) -> Compared:
    """Return a comparison with each criterion that the project has for its quantity."""
    found = tuple(
        _held(one, criterion, index, units, review)
        for criterion in index.project.charter.correlation
        if criterion.quantity == one.quantity and one.now.value is not None
    )
    return replace(one, correlated=found) if found else one


def _held(
    one: Compared, criterion: Correlation, index: Index, units: Units, review: str | None
) -> Correlated:
    return Correlated(
        within=criterion.within.text,
        at=criterion.at,
        source=criterion.source,
        due=_is_due(criterion.at, review, index),
        kept=_is_within(one, criterion.within, index, units),
    )


def _is_due(at: str | None, review: str | None, index: Index) -> bool:
    first, now = index.review_number(at), index.review_number(review)
    return first is None or now is None or now >= first


def _is_within(one: Compared, within: Amount, index: Index, units: Units) -> bool:
    """Return whether measured and predicted are no further apart than is asked for."""
    assert one.now.value is not None
    record = index.records[one.record]
    x, y = dict(record.measured)[one.quantity].value, Fraction(one.now.value)
    try:
        most = units.tolerance(Amount("", y, x.unit), within, x.unit)
    except UnitError:
        return True  # told as a problem where it stands
    return abs(x.number - y) <= most


def marked(
    results: Iterable[RequirementResult],
    compared: Iterable[Compared],
    index: Index,
) -> Iterator[RequirementResult]:
    """Yield results, in which each verification that rests on such a model says so."""
    said = _by_analysis(compared, index)
    for result in results:
        if not said or not any(entry.analysis for entry in result.evidence):
            yield result
            continue
        evidence = tuple(
            replace(entry, not_correlated=said.get(_name(entry.analysis, index), ()))
            if entry.analysis is not None and entry.method == Method.ANALYSIS.value
            else entry
            for entry in result.evidence
        )
        yield replace(result, evidence=evidence)


def _name(analysis: str, index: Index) -> str:
    spec = index.analyses.get(analysis)
    return analysis if spec is None else spec.name


def _by_analysis(compared: Iterable[Compared], index: Index) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for one in compared:
        for text in uncorrelated(one):
            for name in resting_on(one.analysis, index):
                found.setdefault(name, []).append(text)
    return {name: tuple(dict.fromkeys(texts)) for name, texts in found.items()}


def uncorrelated(one: Compared) -> Iterator[str]:
    """Yield each criterion that is due and not kept, in words; none of a replaced record."""
    for criterion in () if one.replaced else one.correlated:
        if criterion.due and not criterion.kept:
            assert one.now.difference is not None
            difference = f"{one.now.difference:+.4g} {one.difference_unit}"
            source = f" ({criterion.source})" if criterion.source else ""
            yield (
                f"{one.analysis} is not correlated: {one.record} measured {one.quantity}"
                f" {difference} from what is predicted, {criterion.within} is allowed{source}"
            )
