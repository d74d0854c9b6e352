"""What the evaluations of each analysis of a project opened."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from closeout.graph import Request, ask
from closeout.graph.at_declared import at_declared
from closeout.graph.impact_edges import links_of
from closeout.model.impact import Reading
from closeout.model.question import Failure, Question, analyses_of
from closeout.model.reply import Reply
from closeout.run.modules import unusable
from closeout.run.pipeline import Assessment

Replies = Mapping[Question, Reply]
IsFile = Callable[[str], bool]


def readings(assessment: Assessment) -> dict[str, Reading]:
    """Return what the evaluations of each analysis opened, by its name; all have run.

    One that no verification asks is evaluated at the project's values, so that what it reads is
    known all the same.
    """
    replies, waiting = dict(assessment.replies), {}
    asked = {question.analysis for question in replies}
    requests = {
        spec.name: _at_declared(assessment, spec.name)
        for spec in assessment.checked.index.specs
        if spec.name not in asked
    }
    for name, request in requests.items():
        if request.question is None:
            waiting[name] = request.fault or request.pending or "it cannot be asked"
    questions = [one.question for one in requests.values() if one.question is not None]
    specs = {spec.name: spec for spec in assessment.checked.index.specs}
    replies |= assessment.evaluator.answer(questions, specs)

    def is_file(path: str) -> bool:
        return assessment.snapshot.digest(path) is not None

    found = {name: _reading(name, replies, is_file) for name in specs if name not in waiting}
    found |= {name: Reading(name, frozenset(), why) for name, why in waiting.items()}
    return found | {one.analysis: one for one in _unusable(assessment)}


def _at_declared(assessment: Assessment, name: str) -> Request:
    checked = assessment.checked
    verification = at_declared(checked.index.analyses[name], checked.index)
    return ask(verification, checked.index, checked.units, dict(checked.asked.settings))


def _reading(name: str, replies: Replies, is_file: IsFile) -> Reading:
    """Return what was opened where an analysis was asked, without what those below it opened."""
    own, unread = set(), []
    for question, reply in replies.items():
        if question.analysis != name:
            continue
        _, *members = analyses_of(question)
        below = _whole(members, replies)
        own |= {path for path in reply.read or () if path not in below and is_file(path)}
        unread += [_why(reply)]
    reasons = [why for why in unread if why is not None]
    return Reading(name, frozenset(own), reasons[0] if reasons else None)


def _whole(names: Iterable[str], replies: Replies) -> frozenset[str]:
    """Return all that was opened where some analyses were asked."""
    reads = (reply.read or () for one, reply in replies.items() if one.analysis in names)
    return frozenset().union(*reads)


def _why(reply: Reply) -> str | None:
    """Return why it is not known all that an evaluation opened: it failed, or was not watched."""
    if isinstance(reply.result, Failure):
        return f"{reply.result.kind}: {reply.result.message}"
    if reply.read is None:
        return "; ".join(reply.not_stored) or "what it opened was not recorded"
    return None


def _unusable(assessment: Assessment) -> Iterator[Reading]:
    """Yield what is named as an analysis and cannot be used: of its files its module is known."""
    index = assessment.checked.index
    wanted = {verification.analysis for _, _, verification in index.project.verifications()}
    wanted |= {text.rpartition(".")[0] for link in links_of(index) for text in link.quantities}
    for module in assessment.evaluator.modules():
        reasons = {function: failure.message for function, failure in module.failures}
        for name in unusable([module], assessment.snapshot):
            if name in wanted and name not in index.analyses:
                why = reasons.get(name.rpartition(".")[2]) or reasons.get(None) or ""
                yield Reading(name, frozenset({module.path}), f"cannot be used: {why}")
