"""Predicted against measured for other programs."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from closeout.model.compared import Compared, Prediction


def compared_json(some: Iterable[Compared]) -> list[dict[str, Any]]:
    """Return comparisons for other programs; numbers are in the unit beside them."""
    return [
        {
            "record": one.record,
            "quantity": one.quantity,
            "analysis": one.analysis,
            "requirements": list(one.requirements),
            "date": one.day,
            "document": one.document,
            "article": dict(one.article),
            "conditions": dict(one.conditions),
            "measured": one.text,
            "unit": one.unit,
            "value": one.value,
            "uncertainty": one.uncertainty,
            "difference_unit": one.difference_unit,
            "predicted": _predicted(one.now),
            "predicted_before": None if one.before is None else _predicted(one.before),
            "not_predicted_before": one.no_before,
            "explained": None if one.explained is None else asdict(one.explained),
            "replaced": one.replaced,
            "correlation": [asdict(criterion) for criterion in one.correlated],
        }
        for one in some
    ]


def _predicted(said: Prediction) -> dict[str, Any]:
    return {
        "commit": said.commit,
        "date": said.day,
        "nominal": _finite(said.value),
        "low": _finite(said.low),
        "high": _finite(said.high),
        "proved": said.proved,
        "difference": _finite(said.difference),
        "place": _finite(said.place),
        "in_range": None if said.standing is None else said.standing.value,
        "uncertainty": _finite(said.expanded),
        "normalised_error": _finite(said.normalised_error),
        "no_normalised_error": said.no_error,
        "failed": said.failed,
        "measured_inputs": dict(said.measured_inputs),
    }


def _finite(value: float | None) -> float | None:
    return value if value is None or math.isfinite(value) else None
