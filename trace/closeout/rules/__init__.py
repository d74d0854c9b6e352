"""Rules of the standards and of wording: what can be said of a project without running anything."""

from closeout.rules.check import check_rules
from closeout.rules.context import Context
from closeout.rules.policy import Applied, apply, policy_findings

__all__ = ["Applied", "Context", "apply", "check_rules", "policy_findings"]
