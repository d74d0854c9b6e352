"""Findings about predictions: what was measured elsewhere, and what tells little of a model."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from closeout.graph import Index
from closeout.graph.models import QUALIFICATION
from closeout.graph.new_findings import error, warning
from closeout.judge.compared import uncorrelated
from closeout.judge.compared.stated_inputs import resting_on
from closeout.model.compared import Compared, Standing
from closeout.model.dossier import Dossier, RequirementResult
from closeout.model.problem import Finding, Pointer
from closeout.model.records import Method

ACCEPTANCE = "acceptance"
# A range so many times as wide as the uncertainty of the measurement holds almost any value.
COARSE = 10
_EXPLAIN = "write explained: {text, document, by} at the record"


def predictions(dossier: Dossier, index: Index) -> Iterator[Finding]:
    """Yield what is to be said of each comparison with a record that none replaces."""
    for one in dossier.compared:
        if one.replaced or one.record not in index.records:
            continue
        where = index.records[one.record].where / "measured" / one.quantity
        yield from _off(one, dossier.requirements, index, where)
        for text in uncorrelated(one):
            yield warning("not-correlated", where, text, "correlate the model with the test")
        yield from _coarse(one, where)


def _off(
    one: Compared,
    results: Iterable[RequirementResult],
    index: Index,
    where: Pointer,
) -> Iterator[Finding]:
    """Yield that model and measurement disagree, where nobody has explained it."""
    if one.explained is not None:
        return
    now = one.now
    if now.standing is Standing.OUTSIDE:
        said = (
            f"{one.record} measured {one.quantity} = {one.text}, outside of what {one.analysis}"
            f" predicts at its conditions, {_range(one)}"
        )
        weighty = next(_weighty(one, results, index), None)
        if weighty is None:
            cure = f"correct the model or the measurement, or {_EXPLAIN}"
            yield warning("outside-prediction", where, said, cure)
        else:
            yield error("unexplained-difference", where, f"{said}, and {weighty}", _EXPLAIN)
    elif now.normalised_error is not None and abs(now.normalised_error) > 1.0:
        yield warning(
            "normalised-error",
            where,
            f"{one.record} measured {one.quantity} = {one.text}, and {one.analysis} predicts"
            f" {now.value:.6g} {one.unit} with an expanded uncertainty of {now.expanded:.3g}"
            f" {one.difference_unit}: E_n = {now.normalised_error:.3g}",
            f"find out which of the two uncertainties is too small, or {_EXPLAIN}",
        )


def _range(one: Compared) -> str:
    unit = "" if one.unit == "1" else f" {one.unit}"
    return f"{one.now.low:.6g}{unit} to {one.now.high:.6g}{unit}"


def _weighty(one: Compared, results: Iterable[RequirementResult], index: Index) -> Iterator[str]:
    """Yield why a difference that nobody explained keeps the project from being judged."""
    for name in one.requirements:
        for verification in index.requirements[name].verification:
            if one.record in verification.records and verification.stage in (
                QUALIFICATION,
                ACCEPTANCE,
            ):
                yield f"it is a record of {verification.stage} for {name}"
    above = resting_on(one.analysis, index)
    for result in results:
        for entry in result.evidence if result.safety else ():
            spec = index.analyses.get(entry.analysis or "")
            closes = entry.method == Method.ANALYSIS.value and entry.due
            if closes and spec is not None and spec.name in above:
                yield f"{spec.name} closes {result.id} (safety {result.safety}), which is due"


def _coarse(one: Compared, where: Pointer) -> Iterator[Finding]:
    """Yield that almost any value would have been predicted."""
    now, half = one.now, one.uncertainty
    if now.low is None or now.high is None or not half:
        return
    wide = now.high - now.low
    if wide > COARSE * half:
        yield warning(
            "coarse-prediction",
            where,
            f"{one.analysis} predicts {one.quantity} of {one.record} from {_range(one)},"
            f" {wide / half:.3g} times its uncertainty of {half:.3g} {one.difference_unit}:"
            " the comparison tells little",
            "measure inputs of the model on the same article, or narrow their tolerances",
        )
