"""What a name leads to whose impact is asked for: items, quantities, files, of today."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from closeout.graph.impact import Network, widened
from closeout.graph.impact_edges import Trail, file_node, limit_links, quantity_named
from closeout.graph.new_findings import nearest
from closeout.model.errors import Mistake
from closeout.model.impact import FILES, Kind, Named, Node, told
from closeout.model.records import Nonconformance, Project

# Of each section of a file, what its items are; those of the last two concern requirements.
SECTIONS = {
    "requirements": Kind.REQUIREMENT,
    "parameters": Kind.PARAMETER,
    "linked": Kind.PARAMETER,
    "records": Kind.RECORD,
    "articles": Kind.ARTICLE,
    "documents": Kind.DOCUMENT,
    "waivers": None,
    "nonconformances": None,
}
Concerned = Callable[[Nonconformance], Iterable[str]]


@dataclass(frozen=True, slots=True)
class Names:
    """The names of a project; ``is_file`` says of a path whether a file of the state is there.

    ``paths`` are the files that may be meant by a name that is none, and ``concerned`` tells the
    requirements of a nonconformance.
    """

    trail: Trail
    net: Network
    is_file: Callable[[str], bool]
    paths: Sequence[str]
    concerned: Concerned

    def found(self, text: str) -> list[Named]:
        """Return what a name leads to, one for each way; nothing where it is unknown."""
        found = [*self._items(text), *self._earlier(text), *self._files(text)]
        return [named for named in found if named.nodes or named.note]

    def mistake(self, text: str) -> Mistake:
        """Return what is wrong with a name that leads to nothing, and the nearest one."""
        index = self.trail.index
        if text in index.shared:
            several = ", ".join(index.shared[text])
            return f"{text} is the name of several analyses", f"write one of {several}"
        near = nearest(text, self._known())
        kinds = "requirement, parameter, analysis, quantity, record, article, document or file"
        cure = "closeout verify lists the requirements; a file is named by its path in the project"
        return f"there is no {kinds} {text}", f"did you mean {near}?" if near else cure

    def of_section(self, section: str, name: str) -> Named:
        """Return what an item of a section of the files leads to, and of which kind it is."""
        kind = SECTIONS[section]
        if kind is not None:
            return Named(name, widened(Node(kind, name), self.trail))
        names = dict(self._concerning(section)).get(name, ())
        nodes = (
            Node(Kind.REQUIREMENT, one) for one in names if one in self.trail.index.requirements
        )
        return Named(name, tuple(nodes), f"a {_SINGULAR[section]} of")

    def _items(self, text: str) -> Iterator[Named]:
        index = self.trail.index
        for section, kind in SECTIONS.items():
            if kind is None:
                if text in dict(self._concerning(section)):
                    yield self.of_section(section, text)
            elif text in getattr(index, section):
                yield self.of_section(section, text)
        if text in index.analyses:
            yield Named(text, (Node(Kind.ANALYSIS, index.analyses[text].name),))
        elif (node := Node(Kind.ANALYSIS, text)) in self.net:
            yield Named(text, (node,))
        quantity = quantity_named(text, index)
        if quantity is not None and quantity.kind is Kind.QUANTITY:
            yield Named(text, (quantity,))
        if text in limit_links(index):
            yield Named(text, (Node(Kind.LIMIT, text),))

    def _concerning(self, section: str) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield the waivers, or the nonconformances, each with its requirements."""
        project = self.trail.index.project
        if section == "waivers":
            yield from ((one.id, (one.requirement,)) for one in project.waivers)
        else:
            yield from ((one.id, tuple(self.concerned(one))) for one in project.nonconformances)

    def _earlier(self, text: str) -> Iterator[Named]:
        for section, names in self.trail.index.renamed.items():
            if text in names:
                today = self.of_section(section, names[text])
                yield Named(
                    text, today.nodes, f"formerly {text}" + (f", {today.note}" * bool(today.note))
                )

    def _files(self, text: str) -> Iterator[Named]:
        nodes = [node for node in (Node(kind, text) for kind in FILES) if node in self.net]
        if text.endswith(".yaml") and (nodes or self.is_file(text)):
            items = self._written(text)
            yield Named(text, told([*items, *nodes]), "all items in it" if items else "no item")
        elif nodes:
            yield Named(text, tuple(nodes))
        elif self.is_file(text):
            yield Named(text, (file_node(text),))

    def _written(self, path: str) -> list[Node]:
        """Return all that a file of YAML says, as nodes."""
        found = [
            node
            for section, item in written_in(self.trail.index.project, path)
            for node in self.of_section(section, item).nodes
        ]
        return list(dict.fromkeys(found))

    def _known(self) -> Iterator[str]:
        index = self.trail.index
        for section, kind in SECTIONS.items():
            yield from (
                getattr(index, section) if kind else (name for name, _ in self._concerning(section))
            )
        yield from index.analyses
        for spec in index.specs:
            yield from (f"{spec.name}.{field.name}" for field in spec.fields)
        yield from (node.name for node in self.net.nodes if node.kind in FILES)
        yield from self.paths


_SINGULAR = {"waivers": "waiver or deviation", "nonconformances": "nonconformance"}


def written_in(project: Project, path: str) -> Iterator[tuple[str, str]]:
    """Yield section and identifier of each item that stands in a file."""
    yield from ((section, item.id) for section, item in _every(project) if item.where.path == path)


def _every(project: Project) -> Iterator[tuple[str, Any]]:
    for section in SECTIONS:
        yield from ((section, item) for item in getattr(project, section))


def by_section(project: Project) -> Mapping[tuple[str, str], Any]:
    """Return every item by section and identifier; a linked parameter is a parameter."""
    found: dict[tuple[str, str], Any] = {}
    for section, item in _every(project):
        found.setdefault(("parameters" if section == "linked" else section, item.id), item)
    return found
