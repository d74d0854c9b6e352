"""The names that a project has, found quickly: nothing is run or imported, and git is not asked.

For the completion of a command line. What is wrong in a project is no matter here: what can be
read gives its names.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from closeout.load import load
from closeout.model.records import Project
from closeout.snapshot import Snapshot, find_root, open_files, store_folder
from closeout.store.database import FILE, Store, open_store
from closeout.store.keys import engine_fingerprint, key_of

# As its source says, since a module that is imported runs. Also of a module that is being written.
_ANALYSIS = re.compile(r"^@(?:closeout\.)?analysis\b(?:(?!^def\b).)*?^def (\w+)", re.M | re.S)

Titles = dict[str, str]


@dataclass(frozen=True, slots=True)
class Names:
    """The names of a project, each with its title where it has one, as far as they can be read.

    ``others`` are all other identifiers: of waivers, nonconformances, articles and documents.
    """

    requirements: Titles = field(default_factory=dict)
    parameters: Titles = field(default_factory=dict)
    analyses: Titles = field(default_factory=dict)
    records: Titles = field(default_factory=dict)
    others: Titles = field(default_factory=dict)
    reviews: tuple[str, ...] = ()
    owners: tuple[str, ...] = ()
    levels: tuple[str, ...] = ()

    @property
    def identifiers(self) -> Titles:
        """Everything that ``explain`` takes."""
        return {
            **self.others, **self.records, **self.parameters, **self.analyses, **self.requirements,
        }  # fmt: skip


def names_at(place: Path) -> Names:
    """Return the names of the project that a folder belongs to; none where there is no project."""
    root = find_root(place)
    if root is None:
        return Names()
    folder = store_folder(root)
    # To complete a name makes no store.
    with open_store(folder if (folder / FILE).is_file() else None) as store:
        files = open_files(root)
        project = load(files, _Kept(store)).project
        return Names() if project is None else _names(project, files)


class _Kept:
    """What earlier runs kept of files; nothing is added to it."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def get(self, key: str) -> str | None:
        return self._store.get("file", key_of(engine_fingerprint(), key))

    def put(self, key: str, text: str) -> None:
        """Keep nothing."""


def _names(project: Project, files: Snapshot) -> Names:
    planned = [verification for *_, verification in project.verifications()]
    others = {one.id: one.title for one in project.documents}
    others |= {one.id: one.title or "" for one in project.articles}
    others |= {one.id: one.reason or "" for one in project.waivers}
    others |= {one.id: one.cause or "" for one in project.nonconformances}
    return Names(
        requirements={one.id: one.title for one in project.requirements},
        parameters={one.id: one.source or "" for one in project.parameters}
        | {one.id: one.source or "" for one in project.linked},
        analyses=dict.fromkeys(_analyses(files), "analysis"),
        records={one.id: one.title or "" for one in project.records},
        others=others,
        reviews=project.charter.reviews,
        owners=_once(one.owner for one in project.requirements),
        levels=_once(one.level for one in planned),
    )


def _once(texts: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))


def _analyses(files: Snapshot) -> Iterator[str]:
    """Yield the names of analyses; with their module where two have the same."""
    found = []
    for path in files.files():
        if path.startswith("analyses/") and path.endswith(".py"):
            try:
                text = files.read(path).decode("utf-8", "replace")
            except OSError:
                continue
            module = path.removeprefix("analyses/").removesuffix(".py").replace("/", ".")
            found += [(module, name) for name in _ANALYSIS.findall(text)]
    several = Counter(name for _, name in found)
    for module, name in found:
        yield name if several[name] == 1 else f"{module}.{name}"
