"""One case of an analysis, compared with its limits and with the margins that a policy requires."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from closeout.graph import Acceptance, Request, RequiredMargin, acceptance
from closeout.judge.bad_end import bad_end
from closeout.judge.ends import (
    Ends,
    deciding_ends,
    deciding_point,
    is_tight,
    is_undecided,
    settings_at,
    unproved,
)
from closeout.judge.limits import Extremes, Judgement, Shown, compare
from closeout.judge.margins import of_limits, with_margins
from closeout.measure import Units
from closeout.model.answer import Assurance, Extent
from closeout.model.criterion import ExactLimits
from closeout.model.dossier import State

_UNDECIDED = "undecided: the limit lies between the searched and the proved end"


def _undecided(extent: Extent) -> str:
    if extent.cut is None:
        return _UNDECIDED
    names = " and ".join(extent.cut.variables)
    return f"undecided: the ends of {names} were not reached together in a run of the whole chain"


def _reach(extent: Extent) -> tuple[float, float] | None:
    return None if extent.cut is None else (extent.cut.low, extent.cut.high)


class Found(NamedTuple):
    """What a case says of limits, as fields of its evidence, and what that rests on."""

    fields: dict[str, Any]
    extremes: Extremes


@dataclass(frozen=True, slots=True)
class Case:
    """What an analysis answered of one case of a quantity, of whose unit its numbers are."""

    extent: Extent
    request: Request
    unit: str
    shown: Shown

    def against(self, limits: Acceptance, ends: Ends | None = None) -> Found:
        """Return what the case says of limits: state, margin, and what decides.

        ``ends`` are given where they are not those that decide about these limits.
        """
        extent, request, shown = self.extent, self.request, self.shown
        ends = deciding_ends(extent, limits.bounds) if ends is None else ends
        judged = compare(ends.low, ends.high, limits)
        undecided = is_undecided(extent, ends, judged, limits)
        state = State.OPEN if undecided else judged.state
        point = deciding_point(extent, judged, limits)
        at = () if judged.margin is None else settings_at(point, request)
        low, high = ends.shown(shown)
        judged_low, judged_high = self._judged(ends)
        fields = {
            "state": state,
            "assurance": ends.assurance,
            "low": low,
            "high": high,
            "judged_low": judged_low,
            "judged_high": judged_high,
            "margin": shown.margin(judged.margin),
            "at": at,
            "counterexample": at if state is State.NOT_MET else (),
            "bad_end": () if judged.margin is None else bad_end(extent, request, point),
            "tight": is_tight(extent, judged) if ends.assurance is Assurance.BOUNDED else None,
            "unproved": unproved(extent, ends, shown),
        }
        if undecided:
            fields["message"] = _undecided(extent)
        return Found(fields, Extremes(self.unit, ends.low, ends.high, limits, _reach(extent)))

    def _judged(self, ends: Ends) -> tuple[float | None, float | None]:
        """Return the ends with what the model may be off, in the unit of the limits."""
        limits = self.request.acceptance
        if limits.model is None:
            return None, None
        low, high = limits.judged(ends.low, ends.high)
        return self.shown.value(low), self.shown.value(high)

    def beside(self, one: Judgement, margins: Sequence[RequiredMargin], units: Units) -> Judgement:
        """Return evidence of the limits judged with the margins that a policy requires.

        Where an enforced margin is met by what was seen alone, no more is claimed of the limit.
        """
        limits = self.request.verification.criterion.limits

        def against(before: Judgement, exact: ExactLimits) -> Judgement:
            tightened = acceptance(exact, self.request.acceptance.model)
            ends = deciding_ends(self.extent, tightened.bounds)
            found = self.against(tightened, ends)
            if found.fields["state"] is State.MET:
                assert before.extremes is not None
                if (ends.low, ends.high) == (before.extremes.low, before.extremes.high):
                    return before
                found = self.against(self.request.acceptance, ends)
            evidence = replace(before.evidence, **found.fields)
            return before._replace(evidence=evidence, extremes=found.extremes)

        return with_margins(one, margins, of_limits(against, limits, self.unit, units))
