"""The trace graph: who refers to whom, what does not hold together, and what is to be asked."""

from closeout.graph.checks import check
from closeout.graph.index import Index
from closeout.graph.questions import Asked, Bounds, Plan, plan

__all__ = ["Asked", "Bounds", "Index", "Plan", "check", "plan"]
