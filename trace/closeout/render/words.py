"""The standing words of the output: legends, how surely, what was judged, the caution."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from closeout.model.answer import Assurance
from closeout.model.dossier import (
    Compliance,
    ComputedFound,
    Dossier,
    Evidence,
    ParameterSaid,
    RequirementResult,
    State,
)
from closeout.model.inputs_used import InputUsed
from closeout.model.problem import Severity
from closeout.model.question import AnalysisSpec
from closeout.render.plain import count, flow, safe

if TYPE_CHECKING:  # what shows a stored run loads no records
    from closeout.model.records import RulePolicy

# One line for the terminal; documents and JSON have the long form.
CAUTION_LINE = "Decision support only; not an approval."
CAUTION_WORK = "Work on hardware follows the rules of the site and licensed practice."
CAUTION = (
    f"{CAUTION_LINE} The authority of the project decides whether a requirement is verified."
    f" {CAUTION_WORK}"
)
CODES = {
    Compliance.C: "compliant",
    Compliance.PC: "partially compliant",
    Compliance.NC: "not compliant",
    Compliance.NA: "not applicable",
    Compliance.OPEN: "not decided by the evidence that is due",
}
ASSURANCE = {
    Assurance.BOUNDED: "bounded over the declared tolerances",
    Assurance.SEARCHED: "searched at corners and samples of the declared tolerances, not proved",
    Assurance.LINEARISED: "linearised over the declared tolerances, not proved",
    Assurance.SAMPLED: "sampled over the declared distributions",
    Assurance.NOMINAL: "nominal inputs only",
}
MEASURED = "measured value, judged with its uncertainty"
_DEDUCTED = "measured value, uncertainty deducted"
_ADDED = "measured value, uncertainty added"
_ALONE = "measured value, judged alone"
# One word for a line of the terminal; the legend below the lines says how far it reaches.
NOT_COMPUTED = "measured"
EXITS = {
    0: "everything that is due is met, or under waiver or deviation",
    1: "something due is not met without waiver or deviation, or is open",
    2: "the project, or a part of it, could not be judged",
    3: "internal error of closeout",
}
EARLY = "ahead of plan"
EARLY_MEANS = "closed although nothing of it is due yet; the code is of all its evidence"
ORDER = (
    "rows: first what is due and not compliant (NC, PC) or open, then what is covered (under waiver"
    " or deviation) or ahead of plan, then the rest; each by identifier"
)
# Who signs a document; their lines stay empty, and a person fills them.
ROLES = ("prepared", "checked", "product assurance", "project", "customer")
_VCD_STATUS = {
    Compliance.C: "yes",
    Compliance.PC: "partial",
    Compliance.NC: "no",
    Compliance.NA: "not applicable",
    Compliance.OPEN: "open",
}


def condition(used: InputUsed | ParameterSaid) -> str:
    """Return whether something is a condition, and whether it holds as declared; else nothing."""
    if isinstance(used, InputUsed) and used.as_declared:
        return "condition, as declared"
    if not isinstance(used, InputUsed) and used.condition == "declared":
        return "condition, declared"
    return "condition" if used.condition else ""


def computed(found: ComputedFound) -> str:
    """Return from what an input is computed, and why its ends are not proved, where they are not.

    Of a range between two quantities every value counts, whatever the others are.
    """
    parts = [f"computed from {safe(found.source)}"]
    if found.value is None:
        parts.append(f"no value: {flow(found.unproved)}" if found.unproved else "not evaluated")
    elif found.unproved:
        parts.append(f"searched, not proved: {flow(found.unproved)}")
    return "; ".join(parts)


def estimate(found: ComputedFound, wrong: str | None) -> str:
    """Return what an agreed range is compared with, and whether it contains that."""
    holds = "the agreed range contains it" if wrong is None else flow(wrong)
    return f"estimate by {safe(found.source)}: {holds}"


def contingency(used: InputUsed) -> str:
    """Return what was added to the value of an immature parameter; empty where nothing may be."""
    if not used.contingency:
        return ""
    if used.origin == "set":
        return "no contingency added: value set by --set"
    return f"contingency: {flow(used.contingency)}, included"


@dataclass(frozen=True, slots=True)
class Status:
    """A status of compliance of a control document beside the code of a matrix."""

    word: str
    code: str
    meaning: str


def statuses() -> list[Status]:
    """Return every status with its code, in the order of the codes."""
    return [Status(vcd_status(code), code.value, CODES[code]) for code in Compliance]


def vcd_status(code: Compliance) -> str:
    """Return the status of compliance in a verification control document: yes, no, partial."""
    return _VCD_STATUS[code]


def snapshot(dossier: Dossier) -> str:
    """Return what state was judged and at which day: ``commit 1e49, as of 2026-11-30``."""
    day = dossier.snapshot.date
    return f"{_state(dossier)}, as of {day}" if day else _state(dossier)


def _state(dossier: Dossier) -> str:
    state = dossier.snapshot
    if state.commit is None:
        return {"index": "git index, no commit yet"}.get(state.kind, "files without a commit")
    commit = safe(state.commit[:12])
    place = {"tree": f"working tree on commit {commit}", "index": f"git index on commit {commit}"}
    return place.get(state.kind, f"commit {commit}")


def judged(dossier: Dossier) -> str:
    """Return what is judged: what is due at a review, or the whole life."""
    if dossier.review is None:
        return "status for all reviews"
    return f"status for {safe(dossier.review)}"


def shown(dossier: Dossier) -> str | None:
    """Return how many requirements are shown of how many, or None where all of them are."""
    if not dossier.only:
        return None
    options = " ".join(f"--only {flow(shlex.quote(text))}" for text in dossier.only)
    number, whole = len(dossier.requirements), count(dossier.of, "requirement")
    return f"{number} of {whole}, {options}: totals and exit status are for these only"


def settings(dossier: Dossier) -> str:
    """Return the settings of a what-if as ``a=1 W, b=2``; empty where none was asked."""
    return ", ".join(f"{safe(name)}={flow(text)}" for name, text in dossier.settings)


def banner(dossier: Dossier) -> str | None:
    """Return what makes the dossier a draft or a what-if, or None for a clean commit."""
    if dossier.settings:
        return f"WHAT IF {settings(dossier)} - this is not the state of the project"
    if dossier.snapshot.dirty is False:
        return None
    if dossier.snapshot.commit is None:
        return "DRAFT - the judged state is not committed"
    untracked = ", ".join(map(safe, dossier.snapshot.untracked))
    named = f": read and not committed: {untracked}" if untracked else ""
    return f"DRAFT - the judged state differs from its commit{named}"


def outside(dossier: Dossier) -> list[dict[str, str | None]]:
    """Return the files that were read outside the project, each with its digest."""
    return [{"path": path, "blake2b-256": digest} for path, digest in dossier.outside]


def missing(dossier: Dossier) -> list[str]:
    """Return what errors keep out of a dossier, by name; nothing where everything was judged."""
    errors = sum(problem.severity is Severity.ERROR for problem in dossier.problems)
    lost: dict[str, list[str]] = {}
    for result in dossier.requirements:
        for one in result.evidence:
            if one.state is State.ERROR:
                name = one.quantity or one.record or one.method
                lost.setdefault(result.id, []).append(safe(name))
    found = []
    if errors:
        found.append(
            f"{count(errors, 'error')} in the project's files; what depends on them is not judged"
        )
    if lost:
        names = (f"{safe(id)} ({', '.join(dict.fromkeys(some))})" for id, some in lost.items())
        found.append(f"could not be evaluated: {', '.join(names)}")
    if dossier.unmade:
        found.append(f"could not be made: {', '.join(map(flow, dossier.unmade))}")
    return found


def redated(dossier: Dossier) -> str | None:
    """Return that the dossier is a draft since another day was asked for, or None."""
    if not dossier.redated:
        return None
    return "DRAFT - judged for another day than that of the state (--today)"


def incomplete(dossier: Dossier) -> str | None:
    """Return that errors keep a part of the project from being judged and which, or None."""
    found = missing(dossier)
    return f"INCOMPLETE - {'; '.join(found)}" if found else None


def stamp(dossier: Dossier) -> str:
    """Return in a word or two what stands on every printed page of a dossier; often nothing."""
    found = ["WHAT IF"] if dossier.settings else ["DRAFT"] if dossier.draft else []
    return ", ".join(found + (["INCOMPLETE"] if missing(dossier) else []))


def banners(dossier: Dossier) -> list[str]:
    """Return what stands above everything that a dossier shows."""
    texts = (banner(dossier), redated(dossier), incomplete(dossier))
    return [text for text in texts if text is not None]


def how_sure(evidence: Evidence) -> str:
    """Return basis and assurance, as ``worst case, bounded over the declared tolerances``."""
    parts = [safe(evidence.basis)] if evidence.basis else []
    if evidence.assurance is not None:
        parts.append(ASSURANCE[evidence.assurance])
    elif evidence.record is not None and evidence.value is not None:
        used = "" if evidence.uncertainty is None else f": {flow(evidence.uncertainty)}"
        parts.append(f"{_measured(evidence)}{used}")
    if parts[:1] == ["nominal"] and evidence.assurance is Assurance.NOMINAL:
        del parts[0]
    if evidence.model_uncertainty is not None:
        parts.append(f"model uncertainty {flow(evidence.model_uncertainty)} deducted")
    return ", ".join(parts)


def is_proposed(result: RequirementResult) -> bool:
    """Return whether it is proposed that a requirement does not apply, and not agreed yet."""
    return result.why.startswith("proposed as not applicable")


def _measured(evidence: Evidence) -> str:
    """Return what was done with the uncertainty of a measured value before it was judged."""
    if all(end is None or end == evidence.value for end in (evidence.low, evidence.high)):
        return _ALONE
    if evidence.at_least is not None and evidence.at_most is not None:
        return MEASURED
    return _DEDUCTED if evidence.at_most is None else _ADDED


def model_uncertainty(spec: AnalysisSpec) -> str:
    """Return what an analysis declares of its model, and for which quantities it declares none."""
    said = dict(spec.model_uncertainty)
    parts = [f"{safe(name)} {flow(text)}" for name, text in said.items()]
    silent = [safe(field.name) for field in spec.fields if field.name not in said]
    if silent:
        parts.append(f"none declared for {', '.join(silent)}" if said else "none declared")
    return "; ".join(parts)


def close_out(result: RequirementResult) -> str:
    """Return closed or open, the close-out status over the whole life; or ``closed, ahead of"
    " plan``."""
    if result.early:
        return f"closed, {EARLY}"
    return "closed" if result.closed else "open"


