"""The only place that decides: states, codes, cover, close-out; on unrounded numbers."""

from closeout.judge.contradictions import contradictions
from closeout.judge.dossier import Run, judge

__all__ = ["Run", "contradictions", "judge"]
