"""Reach and layers in random graphs and projects, against a closure that is computed here."""

from __future__ import annotations

from collections.abc import Iterable

from hypothesis import given
from hypothesis import strategies as st

from closeout.graph.impact import Network, may_rest, network
from closeout.graph.impact_edges import Trail, edges
from closeout.graph.index import Index
from closeout.graph.links import limits_found, with_parameters
from closeout.model.amount import Measured, read_amount
from closeout.model.criterion import Condition, Criterion, Limits
from closeout.model.impact import Edge, Kind, Node, Reading
from closeout.model.problem import Pointer
from closeout.model.question import AnalysisSpec, Argument, Field
from closeout.model.records import (
    Charter,
    Link,
    LinkedParameter,
    Method,
    Parameter,
    Project,
    Record,
    Requirement,
    Verification,
)

HERE = Pointer("requirements/all.yaml")
MOST = 5
numbers = st.integers(0, MOST - 1)
some = st.sets(numbers, max_size=3)


def closed(pairs: set[tuple[Node, Node]]) -> set[tuple[Node, Node]]:
    """Return which rests on which over any number of steps, going on until nothing is new."""
    beside: dict[Node, set[Node]] = {}
    for a, b in pairs:
        beside.setdefault(a, set()).add(b)
    whole = {a: set(some) for a, some in beside.items()}
    grown = True
    while grown:
        grown = False
        for some in whole.values():
            more = {c for b in some for c in beside.get(b, ())} - some
            some |= more
            grown = grown or bool(more)
    return {(a, b) for a, some in whole.items() for b in some}


def reached(net: Network, nodes: Iterable[Node]) -> set[tuple[Node, Node]]:
    """Return what is reached upward from each node; the same has to be reached downward."""
    nodes = list(nodes)
    up = {(one, node) for node in nodes for one in net.above([node])}
    assert up == {(node, one) for node in nodes for one in net.below([node])}
    return up


def letter(number: int) -> Node:
    return Node(Kind.PARAMETER, f"p{number}")


@given(st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=20))
def test_reach_of_any_graph_also_with_circles(pairs: set[tuple[int, int]]) -> None:
    every = {(letter(a), letter(b)) for a, b in pairs}
    net = Network(Edge(a, b) for a, b in every)
    nodes = {node for pair in every for node in pair}
    assert reached(net, nodes) == closed(every)


@given(st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=20))
def test_layers_hold_each_node_once_what_rests_before_what_it_rests_on(
    pairs: set[tuple[int, int]],
) -> None:
    every = {(letter(a), letter(b)) for a, b in pairs}
    net = Network(Edge(a, b) for a, b in every)
    nodes = {node for pair in every for node in pair}
    layers = net.layers(nodes)
    place = {node: number for number, layer in enumerate(layers) for node in layer}
    assert sorted(node for layer in layers for node in layer) == sorted(nodes)
    whole = closed(every)
    for a, b in every:
        in_circle = (b, a) in whole
        assert place[a] == place[b] if in_circle else place[a] < place[b]


@given(
    st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=16),
    st.sets(st.integers(0, 7), max_size=3),
)
def test_what_may_rest_on_a_file_is_apart_from_what_is_known_to(
    pairs: set[tuple[int, int]], unread: set[int]
) -> None:
    file = Node(Kind.DATA, "analyses/data/x.csv")
    named = {n: Node(Kind.ANALYSIS, f"a{n}") for n in range(8)}
    every = {(named[a], named[b]) for a, b in pairs} | {(named[0], file)}
    net = Network(Edge(a, b) for a, b in every)
    readings = [Reading(f"a{n}", frozenset(), "it failed" if n in unread else None) for n in named]
    net.add(may_rest([file], net, readings))
    sure = {a for a, b in closed(every) if b == file}
    assert net.surely_above([file]) == sure
    maybe = closed(every | {(named[n], file) for n in unread})
    assert net.above([file]) == {a for a, b in maybe if b == file}


