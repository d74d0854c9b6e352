"""Probabilities that no number of samples can show, reported before any is drawn."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph.index import Index
from closeout.graph.new_findings import warning
from closeout.model.probability import probability_text
from closeout.model.problem import Finding


def out_of_reach(index: Index) -> Iterator[Finding]:
    """Yield each verification whose probability stays undecided though every sample passes."""
    for requirement in index.requirements.values():
        for verification in requirement.verification:
            basis = verification.basis
            if basis.probability is None or basis.confidence is None:
                continue
            from closeout.arithmetic.chance.decision import (  # few projects ask for one
                CAP,
                highest,
            )

            most = highest(float(basis.confidence))
            if basis.probability > most:
                yield warning(
                    "probability-out-of-reach",
                    verification.where / "basis",
                    f"{requirement.id} requires the {basis}, and with {CAP} samples, the most that"
                    f" are drawn, at most {probability_text(most)} can be shown: it can be not met"
                    " or open, never met",
                    "judge the worst case; or compute the probability in the analysis, as with"
                    " normal_cdf of closeout.math, and judge that as a quantity",
                )
