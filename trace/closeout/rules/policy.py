"""What a project's policy does with findings: rules that are off, raised or lowered."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from difflib import get_close_matches

from closeout.graph.findings import error
from closeout.model.problem import Finding, Severity
from closeout.model.records import Charter, RulePolicy

_OFF = "off"
# Names are long, and half of one is mostly enough to know which is meant.
ALIKE = 0.4


@dataclass(frozen=True, slots=True)
class Applied:
    """The findings that are left, and the policies that switched a rule off."""

    findings: tuple[Finding, ...]
    off: tuple[RulePolicy, ...]


def apply(findings: Iterable[Finding], charter: Charter) -> Applied:
    """Return findings as the project's policy has them; rules that are fixed stay as they are."""
    if not charter.policy.rules:  # the pages of all rules are loaded where one is named
        return Applied(tuple(findings), ())
    from closeout.rules.catalogue import BY_NAME

    chosen = {
        policy.rule: policy
        for policy in charter.policy.rules
        if policy.rule in BY_NAME and BY_NAME[policy.rule].adjustable
    }
    kept = tuple(_kept(findings, chosen))
    return Applied(kept, tuple(p for p in chosen.values() if p.severity == _OFF))


def policy_findings(charter: Charter) -> Iterator[Finding]:
    """Yield a finding for a policy that names no rule, or one that holds for every project."""
    if not charter.policy.rules:
        return
    from closeout.rules.catalogue import BY_NAME

    for policy in charter.policy.rules:
        where = charter.where / "policy" / "rules" / policy.rule
        rule = BY_NAME.get(policy.rule)
        if rule is None:
            yield error(
                "unknown-rule", where, f"there is no rule {policy.rule}", suggestion(policy.rule)
            )
        elif not rule.adjustable:
            yield error(
                "fixed-rule",
                where,
                f"{rule.name} is a rule of {rule.kind}: it holds for every project",
                "take it out of the policy, and mend what the rule finds",
            )


def suggestion(name: str) -> str:
    """Return what to do about a rule that is not known: the nearest name, or how to list them."""
    from closeout.rules.catalogue import BY_NAME

    near = get_close_matches(name, BY_NAME, n=1, cutoff=ALIKE)
    return f"did you mean {near[0]}?" if near else "closeout lint --rule all lists the rules"


def _kept(findings: Iterable[Finding], chosen: dict[str, RulePolicy]) -> Iterator[Finding]:
    for finding in findings:
        policy = chosen.get(finding.rule)
        if policy is None:
            yield finding
        elif policy.severity != _OFF:
            yield replace(finding, severity=Severity(policy.severity))
