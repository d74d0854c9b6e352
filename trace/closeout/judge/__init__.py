"""The only place that decides: states, codes, cover, close-out; on unrounded numbers."""

from closeout.judge.contradictions import contradictions
from closeout.judge.dossier import Run, judge
from closeout.judge.doubts import doubts

__all__ = ["Run", "contradictions", "doubts", "judge"]
