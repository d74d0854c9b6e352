"""Links, anchors, sources of pictures and cross-references of HTML and Markdown documents."""

from __future__ import annotations

import posixpath
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import unquote, urlsplit

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

# Attributes that lead to another place or load a file; those that name elements of the same page.
_LEADS = ("href", "xlink:href", "src", "srcset", "data", "poster", "cite", "action", "background")
_NAMES = ("for", "headers", "aria-labelledby", "aria-describedby", "aria-details", "aria-controls")
# "Table 3", "section 4.2": a link with such a text leads to what begins so.
_REFERENCE = re.compile(r"(table|figure|annex|section)\s+([A-Z]?[\d.]*\d|[A-Z])\b", re.IGNORECASE)

_BEGINNING = 80  # characters of the text that follows an anchor


@dataclass
class _Document:
    """What a document leads to, what it can be led to, and the text that begins there."""

    targets: list[tuple[str, str]] = field(default_factory=list)  # with the text of the link
    anchors: dict[str, str] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


class _Page(HTMLParser):
    """Reads a page; an anchor's text is what follows it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: Counter[str] = Counter()
        self.named: list[str] = []
        self.targets: list[list[str]] = []
        self.texts: dict[str, str] = {}
        self._link: list[str] | None = None
        self._short: set[str] = set()  # anchors whose text is still to come
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        for name in ("id", "name") if tag == "a" else ("id",):
            if name in given:
                self.ids[given[name]] += 1
                self.texts[given[name]] = ""
                self._short.add(given[name])
        self.named += [name for key in _NAMES for name in given.get(key, "").split()]
        for key in _LEADS:
            if key in given and (tag, key) != ("meta", "data"):
                self.targets.append([given[key].split()[0] if given[key].split() else "", ""])
                if tag == "a":
                    self._link = self.targets[-1]

    def handle_endtag(self, tag: str) -> None:
        if tag == "a":
            self._link = None

    def handle_data(self, data: str) -> None:
        if self._link is not None:
            self._link[1] += data
        for name in list(self._short):
            self.texts[name] += data
            if len(self.texts[name]) > _BEGINNING:
                self._short.remove(name)


def _html(text: str) -> _Document:
    page = _Page(text)
    twice = [f"the anchor {name!r} stands twice" for name, n in page.ids.items() if n > 1]
    lost = [f"no element is named {name!r}" for name in page.named if name not in page.ids]
    targets = [(target, text) for target, text in page.targets]
    return _Document(targets, page.texts, twice + lost)


def _markdown(text: str) -> _Document:
    tree = SyntaxTreeNode(MarkdownIt("commonmark", {"html": True}).enable("table").parse(text))
    found = _Document()
    slugs: Counter[str] = Counter()
    for node in tree.walk():
        if node.type == "heading":
            title = _text(node)
            slug = re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-")
            found.anchors[f"{slug}-{slugs[slug]}" if slugs[slug] else slug] = title
            slugs[slug] += 1
        elif node.type in ("html_block", "html_inline"):
            inner = _html(node.content)
            found.anchors |= {name: text or _behind(node) for name, text in inner.anchors.items()}
            found.targets += inner.targets
        elif node.type in ("link", "image"):
            address = node.attrs["href" if node.type == "link" else "src"]
            found.targets.append((str(address), _text(node)))
            if node.type == "image" and not node.content:
                found.faults.append(f"the picture {address} has no text")
        elif node.type == "text" and re.search(r"\[[^\]]*\]\[[^\]]*\]", node.content):
            found.faults.append(f"a link without an address: {node.content}")
    return found


def _text(node: SyntaxTreeNode) -> str:
    return "".join(one.content for one in node.walk() if one.type in ("text", "code_inline"))


def _behind(node: SyntaxTreeNode) -> str:
    """Return the text that follows an anchor in its paragraph or cell."""
    after = node.next_sibling
    return "" if after is None else f"{_text(after)}{_behind(after)}"


def documents(files: Mapping[str, bytes]) -> dict[str, _Document]:
    readers = {".html": _html, ".md": _markdown}
    return {
        path: readers[ending](data.decode())
        for path, data in files.items()
        if (ending := posixpath.splitext(path)[1]) in readers
    }


def broken(files: Mapping[str, bytes]) -> dict[str, list[str]]:
    """Return what leads nowhere, or out of the package, by document."""
    found = documents(files)
    return {path: [*one.faults, *_lost(path, one, files, found)] for path, one in found.items()}


def _lost(
    path: str, one: _Document, files: Mapping[str, bytes], found: Mapping[str, _Document]
) -> Iterator[str]:
    for target, text in one.targets:
        parts = urlsplit(target)
        goal = _goal(path, parts.path)
        if parts.scheme == "data":
            continue
        if parts.scheme or parts.netloc:
            yield f"{target} leads out of the package"
        elif not target:
            yield f"{text!r} leads nowhere"
        elif goal not in files:
            yield f"{target}: there is no such file"
        elif parts.fragment and goal in found:
            yield from _anchored(target, unquote(parts.fragment), text, found[goal])
        elif parts.fragment:
            yield f"{target}: a file without anchors"


def _goal(path: str, target: str) -> str:
    if not target:
        return path
    return posixpath.normpath(posixpath.join(posixpath.dirname(path), unquote(target)))


def _anchored(target: str, anchor: str, text: str, goal: _Document) -> Iterator[str]:
    if anchor not in goal.anchors:
        yield f"{target}: there is no such anchor"
        return
    named = _REFERENCE.match(" ".join(text.split()))
    there = " ".join(goal.anchors[anchor].split())
    if named and not re.match(rf"({named[1]}\s+)?{re.escape(named[2])}\b", there, re.IGNORECASE):
        yield f"{target}: {named[0]!r} leads to {there[:40]!r}"


def unreached(files: Mapping[str, bytes], start: str) -> set[str]:
    """Return the documents of one kind to which no way leads from one of them."""
    kind = posixpath.splitext(start)[1]
    found = documents({path: data for path, data in files.items() if path.endswith(kind)})
    reached, todo = {start}, [start]
    while todo:
        path = todo.pop()
        for target, _ in found[path].targets:
            goal = _goal(path, urlsplit(target).path)
            if goal in found and goal not in reached:
                reached.add(goal)
                todo.append(goal)
    return set(found) - reached
