"""The trace graph: who refers to whom, what does not hold together, and what is to be asked."""

from closeout.graph.acceptance import Acceptance, acceptance
from closeout.graph.bounds import bounds_in, key_of_criterion, key_of_given
from closeout.graph.checks import check
from closeout.graph.cycles import Order, from_below
from closeout.graph.index import Index
from closeout.graph.new_findings import nearest
from closeout.graph.questions import Plan, ask, ask_each, plan, plan_of
from closeout.graph.request import Request
from closeout.graph.required import RequiredMargin, required_margins
from closeout.graph.rests import rests_on

__all__ = [
    "Acceptance",
    "Index",
    "Order",
    "Plan",
    "Request",
    "RequiredMargin",
    "acceptance",
    "ask",
    "ask_each",
    "bounds_in",
    "check",
    "from_below",
    "key_of_criterion",
    "key_of_given",
    "nearest",
    "plan",
    "plan_of",
    "required_margins",
    "rests_on",
]
