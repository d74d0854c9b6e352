"""The standing words of the output: legends, how surely, what was judged, the caution."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from typing import TYPE_CHECKING

from closeout.model.answer import Assurance
from closeout.model.dossier import (
    Compliance,
    Dossier,
    Evidence,
    ParameterSaid,
    RequirementResult,
    State,
)
from closeout.model.inputs import InputUsed
from closeout.model.problem import Severity
from closeout.model.question import AnalysisSpec
from closeout.render.plain import count, flow, safe

if TYPE_CHECKING:  # what shows a run that is kept loads no records
    from closeout.model.records import RulePolicy

CAUTION = (
    "Computed support for a decision: it approves nothing. Whether a requirement is verified is "
    "for the authority of the project to say, and work on hardware follows the rules of the site "
    "and licensed practice."
)
CODES = {
    Compliance.C: "compliant",
    Compliance.PC: "partially compliant",
    Compliance.NC: "not compliant",
    Compliance.NA: "not applicable",
    Compliance.OPEN: "not decided yet on the evidence that is due",
}
ASSURANCE = {
    Assurance.BOUNDED: "bounded over the declared tolerances",
    Assurance.SEARCHED: "searched at corners and samples of the declared tolerances, not proved",
    Assurance.LINEARISED: "linearised over the declared tolerances, not proved",
    Assurance.SAMPLED: "sampled over the declared distributions",
    Assurance.NOMINAL: "nominal inputs alone",
}
MEASURED = "measured, less its uncertainty"
# One word for a line of the terminal; the legend below the lines says how far it reaches.
NOT_COMPUTED = "measured"
EXITS = {
    0: "everything that is due is met or covered",
    1: "a shortfall that nothing covers, or something due is open",
    2: "the project, or a part of it, could not be judged",
    3: "a fault of closeout itself",
}
EARLY = "early"
EARLY_MEANS = "closed before anything that it is judged by is due; the code is of all its evidence"
ORDER = (
    "rows: first what is due and not compliant (NC, PC) or open, then shortfalls that are covered"
    " or early, then the rest; each by identifier"
)
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


def vcd_status(code: Compliance) -> str:
    """Return the status of compliance in a verification control document: yes, no, partial."""
    return _VCD_STATUS[code]


def snapshot(dossier: Dossier) -> str:
    """Return what state was judged and at which day: ``working tree at 1e49, as of 2026-11-30``."""
    day = dossier.snapshot.date
    return f"{_state(dossier)}, as of {day}" if day else _state(dossier)


def _state(dossier: Dossier) -> str:
    state = dossier.snapshot
    if state.commit is None:
        return {"index": "git index, no commit yet"}.get(state.kind, "files that no commit holds")
    commit = safe(state.commit[:12])
    place = {"tree": f"working tree at {commit}", "index": f"git index on {commit}"}
    return place.get(state.kind, f"commit {commit}")


def judged(dossier: Dossier) -> str:
    """Return what is judged: what is due at a review, or the whole life."""
    if dossier.review is None:
        return "everything planned, whatever its review"
    return f"what is due at {safe(dossier.review)}"


def shown(dossier: Dossier) -> str | None:
    """Return how many requirements are shown of how many, or None where all of them are."""
    if not dossier.only:
        return None
    asked = " ".join(f"--only {flow(shlex.quote(text))}" for text in dossier.only)
    number, whole = len(dossier.requirements), count(dossier.of, "requirement")
    return f"{number} of {whole}, {asked}: totals and exit status speak of these alone"


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
        return "DRAFT - the state that was judged is held by no commit"
    unheld = ", ".join(map(safe, dossier.snapshot.unheld))
    named = f": read, and in no commit: {unheld}" if unheld else ""
    return f"DRAFT - the state that was judged differs from its commit{named}"


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
            f"{count(errors, 'error')} in the project's files: what they touch is left out"
            " or not judged"
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
    return "DRAFT - judged at a day that was asked for, which is not that of the state itself"


def incomplete(dossier: Dossier) -> str | None:
    """Return that errors keep a part of the project from being judged and which, or None."""
    found = missing(dossier)
    return f"INCOMPLETE - {'; '.join(found)}" if found else None


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
        parts.append(f"{MEASURED}{used}")
    if parts[:1] == ["nominal"] and evidence.assurance is Assurance.NOMINAL:
        del parts[0]
    if evidence.model_uncertainty is not None:
        parts.append(f"less {flow(evidence.model_uncertainty)} of model uncertainty")
    return ", ".join(parts)


def model_uncertainty(spec: AnalysisSpec) -> str:
    """Return what an analysis declares of its model, and for which quantities it declares none."""
    said = dict(spec.model_uncertainty)
    parts = [f"{safe(name)} {flow(text)}" for name, text in said.items()]
    silent = [safe(field.name) for field in spec.fields if field.name not in said]
    if silent:
        parts.append(f"none is declared for {', '.join(silent)}" if said else "none is declared")
    return "; ".join(parts)


def close_out(result: RequirementResult) -> str:
    """Return closed or open, the close-out status over the whole life; or ``closed, early``."""
    if result.early:
        return f"closed, {EARLY}"
    return "closed" if result.closed else "open"


def agreements(result: RequirementResult) -> list[str]:
    """Return what a board agreed as closed of a requirement, and what it is planned to agree."""
    agreed = [f"agreed as closed {text}" for text in result.agreed]
    return agreed + [f"to be agreed as closed {text}" for text in result.to_be_agreed]


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
        f"{count(s.requirements, 'requirement')} by {count(s.verifications, 'verification')}; "
        f"{count(s.analyses, 'analysis', 'analyses')} with "
        f"{count(s.evaluated + s.from_store, 'answer')}; {count(s.parameters, 'parameter')}; "
        f"read from {count(s.files, 'file')}"
    )


def not_kept(dossier: Dossier) -> list[tuple[str, str]]:
    """Return the analyses of which an answer is never kept, with the reasons, each once."""
    found: dict[str, list[str]] = {}
    for evaluation in dossier.evaluations:
        if evaluation.not_kept:
            found.setdefault(evaluation.analysis, []).extend(evaluation.not_kept)
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
        f"no module was imported (--no-code), so these rules were not applied: {', '.join(whole)};"
        f" and these only to what needs no code: {', '.join(partly)}"
    )
