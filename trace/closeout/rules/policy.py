"""What a project's policy does with findings: rules that are off, raised or lowered."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches

from closeout.graph import Index
from closeout.graph.new_findings import alike, error, warning
from closeout.model.problem import Finding, Pointer, Severity
from closeout.model.records import RulePolicy

_OFF = "off"
# Names are long, and half of one is mostly enough to know which is meant.
ALIKE = 0.4


@dataclass(frozen=True, slots=True)
class Applied:
    """The findings that are left, and the policies that switched a rule off."""

    findings: tuple[Finding, ...]
    off: tuple[RulePolicy, ...]


def apply(findings: Iterable[Finding], index: Index) -> Applied:
    """Return findings as the project's policy has them; rules that are fixed stay as they are."""
    rules = index.project.charter.policy.rules
    if not rules:  # a page is read for each rule that is named
        return Applied(tuple(findings), ())
    from closeout.rules.catalogue import RULES

    chosen = {
        policy.rule: policy
        for policy in rules
        if policy.rule in RULES and RULES[policy.rule].adjustable
    }
    adjusted = tuple(_adjusted(findings, chosen, index))
    return Applied(adjusted, tuple(p for p in chosen.values() if p.severity == _OFF))


def policy_findings(index: Index, findings: Iterable[Finding] = ()) -> Iterator[Finding]:
    """Yield a finding for a policy that names no rule, one that holds for all, or no item.

    What ``findings`` are about may be named too, though it is not there any more.
    """
    charter = index.project.charter
    if not charter.policy.rules:
        return
    from closeout.rules.catalogue import RULES

    known = {*_items(index).values(), *index.analyses, *(one.item for one in findings if one.item)}
    for policy in charter.policy.rules:
        where = charter.where / "policy" / "rules" / policy.rule
        rule = RULES.get(policy.rule)
        if rule is None:
            yield error(
                "unknown-rule", where, f"there is no rule {policy.rule}", suggestion(policy.rule)
            )
        elif not rule.adjustable:
            yield error(
                "fixed-rule",
                where,
                f"{rule.name} is a rule of {rule.kind}: it applies to every project",
                "remove it from the policy, and correct what the rule finds",
            )
        for number, item in enumerate(policy.items):
            yield from _item_findings(item, where / "for" / number, index, known)


def _item_findings(
    item: str, where: Pointer, index: Index, known: Collection[str]
) -> Iterator[Finding]:
    """Yield a finding for an item that is not there, or that has another issue by now."""
    name, issue = _name_and_issue(item)
    now = index.requirements.get(name)
    if index.is_absent(name, known) and not index.may_be_analysis(name):
        renamed = {old: new for of in index.renamed.values() for old, new in of.items()}
        near = alike(name, known, renamed)
        yield error(
            "dangling-reference",
            where,
            f"no item of the project is named {name}",
            f"did you mean {near}?" if near else "name an item with a finding of this rule",
        )
    elif issue is not None and now is not None and now.issue != issue:
        yield warning(
            "policy-of-nothing",
            where,
            f"it is for issue {issue} of {name}, which is now at issue {now.issue}",
            "remove it, or give the reason for the new issue",
        )


def _name_and_issue(item: str) -> tuple[str, str | None]:
    """Return an item's identifier, and the issue that a policy is for alone, if it says one."""
    name, word, issue = item.partition(" issue ")
    return (name.strip(), issue.strip()) if word else (item, None)


def suggestion(name: str) -> str:
    """Return what to do about a rule that is not known: the nearest name, or how to list them."""
    from closeout.rules.catalogue import RULES

    near = get_close_matches(name, RULES, n=1, cutoff=ALIKE)
    return f"did you mean {near[0]}?" if near else "closeout lint --rule all lists the rules"


def _adjusted(
    findings: Iterable[Finding], chosen: Mapping[str, RulePolicy], index: Index
) -> Iterator[Finding]:
    some = any(policy.items for policy in chosen.values())
    items = _items(index) if some else {}
    meant = {name: _meant(policy, index) for name, policy in chosen.items()}
    for finding in findings:
        policy = chosen.get(finding.rule)
        if policy is None or (policy.items and _item(finding, items) not in meant[policy.rule]):
            yield finding
        elif policy.severity != _OFF:
            yield replace(finding, severity=Severity(policy.severity))


def _meant(policy: RulePolicy, index: Index) -> set[str]:
    """Return the items of a policy; an analysis, which has two names, by the one that is shown.

    One of another issue than the requirement has by now is none of them.
    """
    specs, found = index.analyses, set()
    for name, issue in map(_name_and_issue, policy.items):
        now = index.requirements.get(name)
        if issue is None or (now is not None and now.issue == issue):
            found.add(specs[name].name if name in specs else name)
    return found


def _items(index: Index) -> dict[Pointer, str]:
    """Return the identifiers of the project's items and the names of its analyses, by place."""
    project = index.project
    items = (
        project.requirements, project.records, project.nonconformances, project.waivers,
        project.parameters, project.linked, project.documents, project.articles,
    )  # fmt: skip
    found = {item.where: item.id for some in items for item in some}
    return found | {Pointer(spec.path, (spec.line,)): spec.name for spec in index.specs}


def _item(finding: Finding, items: Mapping[Pointer, str]) -> str | None:
    """Return what a finding is of: the item that its place stands in, if it says no other."""
    path, steps = finding.where.path, finding.where.steps
    if finding.item is not None:
        return finding.item
    return items.get(Pointer(path, steps[:2])) or items.get(Pointer(path, steps[:1]))
