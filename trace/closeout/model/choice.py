"""Which requirements a run shows: by identifier, by what is planned, and by their verdicts."""

from __future__ import annotations

from dataclasses import dataclass

from closeout.model.dossier import Compliance, RequirementResult, State

# What a requirement without verifications of its own is, by its code; NA is none of these.
_STATE_OF_CODE = {
    Compliance.C: State.MET,
    Compliance.PC: State.NOT_MET,
    Compliance.NC: State.NOT_MET,
    Compliance.OPEN: State.OPEN,
}


@dataclass(frozen=True, slots=True)
class Choice:
    """Which requirements are shown; ``texts`` is what was asked, as it was written.

    ``names`` are those of which only the verdict may say that they are not; ``needed`` those that
    have to be judged for that. Of levels, reviews, states and codes each is one of so many, and
    where there is none, anything.
    """

    texts: tuple[str, ...]
    names: frozenset[str]
    needed: frozenset[str]
    levels: frozenset[str] = frozenset()
    reviews: frozenset[str] = frozenset()
    states: frozenset[str] = frozenset()
    codes: frozenset[str] = frozenset()

    def shows(self, result: RequirementResult) -> bool:
        """Return whether a requirement is shown, by its identifier and its verdict.

        Level, review and state are those of one of its verifications; of a requirement without any
        the state is what its code says.
        """
        if result.id not in self.names or not _among(result.compliance.value, self.codes):
            return False
        if not (self.levels or self.reviews or self.states):
            return True
        if not result.evidence and not (self.levels or self.reviews):
            return _STATE_OF_CODE.get(result.compliance) in self.states
        return any(
            self.plans(one.level, one.review) and _among(one.state.value, self.states)
            for one in result.evidence
        )

    def plans(self, level: str | None, review: str | None) -> bool:
        """Return whether a verification at a level, due at a review, is one of those asked for."""
        return _among(level or "", self.levels) and _among(review or "", self.reviews)


def _among(value: str, wanted: frozenset[str]) -> bool:
    return not wanted or value in wanted
