"""What an analysis really read, seen by an audit hook in its own process.

Seen: every ``open`` of a file, listings of folders, probes as ``os.path.exists`` inside the
project, project modules, distributions, names that no import found, processes and sockets. Not
seen: environment variables (the worker's are fixed), the clock, and what a library written in C
opens by itself; the usual ones of those are known by name, and then nothing is kept.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from _thread import get_ident
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

from closeout.evaluate import patches
from closeout.store.keys import digest_of_file, listing_of

_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_FRESH = os.O_TRUNC | os.O_EXCL
# Events that change something: where the paths stand among their arguments, and the descriptor of
# the folder that each starts from (Python's documentation, "Audit events table").
_CHANGES: dict[str, tuple[tuple[int, int | None], ...]] = {
    "os.remove": ((0, 1),),
    "os.rename": ((0, 2), (1, 3)),
    "os.mkdir": ((0, 2),),
    "os.rmdir": ((0, 1),),
    "os.truncate": ((0, None),),
    "os.link": ((0, 2), (1, 3)),
    "os.symlink": ((1, 2),),
    "os.chmod": ((0, 2),),
    "os.chown": ((0, 3),),
    "os.utime": ((0, 3),),
}
_MAKING = ("os.mkdir", "os.rename", "os.link", "os.symlink")
_OUTSIDE_HELP = {
    "subprocess.Popen": "it started a process",
    "os.system": "it started a process",
    "os.exec": "it started a process",
    "os.posix_spawn": "it started a process",
    "os.spawn": "it started a process",
    "os.fork": "it started a process",
    "os.forkpty": "it started a process",
    "pty.spawn": "it started a process",
    "socket.__new__": "it opened a socket",
    "socket.connect": "it opened a socket",
    "socket.bind": "it opened a socket",
    "sqlite3.connect": "it opened a database",
}
# No event tells that these have been used; each is imported at its first use.
_SPAWNING = ("multiprocessing.popen_spawn_posix", "multiprocessing.popen_forkserver")
# Libraries that open files in C, where no event tells of it.
_UNSEEN = ("h5py", "netCDF4", "pyarrow", "rasterio", "fiona", "osgeo", "tables", "dbm.gnu", "_gdbm")
# Prefixes in which more than Python and its distributions lives.
_SHARED_PREFIXES = ("/", "/usr", "/usr/local")


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
        self.missing: set[str] = set()
        self.not_kept: set[str] = set()
        self.changed: set[str] = set()
        self._hushed = {get_ident()}
        self._made: set[str] = set()
        # What was looked at since the evaluation began: real path -> what was noted of it.
        self._recent: dict[str, str | None] = {}
        self._asked: set[str] = set()
        self._begun: tuple[int, ...] = ()
        self._baseline = set(sys.modules)
        folders = answered_for()
        # One that lies above the project would hide the project itself.
        self._covered = [folder for folder in folders if not _below(self.root, folder)]
        self._searched = [os.path.realpath(entry) for entry in sys.path if entry]
        sys.addaudithook(self._audit)
        patches.watch_probes(self)
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
        # Only lengths: to look at each module would copy pages that the fork shares.
        seen = (self.files, self.folders, self.kinds, self.outside, self.missing, self.not_kept)
        return (*map(len, seen), len(self.changed), len(sys.modules))

    # seen by the project's own import system

    def module(self, path: str, digest: str | None) -> None:
        """Note a candidate file of a project module: digest of its bytes; None: it is absent."""
        self._note(self.files, path, digest)

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
        self.not_kept.add(_OUTSIDE_HELP[event])

    def on_library(self, event: str, args: tuple[Any, ...]) -> None:
        """Take the event of a library in machine code, where it is named by its path."""
        name = args[1] if event == "import" else args[0]
        if isinstance(name, (str, bytes)) and os.sep in os.fsdecode(name):
            self._opened(name, "r", 0)

    def _opened(self, name: Any, mode: Any, flags: Any, folder: int | None = None) -> None:
        path = self._resolve(name, folder)
        if path is None or path == os.devnull:
            return
        writes = any(c in mode for c in "wxa+") if isinstance(mode, str) else flags & _WRITING
        if writes:
            fresh = any(c in mode for c in "wx") if isinstance(mode, str) else flags & _FRESH
            self._writes(path, bool(fresh))
        elif not self._is_made(path):
            self._read(path)

    def _read(self, path: str) -> None:
        inside = self._inside(path)
        if inside is None:
            if not self._is_covered(path):
                self._read_outside(path)
        elif os.path.isdir(path):
            self.kind(inside)  # what is opened from there is seen, and told apart by its path
        elif path not in self._recent:
            self._recent[path] = digest_of_file(path)
            self._note(self.files, inside, self._recent[path])

    def _read_outside(self, path: str) -> None:
        try:
            kind = os.stat(path).st_mode
        except OSError:
            self.outside.setdefault(path, None)
            return
        if not stat.S_ISREG(kind) or path.startswith(("/proc/", "/sys/")):
            self.not_kept.add(f"it read {path}, which is no file of the project")
        elif path not in self._recent:
            self._recent[path] = digest_of_file(path)
            self._note(self.outside, path, self._recent[path])

    def on_listing(self, _event: str, args: tuple[Any, ...]) -> None:
        """Take the event of a listed folder."""
        name = args[0]
        path = self._resolve(".", name) if isinstance(name, int) else self._resolve(name or ".")
        if path is None or self._is_covered(path) or self._is_made(path):
            return
        inside = self._inside(path)
        if inside is None and not any(_below(path, entry) for entry in self._searched):
            self.not_kept.add(f"it listed {path}, which is no folder of the project")
        elif path not in self._recent:
            self._recent[path] = listing_of(path)
            notes, name = (self.outside, path) if inside is None else (self.folders, inside)
            self._note(notes, name, self._recent[path])

    def probed(self, name: Any, folder: int | None) -> None:
        """Note that it was asked what stands at a path: a file by its content, for its size."""
        if get_ident() in self._hushed:
            return
        with self.paused():
            path = self._resolve(name, folder)
            inside = None if path is None else self._inside(path)
            if path is None or inside is None or inside in self.files:
                return
            if os.path.isfile(path):
                self._read(path)
            else:
                self.kind(inside)

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
            for at, folder in _CHANGES[event]
        ]
        for path in paths:
            if path is not None:
                self._refuse_change(path)
        first, last = paths[0], paths[-1]
        if last is None or event not in _MAKING:
            return
        if not os.path.lexists(last) or (first is not None and self._is_made(first)):
            self._made.add(last)

    def _writes(self, path: str, fresh: bool) -> None:
        self._refuse_change(path)
        if not fresh and not self._is_made(path) and os.path.exists(path):
            self.not_kept.add(f"it changed {path}, which is no file of the project")
        self._made.add(path)

    def _refuse_change(self, path: str) -> None:
        inside = self._inside(path)
        if inside is not None:
            text = (
                "an analysis may not change files of the project:"
                " what it makes belongs into an @artifact"
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
        if text == path or self._is_covered(text):
            return path
        link = self._link_on(given)
        if link is not None:
            place = os.path.relpath(link, self.root)
            self._note(self.files, place, None)
            self._note(self.folders, place, None)
            text = "is a symbolic link, which an analysis may not follow: put the file itself there"
            raise PermissionError(errno.EPERM, text, place)
        if _below(path, self.root) and not self._is_covered(path):
            self.not_kept.add("it came into the project by a symbolic link from outside")
        return path

    def _path_of(self, folder: int) -> str:
        try:
            return os.readlink(f"/proc/self/fd/{folder}")
        except OSError:
            self.not_kept.add("it reads a folder by a descriptor, which cannot be followed here")
            raise

    def _link_on(self, given: str) -> str | None:
        """Return the first link inside the project on the way to a path."""
        path = os.sep
        for part in os.path.join(os.getcwd(), given).split(os.sep):
            path = os.path.dirname(path) if part == ".." else os.path.join(path, part)
            if part not in ("", ".", "..") and os.path.islink(path):
                if _below(path, self.root):
                    return path
                path = os.path.realpath(path)
        return None

    def _inside(self, path: str) -> str | None:
        """Return the project's own name of a path: relative, with /; None outside."""
        if not _below(path, self.root) or self._is_covered(path):
            return None
        return os.path.relpath(path, self.root).replace(os.sep, "/")

    def _is_covered(self, path: str) -> bool:
        return any(_below(path, folder) for folder in self._covered)

    def _is_made(self, path: str) -> bool:
        return any(_below(path, made) for made in self._made)

    def trusts(self, path: str) -> bool:
        """Return whether a compiled module may stand for its source: where none is edited."""
        with self.paused():
            return self._is_covered(os.path.realpath(path))

    # told to the tool

    def told(self) -> dict[str, Any]:
        """Return what was seen, as JSON: dependencies that can be checked later."""
        self._look_again()
        if any(name in sys.modules for name in _SPAWNING):
            self.not_kept.add("it started a process")
        for name in _UNSEEN:
            if name in sys.modules and name not in self._baseline:
                self.not_kept.add(f"it uses {name}, which opens files unseen")
        return {
            "files": sorted(self.files.items()),
            "folders": sorted(self.folders.items()),
            "kinds": sorted(self.kinds.items()),
            "outside": sorted(self.outside.items()),
            "missing": sorted(self.missing),
            "modules": sorted(self._imported()),
            "not_kept": sorted(self.not_kept),
            "changed": sorted(self.changed),
        }

    def _look_again(self) -> None:
        """See whether anything changed between the look of the hook and the reading itself."""
        for path, noted in self._recent.items():
            now = listing_of(path) if os.path.isdir(path) else digest_of_file(path)
            if now != noted and not self._is_made(path):
                self.changed.add(self._inside(path) or path)
        for name in list(self._asked):
            self.kind(name)

    def _imported(self) -> set[str]:
        """Return the modules of distributions that were imported: top-level name, NUL, path."""
        imported: set[str] = set()
        for name in [name for name in sys.modules if name not in self._baseline]:
            top = name.partition(".")[0]
            if top in sys.stdlib_module_names or top in ("closeout", "analyses"):
                continue
            file = _file_of(sys.modules.get(name))
            if file is not None:
                path = os.path.realpath(file)
                if self._inside(path) is None:
                    imported.add(f"{top}\0{path}")
        return imported


