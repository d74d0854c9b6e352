"""What a run tells a program: problems and verdicts that need attention, in one form.

A problem keeps the name of its rule. A verdict is told under one of three names of its own: a
shortfall, a verification that is due and open, and one that could not be evaluated.

The fingerprint of a problem is of its rule, its file and its message without line numbers; that of
a verdict of requirement, method, level, stage, quantity and case. Equal ones are numbered.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from closeout.model.dossier import Dossier, Evidence, RequirementResult, State
from closeout.model.identity import SnapshotIdentity
from closeout.model.problem import Pointer, Problem
from closeout.render import trail, words
from closeout.render.plain import flow, safe, safe_lines
from closeout.render.terminal import evidence_lines

NOT_MET = "not-met"
DUE_AND_OPEN = "due-and-open"
NOT_EVALUATED = "verification-error"
ERROR, WARNING, NOTE = "error", "warning", "note"
ACTIONS = {
    NOT_MET: "correct what the margin rests on, as closeout explain {} shows it, or accept the"
    " shortfall by a waiver or deviation",
    DUE_AND_OPEN: "give the evidence that is missing; closeout explain {} shows what that is",
    NOT_EVALUATED: "correct the analysis or its inputs, as closeout explain {} shows them",
}
# Lines are not broken: whoever shows them has a width of his own.
_WIDE = 1 << 30
# Where a message names a line of a file, which may move while the same thing is wrong.
_LINE = re.compile(r"\bline \d+|(?<=\.py):\d+|(?<=\.yaml):\d+(:\d+)?")
_FINGERPRINT = 16  # bytes


@dataclass(frozen=True, slots=True)
class Place:
    """A line of a file and a column in it, both from 1; the column counts UTF-16 code units."""

    path: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Ended:
    """What a command looked at, and how it ended.

    The columns of ``problems`` count UTF-16 code units. ``folder`` is the way from the top of the
    repository to the project, with a slash at its end; empty where that is one place.
    """

    command: str
    state: SnapshotIdentity
    exit_status: int
    problems: tuple[Problem, ...]
    folder: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that is told: under which name, how grave, in which words, and where.

    ``lines`` are the words, ``accepted`` by what it is covered. ``fingerprint`` stays while it is
    the same thing, wherever in its file that stands.
    """

    rule: str
    level: str
    lines: tuple[str, ...]
    place: Place | None
    fingerprint: str
    accepted: str = ""


def problems_told(ended: Ended) -> list[Told]:
    """Return every problem, in the order of the places; equal ones are told apart by that order."""
    marks = _Fingerprints()
    return [
        Told(
            problem.rule,
            problem.severity.value,
            problem_lines(problem),
            Place(problem.path, problem.line, problem.column),
            marks.of("problem", problem.rule, problem.path, _LINE.sub("", problem.message)),
        )
        for problem in ended.problems
    ]


def problem_lines(problem: Problem) -> tuple[str, ...]:
    """Return message and cure; the traceback of an import stays as Python writes it."""
    if problem.cure.startswith("Traceback"):
        return flow(problem.message), *safe_lines(problem.cure.strip("\n"))
    return flow(problem.message), *([f"action: {flow(problem.cure)}"] if problem.cure else [])


def verdicts_told(dossier: Dossier, places: Mapping[Pointer, Place]) -> list[Told]:
    """Return what :func:`attention` names, in the order of the dossier, at its places."""
    marks, settings = _Fingerprints(), dict(dossier.settings)
    told = []
    for result, evidence, rule in attention(dossier):
        where = result.place_of(evidence)
        same = (evidence.method, evidence.level, evidence.stage, evidence.quantity, evidence.case)\
            if evidence else ()  # fmt: skip
        told.append(
            Told(
                rule,
                _level(rule, evidence),
                _verdict_lines(result, evidence, rule, settings),
                None if where is None else places.get(where),
                marks.of("verdict", rule, result.id, *(part or "" for part in same)),
                words.cover(evidence) if evidence else "",
            )
        )
    return told


def attention(dossier: Dossier) -> Iterator[tuple[RequirementResult, Evidence | None, str]]:
    """Yield each verdict that needs attention, and the name under which it is told.

    These are all shortfalls, also early and covered ones, and of what is due what is open or could
    not be evaluated. None stands for a requirement that is open though none of its evidence is.
    """
    loose = trail.loose(dossier)
    for result in dossier.requirements:
        for evidence in result.evidence:
            rule = _rule(evidence)
            if rule is not None:
                yield result, evidence, rule
        if result.id in loose:
            yield result, None, DUE_AND_OPEN


def _rule(evidence: Evidence) -> str | None:
    if evidence.state is State.NOT_MET:
        return NOT_MET
    if not evidence.due:
        return None
    return {State.OPEN: DUE_AND_OPEN, State.ERROR: NOT_EVALUATED}.get(evidence.state)


def _level(rule: str, evidence: Evidence | None) -> str:
    """Return how grave it is: what is covered is no shortfall, and what is early no error yet."""
    if evidence is not None and evidence.closed:
        return NOTE
    if rule == DUE_AND_OPEN or (evidence is not None and not evidence.due):
        return WARNING
    return ERROR


def _verdict_lines(
    result: RequirementResult, evidence: Evidence | None, rule: str, settings: Mapping[str, str]
) -> tuple[str, ...]:
    """Return a verdict as the terminal says it, with the requirement in front and what to do."""
    first, *rest = open_lines(result) if evidence is None else said(evidence, settings)
    action = ACTIONS[rule].format(safe(result.id))
    end = [] if evidence is not None and evidence.closed else [f"action: {action}"]
    return f"{safe(result.id)} {safe(result.title)}: {first}", *rest, *end


def open_lines(result: RequirementResult) -> tuple[str, ...]:
    """Return why a requirement is open though none of its evidence is."""
    reports = (f"{safe(name)}: {flow(became)}" for name, became in result.reported)
    return flow(result.why) or "open", *reports


def said(evidence: Evidence, settings: Mapping[str, str]) -> tuple[str, ...]:
    """Return what was asked and found, as the terminal says it."""
    return tuple(line.strip() for line in evidence_lines(evidence, _WIDE, settings))


class _Fingerprints:
    """Digests of what things are; of equal ones the second and further ones are numbered."""

    def __init__(self) -> None:
        self._seen: Counter[tuple[str, ...]] = Counter()

    def of(self, *parts: str) -> str:
        """Return the digest of the next thing that these parts name."""
        self._seen[parts] += 1
        text = "\0".join((*parts, str(self._seen[parts])))
        content = text.encode("utf-8", "surrogatepass")
        return hashlib.blake2b(content, digest_size=_FINGERPRINT).hexdigest()