@st.composite
def projects(draw: st.DrawFn) -> tuple[Trail, set[tuple[Node, Node]]]:
    """Return a random project, and what rests directly on what as the drawing itself had it."""
    direct: set[tuple[Node, Node]] = set()
    readings, specs = {}, []
    for n in range(MOST):
        a, module = Node(Kind.ANALYSIS, f"a{n}"), Node(Kind.CODE, f"analyses/a{n}.py")
        takes, opened = draw(some), draw(some)
        specs.append(_spec(n, takes))
        readings[f"a{n}"] = Reading(f"a{n}", frozenset(f"analyses/data/{k}.csv" for k in opened))
        direct |= {(a, module)} | {(a, letter(k)) for k in takes}
        direct |= {(a, Node(Kind.DATA, f"analyses/data/{k}.csv")) for k in opened}
    linked: list[LinkedParameter] = []
    stated: list[Parameter] = []
    for n in range(MOST):
        to = draw(st.sampled_from(["analysis", "record", "limit", "none"]))
        k, user = draw(numbers), letter(n)
        if to == "none":
            stated.append(Parameter(HERE, user.name, read_amount("1 V")))
            continue
        text, node = {
            "analysis": (f"a{k}.q", Node(Kind.QUANTITY, f"a{k}.q")),
            "record": (f"T{k}.q", Node(Kind.RECORD, f"T{k}")),
            "limit": (f"R{k}.q.at_least", Node(Kind.LIMIT, f"R{k}.q.at_least")),
        }[to]
        linked.append(LinkedParameter(HERE, user.name, Link(HERE, (text,))))
        direct.add((user, node))
        if to == "analysis":
            direct.add((node, Node(Kind.ANALYSIS, f"a{k}")))
        if to == "limit":
            direct.add((Node(Kind.REQUIREMENT, f"R{k}"), node))
    records = []
    for n in range(MOST):
        at = draw(some)
        conditions = tuple((f"p{k}", Condition((read_amount("1 V"),))) for k in sorted(at))
        records.append(_record(n, conditions))
        direct |= {(Node(Kind.RECORD, f"T{n}"), letter(k)) for k in at}
    requirements = []
    for n in range(MOST):
        above, tested, asked = draw(some), draw(some), draw(some)
        requirements.append(_requirement(n, above, asked, tested))
        me = Node(Kind.REQUIREMENT, f"R{n}")
        direct |= {(Node(Kind.REQUIREMENT, f"R{k}"), me) for k in above}
        direct |= {(me, Node(Kind.RECORD, f"T{k}")) for k in tested}
        for k in asked:
            quantity = Node(Kind.QUANTITY, f"a{k}.q")
            direct |= {(me, quantity), (quantity, Node(Kind.ANALYSIS, f"a{k}"))}
    project = Project(
        Charter(HERE, "P"), requirements=tuple(requirements), records=tuple(records),
        parameters=tuple(stated), linked=tuple(linked),
    )  # fmt: skip
    index = Index.of(project, specs)
    index = with_parameters(index, limits_found(index))
    return Trail(index, readings), direct


def _spec(n: int, takes: set[int]) -> AnalysisSpec:
    return AnalysisSpec(
        f"a{n}", f"analyses.a{n}", f"a{n}", f"analyses/a{n}.py", 1, "",
        tuple(Argument(f"p{k}", "V") for k in sorted(takes)), (Field("q", "V", False),), (), 1.0,
    )  # fmt: skip


def _record(n: int, conditions: tuple[tuple[str, Condition], ...]) -> Record:
    value = Measured("1 V", read_amount("1 V"), None, None)
    return Record(
        HERE, f"T{n}", Method.TEST, date="2026-01-01", conditions=conditions,
        measured=(("q", value),),
    )  # fmt: skip


def _requirement(n: int, above: set[int], asked: set[int], tested: set[int]) -> Requirement:
    limits = Limits(at_least=read_amount("1 V"))
    verifications = [
        Verification(HERE, Method.ANALYSIS, analysis=f"a{k}", criterion=Criterion("q", limits))
        for k in sorted(asked)
    ]
    records = tuple(f"T{k}" for k in sorted(tested))
    # That the criterion has the limit, which a parameter may take, whatever is asked.
    verifications.append(
        Verification(HERE, Method.TEST, criterion=Criterion("q", limits), records=records)
    )
    return Requirement(
        HERE, f"R{n}", "t", "s", derived_from=tuple(f"R{k}" for k in sorted(above)),
        verification=tuple(verifications),
    )  # fmt: skip


@given(projects())
def test_what_a_project_says_is_what_is_reached(
    drawn: tuple[Trail, set[tuple[Node, Node]]],
) -> None:
    trail, direct = drawn
    assert {(one.user, one.used) for one in edges(trail)} == direct
    net = network(trail)
    nodes = {node for pair in direct for node in pair}
    assert reached(net, nodes) == closed(direct)
    layers = net.layers(nodes)
    place = {node: number for number, layer in enumerate(layers) for node in layer}
    assert place.keys() == nodes
    whole = closed(direct)
    for user, used in direct:
        if user.kind is Kind.QUANTITY or (used, user) in whole:
            assert place[user] == place[used]
        else:
            assert place[user] < place[used]
