"""The only place that decides: states, codes, cover, close-out; on unrounded numbers."""

from closeout.judge.dossier import Run, judge

__all__ = ["Run", "judge"]
