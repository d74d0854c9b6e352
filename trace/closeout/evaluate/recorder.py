"""What an analysis really read, seen by an audit hook in its own process.

Seen: every ``open`` of a file, listings of folders, what was asked of paths and by
``importlib.metadata``, links on the way, project modules, names of modules that were asked for,
distributions, processes and sockets. Not seen: environment variables (the worker's are fixed), the
clock, and what machine code opens by itself; of which code that is known not to happen is known
here by name, and with any other nothing is stored.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from _thread import get_ident
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from closeout.evaluate import patches
from closeout.evaluate.events import CHANGES, FRESH, MAKING, OUTSIDE_HELP, SPAWNING, WRITING
from closeout.evaluate.path_owner import INSTALLED, NOBODY, PYTHON, Places, below
from closeout.store.keys import digest_of_file, link_of, listing_of, place_of

# Of the standard library: modules that open files in C, where no event tells of it.
_UNSEEN = ("_gdbm", "_dbm", "readline")
# Distributions whose machine code opens no file but through Python, and what of other ones comes
# with them: Matplotlib loads these itself, and mpmath takes its whole numbers from gmpy2.
_SEEN = ("numpy", "scipy", "matplotlib", "kiwisolver", "contourpy", "PIL._imaging", "gmpy2")
# Of these: a module that opens files by their path, unheard.
_UNHEARD = ("scipy.io._fast_matrix_market._fmm_core",)
# What is there tells of the machine and the moment, not of a state that could be the same again.
_OF_THE_MOMENT = ("/proc/", "/sys/")
_CTYPES = "it calls machine code by ctypes, which may open files unnoticed"
_MOST_LINKS = 40  # as the system allows on the way to a path


class Recorder:
    """Files, folders and names that were looked at since the process began.

    A thread is either heard or hushed. The one that makes the recorder begins hushed, as the tool's
    own work must not be noted; it is heard between ``listen`` and ``hush``. Other threads are the
    author's and always heard.
    """

    def __init__(self, root: str) -> None:
        self.root = os.path.realpath(root)
        self.files: dict[str, str | None] = {}
        self.folders: dict[str, str | None] = {}
        self.kinds: dict[str, str | None] = {}
        self.outside: dict[str, str | None] = {}
        self.links: dict[str, str | None] = {}
        self.places: dict[str, str | None] = {}
        self.installed: set[str] = set()
        self.names: set[str] = set()
        self.missing: set[str] = set()
        self.not_stored: set[str] = set()
        self.changed: set[str] = set()
        self._hushed = {get_ident()}
        self._made: set[str] = set()
        # What was looked at since the evaluation began: real path -> what was noted of it.
        self._recent: dict[str, str | None] = {}
        self._asked: set[str] = set()
        self._begun: tuple[int, ...] = ()
        self._baseline = set(sys.modules)
        self._places = Places(self.root)
        self._searched = [os.path.realpath(entry) for entry in sys.path if entry]
        sys.addaudithook(self._audit)
        patches.watch_probes(self)
        patches.hush_finders(self)
        patches.distrust_compiled(self)

    def listen(self) -> None:
        """Note from now on what this thread looks at."""
        self._hushed.discard(get_ident())

    def hush(self) -> None:
        """Note no longer what this thread looks at."""
        self._hushed.add(get_ident())

    @contextmanager
    def paused(self) -> Iterator[None]:
        """Do not note what the tool's own code opens meanwhile."""
        me = get_ident()
        before = me in self._hushed
        self._hushed.add(me)
        try:
            yield
        finally:
            if not before:
                self._hushed.discard(me)

    def begin(self) -> None:
        """Begin an evaluation: what is seen from now on is more than the module itself read."""
        self._recent.clear()
        self._asked.clear()
        self._begun = self._counts()

    def has_more(self) -> bool:
        """Return whether anything was seen since the evaluation began."""
        return bool(self._recent) or self._begun != self._counts()

    def _counts(self) -> tuple[int, ...]:
        # Only lengths: to look at each module would write to pages that the fork shares.
        seen = (
            self.files, self.folders, self.kinds, self.outside, self.links, self.places,
            self.installed, self.names, self.missing, self.not_stored, self.changed, sys.modules,
        )  # fmt: skip
        return tuple(map(len, seen))

    # seen by the project's own import system

    def module(self, path: str, digest: str | None) -> None:
        """Note a candidate file of a project module: digest of its bytes; None: it is absent."""
        self._note(self.files, path, digest)

    def named(self, name: str) -> None:
        """Note that a module of another place than the project was asked for."""
        self.names.add(name)

    def kind(self, path: str) -> str | None:
        """Note and return what stands at a path of the project: file, folder or (None) nothing."""
        with self.paused():
            full = os.path.normpath(os.path.join(self.root, path))
            kind = "folder" if os.path.isdir(full) else "file" if os.path.isfile(full) else None
            if os.path.realpath(full) != full:
                kind = None  # behind a link: nothing, as in what git holds
        self._note(self.kinds, path, kind)
        self._asked.add(path)
        return kind

    def _note(self, notes: dict[str, str | None], name: str, value: str | None) -> None:
        if notes.setdefault(name, value) != value:
            self.changed.add(name)

    # seen by the audit hook

    def _audit(self, event: str, args: tuple[Any, ...]) -> None:
        handler = _HANDLERS.get(event)
        if handler is None:
            return
        me = get_ident()
        if me in self._hushed:
            return
        self._hushed.add(me)
        try:
            handler(self, event, args)
        finally:
            self._hushed.discard(me)

    # Handlers of events: each takes the event's name and its arguments.

    def on_open(self, _event: str, args: tuple[Any, ...]) -> None:
        """Take the event of an opened file."""
        self._opened(*args[:3])

    def on_help(self, event: str, _args: tuple[Any, ...]) -> None:
        """Take the event of something that answers and is no file."""
        self.not_stored.add(OUTSIDE_HELP[event])

    def on_library(self, event: str, args: tuple[Any, ...]) -> None:
        """Take the event of a library in machine code, where it is named by its path."""
        name, path = args[:2] if event == "import" else ("", args[0])
        if isinstance(path, (str, bytes)) and os.sep in os.fsdecode(path):
            self._opened(path, "r", 0)
            if event == "import":
                self._machine_code(str(name), os.path.realpath(os.fsdecode(path)))
            else:
                self.not_stored.add(_CTYPES)

    def on_symbol(self, _event: str, _args: tuple[Any, ...]) -> None:
        """Take the event of a function that is looked up in a library."""
        self.not_stored.add(_CTYPES)

    def on_folder(self, _event: str, args: tuple[Any, ...]) -> None:
        """Take the event of another working folder, for the links on the way to it."""
        if not isinstance(args[0], int):
            self._resolve(args[0])

    def _machine_code(self, name: str, path: str) -> None:
        whose = self._places.whose(path)
        top = os.path.basename(self._places.top(path)) if whose == INSTALLED else name
        seen = name not in _UNHEARD and (top in _SEEN or name in _SEEN)
        if whose != PYTHON and not (whose == INSTALLED and seen):
            self.not_stored.add(f"it uses {name}, whose machine code may open files unnoticed")

    def _opened(self, name: Any, mode: Any, flags: Any, folder: int | None = None) -> None:
        path = self._resolve(name, folder)
        if path is None or path == os.devnull:
            return
        writes = any(c in mode for c in "wxa+") if isinstance(mode, str) else flags & WRITING
        if writes:
            fresh = any(c in mode for c in "wx") if isinstance(mode, str) else flags & FRESH
            self._writes(path, bool(fresh))
        elif not self._is_made(path):
            self._read(path)

    def _read(self, path: str) -> None:
        inside = self._places.inside(path)
        if inside is None:
            self._read_elsewhere(path)
        elif os.path.isdir(path):
            self.kind(inside)  # what is opened from there is seen, and distinguished by its path
        elif path not in self._recent:
            self._recent[path] = digest_of_file(path)
            self._note(self.files, inside, self._recent[path])

    def _read_elsewhere(self, path: str) -> None:
        whose = self._places.whose(path)
        if whose == PYTHON:
            return
        try:
            kind = os.stat(path).st_mode
        except OSError:
            self._note(self.outside, path, None)
            return
        if whose == INSTALLED:
            self._installed(path)
        elif not stat.S_ISREG(kind) or path.startswith(_OF_THE_MOMENT):
            self.not_stored.add(f"it read {path}, which is no file of the project")
        elif path not in self._recent:
            self._recent[path] = digest_of_file(path)
            self._note(self.outside, path, self._recent[path])

    def on_listing(self, _event: str, args: tuple[Any, ...]) -> None:
        """Take the event of a listed folder."""
        name = args[0]
        path = self._resolve(".", name) if isinstance(name, int) else self._resolve(name or ".")
        if path is None or self._is_made(path) or path in self._recent:
            return
        inside = self._places.inside(path)
        if inside is not None:
            self._recent[path] = listing_of(path)
            self._note(self.folders, inside, self._recent[path])
        else:
            self._listed_elsewhere(path)

    def _listed_elsewhere(self, path: str) -> None:
        whose = self._places.whose(path)
        if whose == PYTHON:
            return
        if whose == INSTALLED and self._places.top(path) != path:
            self._installed(path)
        elif self._places.covered(path) or any(below(path, entry) for entry in self._searched):
            self._recent[path] = listing_of(path)
            self._note(self.outside, path, self._recent[path])
        else:
            self.not_stored.add(f"it listed {path}, which is no folder of the project")

    def _installed(self, path: str) -> None:
        """Note that something of a distribution was looked at; what is compiled is a module's."""
        top = self._places.top(path)
        if os.path.basename(top) != "__pycache__":
            self.installed.add(top)

    def probed(self, name: Any, folder: int | None) -> None:
        """Note that it was asked what stands at a path: a file by its content, for its size."""
        if get_ident() in self._hushed:
            return
        with self.paused():
            path = self._resolve(name, folder)
            inside = None if path is None else self._places.inside(path)
            if path is None or inside in self.files:
                return
            if inside is None:
                self._probed_elsewhere(path)
            elif os.path.isfile(path):
                self._read(path)
            else:
                self.kind(inside)

    def follows(self, name: Any, folder: int | None) -> bool:
        """Note that an entry of a listing is followed, a link; say whether that is allowed.

        Inside the project it leads nowhere, as what git exports holds no links.
        """
        try:
            self.probed(name, folder)
        except PermissionError:
            return False
        return True

    def _probed_elsewhere(self, path: str) -> None:
        whose = self._places.whose(path)
        # That a folder is there in which the project stands goes without saying.
        if whose == PYTHON or below(self.root, path) or self._is_made(path):
            return
        if whose == INSTALLED and os.path.exists(path):
            if self._places.top(path) != path or not os.path.isdir(path):
                self._installed(path)
        elif path.startswith(_OF_THE_MOMENT):
            self.not_stored.add(f"it asked for {path}, which changes with time")
        else:
            self._note(self.places, path, place_of(path))

    def opened_from(self, folder: int, name: Any, flags: int) -> None:
        """Note a file that is opened from a folder's descriptor, which no audit event tells."""
        if get_ident() not in self._hushed:
            with self.paused():
                self._opened(name, None, flags, folder)

    # changes

    def on_change(self, event: str, args: tuple[Any, ...]) -> None:
        """Take the event of something that is made, renamed, removed or marked."""
        paths = [
            self._resolve(args[at], None if folder is None or args[folder] < 0 else args[folder])
            for at, folder in CHANGES[event]
        ]
        for path in paths:
            if path is not None:
                self._refuse_change(path)
        first, last = paths[0], paths[-1]
        if last is None or event not in MAKING:
            return
        if not os.path.lexists(last) or (first is not None and self._is_made(first)):
            self._made.add(last)

    def _writes(self, path: str, fresh: bool) -> None:
        self._refuse_change(path)
        if not fresh and not self._is_made(path) and os.path.exists(path):
            self.not_stored.add(f"it changed {path}, which is no file of the project")
        self._made.add(path)

    def _refuse_change(self, path: str) -> None:
        inside = self._places.inside(path)
        if inside is not None:
            text = (
                "an analysis may not change files of the project: write results with an @artifact"
            )
            raise PermissionError(errno.EPERM, text, inside)

    # paths

    def _resolve(self, name: Any, folder: int | None = None) -> str | None:
        """Return the real path; a link inside the project is refused. None: there is no path.

        What is judged holds no links (they are not exported from git either), and one that was
        followed might lead elsewhere the next time.
        """
        if isinstance(name, int):
            return None
        try:
            given = os.fsdecode(name)
            if folder is not None and not os.path.isabs(given):
                given = os.path.join(self._path_of(folder), given)
            text, path = os.path.abspath(given), os.path.realpath(given)
        except (TypeError, ValueError, OSError):
            return None
        if text == path or self._places.covered(text):
            return path
        links = self._links_on(given)
        link = next((one for one in links if below(one, self.root)), None)
        if link is not None:
            place = os.path.relpath(link, self.root)
            self._note(self.files, place, None)
            self._note(self.folders, place, None)
            text = "is a symbolic link, which an analysis may not follow: put the file there"
            raise PermissionError(errno.EPERM, text, place)
        for link in links:
            if not self._is_made(link):
                self._note(self.links, link, link_of(link))
        if below(path, self.root) and not self._places.covered(path):
            self.not_stored.add("it came into the project by a symbolic link from outside")
        return path

    def _path_of(self, folder: int) -> str:
        try:
            return os.readlink(f"/proc/self/fd/{folder}")
        except OSError:
            self.not_stored.add("it reads a folder by a descriptor, which is not supported here")
            raise

    def _links_on(self, given: str) -> list[str]:
        """Return the links on the way to a path, those too to which a link leads."""
        path = os.sep
        found: list[str] = []
        left = os.path.join(os.getcwd(), given).split(os.sep)[::-1]
        while left and len(found) < _MOST_LINKS:
            part = left.pop()
            if part in ("", "."):
                continue
            path, before = os.path.normpath(os.path.join(path, part)), path
            if part != ".." and (target := link_of(path)) is not None:
                found.append(path)
                left += target.split(os.sep)[::-1]
                path = os.sep if os.path.isabs(target) else before
        return found

    def _is_made(self, path: str) -> bool:
        return any(below(path, made) for made in self._made)

    def trusts(self, path: str) -> bool:
        """Return whether a compiled module may stand for its source: where none is edited."""
        with self.paused():
            return self._places.covered(os.path.realpath(path))

    # the report to the tool

    def report(self) -> dict[str, Any]:
        """Return what was seen, as JSON: dependencies that can be checked later."""
        self._look_again()
        if any(name in sys.modules for name in SPAWNING):
            self.not_stored.add("it started a process")
        for name in _UNSEEN:
            if name in sys.modules and name not in self._baseline:
                self.not_stored.add(f"it uses {name}, whose machine code may open files unnoticed")
        imported = self._imported()
        return {
            "files": sorted(self.files.items()),
            "folders": sorted(self.folders.items()),
            "kinds": sorted(self.kinds.items()),
            "outside": sorted(self.outside.items()),
            "links": sorted(self.links.items()),
            "places": sorted(self.places.items()),
            "installed": sorted(self.installed),
            "names": sorted(self.names),
            "missing": sorted(self.missing),
            "modules": sorted(imported),
            "not_stored": sorted(self.not_stored),
            "changed": sorted(self.changed),
        }

    def _look_again(self) -> None:
        """See whether anything changed between the look of the hook and the reading itself."""
        for path, noted in self._recent.items():
            now = listing_of(path) if os.path.isdir(path) else digest_of_file(path)
            if now != noted and not self._is_made(path):
                self.changed.add(self._places.inside(path) or path)
        for name in list(self._asked):
            self.kind(name)

    def _imported(self) -> set[str]:
        """Return the files of imported modules that nobody answers for; note those installed."""
        imported: set[str] = set()
        for name in [name for name in sys.modules if name not in self._baseline]:
            if name.partition(".")[0] in ("closeout", "analyses"):
                continue
            file = _file_of(sys.modules.get(name))
            path = None if file is None else os.path.realpath(file)
            if path is None or self._places.inside(path) is not None:
                continue
            whose = self._places.whose(path)
            if whose == INSTALLED:
                self._installed(path)
            elif whose == NOBODY:
                imported.add(path)
        return imported


_HANDLERS: dict[str, Callable[[Recorder, str, tuple[Any, ...]], None]] = {
    "open": Recorder.on_open,
    "os.listdir": Recorder.on_listing,
    "os.scandir": Recorder.on_listing,
    "os.chdir": Recorder.on_folder,
    "ctypes.dlopen": Recorder.on_library,
    "ctypes.dlsym": Recorder.on_symbol,
    "ctypes.dlsym/handle": Recorder.on_symbol,
    "import": Recorder.on_library,
    **dict.fromkeys(OUTSIDE_HELP, Recorder.on_help),
    **dict.fromkeys(CHANGES, Recorder.on_change),
}


def _file_of(module: Any) -> str | None:
    """Return a module's file, without waking one that is loaded at its first use."""
    try:
        file = object.__getattribute__(module, "__dict__").get("__file__")
    except AttributeError:
        return None
    return file if isinstance(file, str) else None
