"""The only place that decides: states, codes, cover, close-out; on unrounded numbers."""

from closeout.judge.dossier import Run, evidence_of, judge
from closeout.judge.findings import findings_of
from closeout.judge.findings.failures import failures
from closeout.judge.validity import Validity

__all__ = ["Run", "Validity", "evidence_of", "failures", "findings_of", "judge"]