_HANDLERS: dict[str, Callable[[Recorder, str, tuple[Any, ...]], None]] = {
    "open": Recorder.on_open,
    "os.listdir": Recorder.on_listing,
    "os.scandir": Recorder.on_listing,
    "ctypes.dlopen": Recorder.on_library,
    "import": Recorder.on_library,
    **dict.fromkeys(_OUTSIDE_HELP, Recorder.on_help),
    **dict.fromkeys(_CHANGES, Recorder.on_change),
}


@cache
def answered_for() -> list[str]:
    """Return the folders of which Python, the engine or installed distributions answer."""
    import closeout

    prefixes = {sys.prefix, sys.base_prefix, sys.exec_prefix}
    entries = {entry for entry in prefixes if entry not in _SHARED_PREFIXES}
    entries |= {os.path.dirname(os.__file__), os.path.dirname(os.path.realpath(closeout.__file__))}
    for entry in sys.path:
        try:
            names = os.listdir(entry) if entry else []
        except OSError:
            names = []
        if entry.endswith(("lib-dynload", ".zip")) or any(n.endswith(".dist-info") for n in names):
            entries.add(entry)
    return sorted(os.path.realpath(entry) for entry in entries)


def _file_of(module: Any) -> str | None:
    """Return a module's file, without waking one that is loaded at its first use."""
    try:
        file = object.__getattribute__(module, "__dict__").get("__file__")
    except AttributeError:
        return None
    return file if isinstance(file, str) else None


def _below(path: str, folder: str) -> bool:
    return path == folder or path.startswith(folder.rstrip(os.sep) + os.sep)
