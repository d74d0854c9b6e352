"""What a change would open again: evidence by records, measured inputs, analyses, their tests.

A record is compared with a project in which the change has been made, so that nothing is said here
that the verdicts would not say then. Re-verification: ECSS-E-ST-10-02C Rev.1, 5.4.3.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from closeout.graph.assessed import to_be_assessed
from closeout.graph.cites import citing, rests_on
from closeout.graph.impact_edges import file_node
from closeout.graph.index import Index
from closeout.judge.measured_inputs import measured_inputs
from closeout.judge.records import in_force
from closeout.judge.validity import Validity
from closeout.model.amount import Amount
from closeout.model.dossier import Dossier, State
from closeout.model.impact import Again, Kind, Node, OpenAgain, told
from closeout.model.issue import following
from closeout.model.records import Record, Requirement, Spread, Verification, build_text

_NEXT = "(the next)"  # a build that no record was made on
_FAR = 10**3  # times the value: outside of whatever window a test has

Says = Callable[[Record], str]
Key = tuple[str, int]


class _Present:
    """A project as it is: which verifications name a record, which parameters one measured."""

    def __init__(self, validity: Validity) -> None:
        self.validity = validity
        self.index = validity.index
        self.naming: dict[str, list[Key]] = {}
        for requirement, number, verification in _verifications(self.index):
            for name in verification.records:
                self.naming.setdefault(name, []).append((requirement.id, number))
        self._linked = {one.id: one for one in self.index.project.linked}

    def lost(
        self, node: Node, then: Validity, keys: Iterable[Key], records: Collection[str], says: Says
    ) -> Iterator[OpenAgain]:
        """Yield what counts today and would not then.

        Args:
            keys: the verifications to be looked at
            records: those of which measured inputs are
            says: tells what a record was made of
        """
        some = dict.fromkeys(keys)
        gone = _counting(self.validity, some) - _counting(then, some)
        for requirement, number, name in sorted(gone):
            detail = says(self.index.records[name])
            yield OpenAgain(node, Again.REOPENED, name, requirement, number, detail)
        for parameter in sorted(self._inputs(records) - self._measured(records, then)):
            name = self.index.parameters[parameter].record or ""
            detail = f"{name} {says(self.index.records[name])}"
            yield OpenAgain(node, Again.WAITING, parameter, detail=detail)

    def _inputs(self, records: Collection[str]) -> frozenset[str]:
        """Return the parameters that have their number from some records."""
        return frozenset(
            name
            for name in self._linked
            if name in self.index.parameters and self.index.parameters[name].record in records
        )

    def _measured(self, records: Collection[str], then: Validity) -> frozenset[str]:
        """Return which of them would still have one."""
        linked = {name: self._linked[name] for name in self._inputs(records)}
        index = replace(then.index, linked=linked)
        return frozenset(measured_inputs(replace(then, index=index)).parameters)

    def keys(self, records: Iterable[str]) -> list[Key]:
        """Return the verifications that name some records."""
        return [key for name in records for key in self.naming.get(name, ())]


def open_again(
    roots: Collection[Node], above: Iterable[Node], validity: Validity
) -> tuple[OpenAgain, ...]:
    """Return what a change of some nodes would open again; ``above`` is what rests on them."""
    present = _Present(validity)
    reached = told(list({*roots, *above}))
    found: list[OpenAgain] = []
    for node in told(roots):
        found += _of_root(node, present)
    # What a parameter is found by changes it as well.
    for node in reached:
        if node.kind is Kind.PARAMETER:
            found += _of_condition(node, present)
    for node in reached:
        if node.kind is Kind.ANALYSIS:
            found += _of_analysis(node, validity.index)
    return tuple(dict.fromkeys(found))


def open_now(
    nodes: Collection[Node], concerned: Mapping[str, Collection[int]], dossier: Dossier
) -> Iterator[OpenAgain]:
    """Yield the verifications by some records that are open, with the reason; none to come."""
    planned = {one.id for one in dossier.records if one.date is None}
    names = {node.name for node in nodes if node.kind is Kind.RECORD}
    for result in dossier.requirements:
        for entry in result.evidence if result.id in concerned else ():
            is_open = entry.state is State.OPEN and entry.number in concerned[result.id]
            if is_open and entry.record not in (None, *planned) and entry.message:
                node = Node(Kind.REQUIREMENT, result.id)
                name = entry.record or ""
                if name in names or node in nodes:
                    yield OpenAgain(
                        node, Again.OPEN_NOW, name, result.id, entry.number, entry.message
                    )


def _of_root(node: Node, present: _Present) -> Iterator[OpenAgain]:
    match node.kind:
        case Kind.ARTICLE:
            yield from _of_article(node, present)
        case Kind.REQUIREMENT:
            yield from _of_requirement(node, present)
        case Kind.CODE | Kind.DATA:
            yield from _of_data(node, present)
        case Kind.DOCUMENT:
            yield from _of_document(node, present.index)
        case Kind.RECORD:
            for requirement, number in present.keys([node.name]):
                yield OpenAgain(node, Again.JUDGED, node.name, requirement, number)


def _of_article(node: Node, present: _Present) -> Iterator[OpenAgain]:
    index = present.index
    article = index.articles.get(node.name)
    if article is None or article.build is None:
        return  # of one whose build is not given no record can be of another
    articles = {**index.articles, node.name: replace(article, build=_NEXT)}
    then = replace(present.validity, index=replace(index, articles=articles))
    builds = {
        record.id: dict(record.article)[node.name]
        for record in index.records.values()
        if node.name in dict(record.article)
    }

    def made_on(record: Record) -> str:
        return f"made on {build_text(builds[record.id])}"

    yield from present.lost(node, then, present.keys(builds), builds, made_on)


def _of_requirement(node: Node, present: _Present) -> Iterator[OpenAgain]:
    index, one = present.index, present.index.requirements[node.name]
    raised = replace(one, issue=following(one.issue) or f"{one.issue}.1")
    requirements = {**index.requirements, node.name: raised}
    then = replace(present.validity, index=replace(index, requirements=requirements))

    def judged(record: Record) -> str:
        issue = dict(record.judged).get(one.id)
        return f"judged issue {issue}" if issue else "names no issue that it judged"

    applies = one.not_applicable is None
    keys = [(one.id, number) for number in range(len(one.verification)) if applies]
    yield from present.lost(node, then, keys, (), judged)


def _of_data(node: Node, present: _Present) -> Iterator[OpenAgain]:
    """Yield what rests on the digest of a data file; without one a change is not noticed."""
    records = [
        record
        for record in present.index.records.values()
        if record.data is not None and file_node(record.data) == node
    ]
    noticed = {record.id for record in records if record.data_sha256 is not None}
    then = replace(present.validity, altered=present.validity.altered | noticed)
    keys = present.keys(sorted(noticed))
    yield from present.lost(node, then, keys, noticed, lambda _: "keeps its digest")
    for record in records:
        if record.id not in noticed:
            yield OpenAgain(node, Again.UNNOTICED, record.id)


def _of_document(node: Node, index: Index) -> Iterator[OpenAgain]:
    """Yield what is to be assessed against a new issue, also what is derived, and what is not.

    Where a requirement does not say against which issue it was held, nobody is told of a new one.
    """
    document, cites = index.documents[node.name], citing(node.name)
    raised = following(document.issue or "") or (document.issue and f"{document.issue}.1")
    documents = {**index.documents, node.name: replace(document, issue=raised)}
    then = to_be_assessed(replace(index, documents=documents)) if raised else {}
    for requirement in index.requirements.values():
        own = rests_on(node.name, requirement, cites)
        if requirement.id in then.keys() - to_be_assessed(index).keys():
            detail = "" if own else "derived"
            yield OpenAgain(node, Again.ASSESS, requirement.id, requirement.id, detail=detail)
        elif own and requirement.id not in then:
            yield OpenAgain(node, Again.UNNOTICED, requirement.id, requirement.id)


def _of_condition(node: Node, present: _Present) -> Iterator[OpenAgain]:
    """Yield the records that were run at the present value of a parameter."""
    index = present.index
    parameter = index.parameters.get(node.name)
    stated = {
        record.id: str(dict(record.conditions)[node.name])
        for record in index.records.values()
        if node.name in dict(record.conditions)
    }
    if parameter is None or not stated:
        return

    def run_at(record: Record) -> str:
        return f"run at {stated[record.id]}"

    left: set[OpenAgain] = set()
    for sign in (-1, 1):  # a test may be harsher on one of the two sides
        number = sign * (abs(parameter.value.number) + 1) * _FAR
        far = Amount(f"{number} {parameter.value.unit}", number, parameter.value.unit)
        moved = replace(parameter, value=far, spread=Spread())
        parameters = {**index.parameters, node.name: moved}
        then = replace(present.validity, index=replace(index, parameters=parameters))
        left |= set(present.lost(node, then, present.keys(stated), (), run_at))
    yield from sorted(left, key=lambda one: (one.requirement or "", one.number or 0, one.about))


def _of_analysis(node: Node, index: Index) -> Iterator[OpenAgain]:
    spec = index.analyses.get(node.name)
    yield OpenAgain(node, Again.EVALUATED, node.name)
    for path in () if spec is None else spec.validated_by:
        yield OpenAgain(node, Again.TEST, path)


def _counting(validity: Validity, keys: Iterable[Key]) -> frozenset[tuple[str, int, str]]:
    """Return requirement, number and record of each record that counts for some verifications."""
    found = set()
    for name, number in keys:
        requirement = validity.index.requirements[name]
        for record in in_force(requirement, requirement.verification[number], validity):
            found.add((name, number, record.id))
    return frozenset(found)


def _verifications(index: Index) -> Iterator[tuple[Requirement, int, Verification]]:
    for requirement in index.requirements.values():
        if requirement.not_applicable is None:
            for number, verification in enumerate(requirement.verification):
                yield requirement, number, verification
