"""JUnit XML, as continuous integration reads it: a test case for each verification and case.

There is no standard of it. Written is what its readers agree on: test suites with properties and
test cases, each with one failure, error or reason why it was skipped. Nothing depends on the clock.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from xml.etree import ElementTree

from closeout.exchange.told import Ended, open_lines, problem_lines, said
from closeout.model.dossier import Dossier, Evidence, RequirementResult, State
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Problem, Severity
from closeout.model.records import RulePolicy
from closeout.render import rows, trail, words
from closeout.render.plain import safe
from closeout.rules.catalogue import RULES

# All that is no Char of XML 1.0, production 2.
_NO_CHAR = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
FAILURE, ERROR, SKIPPED, PASSED = "failure", "error", "skipped", ""


@dataclass(frozen=True, slots=True)
class _Case:
    """A test case: how it ended, in one line, and what is known of it."""

    group: str
    name: str
    end: str = PASSED
    message: str = ""
    lines: tuple[str, ...] = ()


def verify_junit(dossier: Dossier, ended: Ended) -> str:
    """Return a test case for each verification and case, and one for each rule that is broken.

    A case fails where the exit status of ``verify`` says so: what is early, covered or open is
    skipped, with the reason; a rule of which there are warnings alone is passed, and names them.
    """
    properties = {
        "project": dossier.project,
        "review": dossier.review or "all reviews",
        **_properties(ended.state),
        **({"settings": words.settings(dossier)} if dossier.settings else {}),
        "exit status": f"{ended.exit_status}: {words.exit_meaning(ended.exit_status)}",
        "caution": words.CAUTION,
    }
    suites = [_suite("verifications", properties, _verifications(dossier))]
    if ended.problems:
        cases = [_rule(rule, some, PASSED) for rule, some in _by_rule(ended.problems).items()]
        suites.append(_suite("findings", {}, cases))
    return _text(f"closeout verify: {dossier.project}", suites)


def lint_junit(ended: Ended, off: Iterable[RulePolicy], unapplied: Iterable[str]) -> str:
    """Return a test case for each rule; ``unapplied`` are those that need code that was not read.

    One that the project's policy switches off for all items is skipped.
    """
    found = _by_rule(ended.problems)
    skipped = dict.fromkeys(unapplied, "not applied: no module was imported")
    skipped |= {one.rule: f"off by policy: {one.reason}" for one in off if not one.items}
    cases = [
        _Case(f"rule of {RULES[name].kind}", name, SKIPPED, skipped[name])
        if name in skipped and name not in found
        else _rule(name, found.get(name, []), FAILURE)
        for name in RULES
    ]
    return _text("closeout lint", [_suite("rules", _properties(ended.state), cases)])


def _properties(state: SnapshotIdentity) -> dict[str, str]:
    dirty = {True: "yes", False: "no", None: "not under git"}[state.dirty]
    return {
        "snapshot": state.kind,
        "commit": state.commit or "none",
        "changed since the commit": dirty,
        "date": state.date or "unknown",
    }


def _verifications(dossier: Dossier) -> list[_Case]:
    loose, settings = trail.loose(dossier), dict(dossier.settings)
    cases = []
    for result in dossier.requirements:
        seen: Counter[str] = Counter()
        for evidence in result.evidence:
            subject = rows.subject(evidence)
            name = subject if subject == evidence.method else f"{evidence.method}: {subject}"
            seen[name] += 1
            again = f" ({seen[name]})" if seen[name] > 1 else ""
            cases.append(_verification(result, evidence, name + again, settings))
        if result.id in loose:
            why, *more = open_lines(result)
            name = "close-out"
            cases.append(_Case(safe(result.id), name, SKIPPED, f"open: {why}", tuple(more)))
    return cases


def _verification(
    result: RequirementResult, evidence: Evidence, name: str, settings: Mapping[str, str]
) -> _Case:
    """Return a verification; the first line says how it ended, where it is not met."""
    if evidence.state is State.MET:
        return _Case(safe(result.id), name)
    lines = said(evidence, settings)
    if evidence.due and not evidence.closed:
        end = {State.NOT_MET: FAILURE, State.ERROR: ERROR}.get(evidence.state, SKIPPED)
    else:
        end = SKIPPED
    cover = words.cover(evidence)
    message = lines[0] if not cover else f"{lines[0]}, {cover}"
    return _Case(safe(result.id), name, end, message, (safe(result.title), *lines))


def _by_rule(problems: Iterable[Problem]) -> dict[str, list[Problem]]:
    found: dict[str, list[Problem]] = {}
    for problem in problems:
        found.setdefault(problem.rule, []).append(problem)
    return found


def _rule(name: str, found: list[Problem], of_warnings: str) -> _Case:
    """Return a rule and all that breaks it; of warnings alone it ends as ``of_warnings`` says."""
    kind = f"rule of {RULES[name].kind}"
    if not found:
        return _Case(kind, name)
    errors = any(problem.severity is Severity.ERROR for problem in found)
    lines = []
    for problem in found:
        first, *rest = problem_lines(problem)
        lines += [f"{safe(problem.path)}:{problem.line}:{problem.column}: {first}", *rest]
    return _Case(kind, name, ERROR if errors else of_warnings, RULES[name].title, tuple(lines))


def _suite(name: str, properties: Mapping[str, str], cases: list[_Case]) -> ElementTree.Element:
    suite = ElementTree.Element("testsuite", {"name": name, **_counts(case.end for case in cases)})
    if properties:
        below = ElementTree.SubElement(suite, "properties")
        for key, value in properties.items():
            ElementTree.SubElement(below, "property", {"name": key, "value": _characters(value)})
    for case in cases:
        names = {"classname": _characters(case.group), "name": _characters(case.name)}
        element = ElementTree.SubElement(suite, "testcase", names)
        text = _characters("\n".join(case.lines))
        if case.end:
            end = ElementTree.SubElement(element, case.end, {"message": _characters(case.message)})
            end.text = text
        elif text:
            ElementTree.SubElement(element, "system-out").text = text
    return suite


def _counts(ends: Iterable[str]) -> dict[str, str]:
    found = Counter(ends)
    return {
        "tests": str(found.total()),
        "failures": str(found[FAILURE]),
        "errors": str(found[ERROR]),
        "skipped": str(found[SKIPPED]),
    }


def _text(name: str, suites: list[ElementTree.Element]) -> str:
    keys = ("tests", "failures", "errors", "skipped")
    totals = {key: str(sum(int(suite.attrib[key]) for suite in suites)) for key in keys}
    root = ElementTree.Element("testsuites", {"name": _characters(name), **totals})
    root.extend(suites)
    ElementTree.indent(root)
    # Plain characters alone, so that no character of a project's text can act on a terminal.
    text = ElementTree.tostring(root, encoding="us-ascii", xml_declaration=False).decode()
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _characters(text: str) -> str:
    r"""Return a text of characters that XML can hold; others are shown as ``\x1b``."""
    return _NO_CHAR.sub(lambda match: match[0].encode("unicode_escape").decode("ascii"), text)
