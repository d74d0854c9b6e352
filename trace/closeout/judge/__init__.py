"""The only place that decides: states, codes, cover, close-out; on unrounded numbers."""

from closeout.graph import Index
from closeout.judge.agreed import disagreements
from closeout.judge.bad_end import not_tested
from closeout.judge.contradictions import contradictions
from closeout.judge.dossier import Run, judge
from closeout.judge.doubts import doubts
from closeout.judge.failures import failures, unreported_logs
from closeout.judge.margins import thin_margins
from closeout.judge.standing import Standing
from closeout.judge.validated import failed_validations
from closeout.judge.waived import waived
from closeout.measure import Units
from closeout.model.dossier import Dossier
from closeout.model.problem import Finding

__all__ = ["Run", "Standing", "failures", "findings", "judge"]


def findings(dossier: Dossier, index: Index, units: Units) -> tuple[Finding, ...]:
    """Return what can be said only of what was judged: each once."""
    found = (
        *contradictions(dossier, index, units),
        *doubts(dossier, index),
        *not_tested(dossier, index, units),
        *thin_margins(dossier, index),
        *waived(dossier, index, units),
        *disagreements(dossier, index),
        *unreported_logs(dossier, index),
        *failed_validations(dossier),
    )
    return tuple(dict.fromkeys(found))