def agreements(result: RequirementResult) -> list[str]:
    """Return what a board agreed as closed of a requirement, and what it is planned to agree."""
    agreed = [f"agreed as closed {text}" for text in result.agreed]
    return agreed + [f"to be agreed as closed {text}" for text in result.to_be_agreed]


def cover(evidence: Evidence) -> str:
    """Return ``under waiver RFW-003`` of what is not met; empty where there is none."""
    if evidence.covered_by is None:
        return ""
    return f"under {evidence.covered_kind or 'waiver'} {safe(evidence.covered_by)}"


def plan_of(evidence: Evidence) -> str:
    """Return method, level, stage and review of a verification in one line."""
    parts = (evidence.method, evidence.level, evidence.stage, evidence.review)
    return ", ".join(safe(part) for part in parts if part)


def totals(dossier: Dossier) -> dict[str, int]:
    """Return the number of requirements by code and of those closed, every code named."""
    found: dict[str, int] = dict.fromkeys((*(code.value for code in Compliance), "closed"), 0)
    for result in dossier.requirements:
        found[result.compliance.value] += 1
        found["closed"] += result.closed
    return {**found, **dossier.totals}


def scale(dossier: Dossier) -> str:
    """Return how much was looked at, which proves that a run was not empty.

    The same whether answers were computed or came from the store; see :func:`work`.
    """
    s = dossier.scale
    return (
        f"{count(s.requirements, 'requirement')}, {count(s.verifications, 'verification')}; "
        f"{count(s.analyses, 'analysis', 'analyses')}, "
        f"{count(s.evaluated + s.from_store, 'evaluation')}; {count(s.parameters, 'parameter')}; "
        f"{count(s.files, 'file')} read"
    )


def not_kept(dossier: Dossier) -> list[tuple[str, str]]:
    """Return the analyses of which an answer is never stored, with the reasons, each once."""
    found: dict[str, list[str]] = {}
    for evaluation in dossier.evaluations:
        if evaluation.not_stored:
            found.setdefault(evaluation.analysis, []).extend(evaluation.not_stored)
    return [(name, "; ".join(dict.fromkeys(reasons))) for name, reasons in found.items()]


def exit_meaning(status: int) -> str:
    """Return what an exit status of ``verify`` says."""
    return EXITS.get(status, "unknown")


def switched_off(off: Iterable[RulePolicy]) -> str:
    """Return in one sentence which rules the project's policy switches off, and why."""
    said = (
        f"{policy.rule}{' for ' if policy.items else ''}{', '.join(policy.items)}"
        f" ({flow(policy.reason)})"
        for policy in off
    )
    return f"off by the project's policy: {safe('; '.join(said))}"


def without_code(whole: Iterable[str], partly: Iterable[str]) -> str:
    """Return in one sentence which rules were not applied since no module was imported."""
    return (
        f"no module imported (--no-code), so these rules were not applied: {', '.join(whole)};"
        f" and these only where no code is needed: {', '.join(partly)}"
    )
