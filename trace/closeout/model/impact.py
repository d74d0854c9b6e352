"""What rests on an item of a project, what it rests on, and what a change of it opens again.

A node is an item, a file, or a quantity of an analysis; an edge says that one rests on another.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from closeout.model.dossier import Dossier
from closeout.model.records import Document


class Kind(StrEnum):
    """What a node is; in the order in which nodes are told."""

    REQUIREMENT = "requirement"
    LIMIT = "limit"
    QUANTITY = "quantity"
    ANALYSIS = "analysis"
    PARAMETER = "parameter"
    RECORD = "record"
    ARTICLE = "article"
    DOCUMENT = "document"
    CODE = "code file"
    DATA = "data file"
    TEST = "test file"


FILES = (Kind.CODE, Kind.DATA, Kind.TEST)
_PLACE = {kind: number for number, kind in enumerate(Kind)}


class Node(NamedTuple):
    """An item by its identifier, a file by its path, a quantity as ``analysis.quantity``.

    A limit is ``requirement.quantity.at_least``; what takes it rests on it, and not on the verdict
    of the requirement.
    """

    kind: Kind
    name: str


def told(nodes: Collection[Node]) -> tuple[Node, ...]:
    """Return nodes in the order in which they are told: by kind, then by name."""
    return tuple(sorted(nodes, key=lambda node: (_PLACE[node.kind], node.name)))


class Edge(NamedTuple):
    """That one node rests on another.

    ``certain`` is False where it may: it is not known all that an analysis has read.
    """

    user: Node
    used: Node
    certain: bool = True


class Reading(NamedTuple):
    """The project's files that the evaluations of an analysis opened itself.

    What analyses below it opened is theirs. ``unread`` is why there may be more, None where that is
    all.
    """

    analysis: str
    files: frozenset[str]
    unread: str | None = None


class Named(NamedTuple):
    """What a name that was asked for leads to; ``note`` says how, where it is not the name of it.

    ``added`` and the like of a range of commits are such notes.
    """

    text: str
    nodes: tuple[Node, ...]
    note: str = ""


class Again(StrEnum):
    """What is to be done again where something changes."""

    REOPENED = "re-opened"  # evidence by a record that counts today
    WAITING = "waiting"  # a measured input would have no number
    UNNOTICED = "unnoticed"  # no digest of a data file, no issue of a document is kept
    ASSESS = "assess"  # a requirement against the new issue of its source
    JUDGED = "judged"  # a verification by a record that is corrected
    EVALUATED = "evaluated"  # an analysis
    TEST = "test"  # of validation
    OPEN_NOW = "open now"  # what a range of commits has left open


class OpenAgain(NamedTuple):
    """One thing that a change would open, or have done, again.

    ``changed`` is what changes: a root, or what rests on it. ``about`` is what is to be done again:
    a record, an analysis, a test file, a parameter. ``requirement`` and ``number`` are the
    verification that it is for, where it is for one; ``detail`` is what the record says (its build,
    issue, condition), or why.
    """

    changed: Node
    what: Again
    about: str
    requirement: str | None = None
    number: int | None = None
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Impact:
    """What rests on what was asked for, and what that rests on; each node once, as it is told.

    ``above`` and ``below`` leave out the ``roots`` themselves. ``may`` are those of ``above`` that
    may rest on a root, and are not known to. ``edges`` are those among all of them. ``layers`` hold
    the same nodes so that what rests on another stands before it, a quantity with its analysis.
    ``concerned`` are the verifications of each requirement in ``above`` or ``roots`` that rest on
    a root, by their numbers; empty where only derived requirements do. ``gone`` are items that a
    range of commits removed, ``others`` its changed files on which nothing rests; ``recharted`` is
    True where it changed, or was asked for, what the project holds itself to (key ``project:``), on
    which all verdicts rest. ``assess`` says of requirements against which new issue of a document
    they are to be assessed. ``unread`` are analyses of which it is not known all that they read,
    and why. ``since`` is the earlier commit of a range.
    """

    dossier: Dossier
    asked: tuple[Named, ...]
    above: tuple[Node, ...]
    below: tuple[Node, ...]
    may: frozenset[Node]
    edges: tuple[Edge, ...]
    layers: tuple[tuple[Node, ...], ...]
    concerned: Mapping[str, tuple[int, ...]]
    open_again: tuple[OpenAgain, ...] = ()
    unread: tuple[tuple[str, str], ...] = ()
    documents: tuple[Document, ...] = ()
    gone: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    since: str | None = None
    recharted: bool = False
    assess: Mapping[str, str] = field(default_factory=dict)

    @property
    def roots(self) -> tuple[Node, ...]:
        """What was asked for, each node once, in the order in which it was."""
        return tuple(dict.fromkeys(node for named in self.asked for node in named.nodes))

    def box(self, node: Node) -> Node:
        """Return the analysis of a quantity, as far as it is here; of any other node that node."""
        if node.kind is not Kind.QUANTITY:
            return node
        return next((one.used for one in self.edges if one.user == node), node)

    @property
    def requirements(self) -> tuple[str, ...]:
        """The requirements that rest on what was asked for, not those that were asked for."""
        return tuple(one.name for one in self.above if one.kind is Kind.REQUIREMENT)


class Idle(NamedTuple):
    """Something that no requirement rests on, and what else does, if anything."""

    node: Node
    only: tuple[Node, ...] = ()


@dataclass(frozen=True, slots=True)
class Unused:
    """What no requirement rests on; ``unread`` as of an :class:`Impact`."""

    dossier: Dossier
    idle: tuple[Idle, ...]
    unread: tuple[tuple[str, str], ...] = ()
