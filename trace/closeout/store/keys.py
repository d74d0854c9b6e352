"""Keys: digests of typed values, and of the engine that made what is stored."""

from __future__ import annotations

import os
import stat
import sys
from functools import cache
from typing import Any

from closeout.model.made_by_tools import MADE_BY_TOOLS

try:
    # hashlib's own BLAKE2, without the OpenSSL that hashlib loads (evaluate/forking.py).
    from _blake2 import blake2b
except ImportError:
    from hashlib import blake2b

# Distributions of which a version change may change what the engine itself reads or computes.
ENGINE_DISTRIBUTIONS = ("pyyaml", "jsonschema", "msgspec", "rich", "mpmath", "gmpy2")
# Of the environment, what workers are given and numbers may rest on (evaluate.workers).
ENGINE_VARIABLES = ("LD_LIBRARY_PATH", "OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE")
# The pages of rules are for people: of all that stands in them only a rule's kind decides anything,
# and a rule of another kind has a page of another size. To read the 150 of them takes 10 ms a run.
_BY_SIZE = os.path.join("rules", "pages", "")
# The layers above closeout.evaluate.
_ABOVE = frozenset(("cli", "run", "exchange", "render", "compare", "judge"))
_CHUNK = 1 << 20  # bytes


def digest_of(content: bytes) -> str:
    """Return the digest by which contents of files are known: hex of BLAKE2b with 32 bytes."""
    return blake2b(content, digest_size=32).hexdigest()


def digest_of_file(path: str) -> str | None:
    """Return the digest of a regular file's content; None where there is none to be read."""
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        if not stat.S_ISREG(os.fstat(fd).st_mode):
            return None
        state = blake2b(digest_size=32)
        while chunk := os.read(fd, _CHUNK):
            state.update(chunk)
        return state.hexdigest()
    except OSError:
        return None
    finally:
        os.close(fd)


def listing_of(path: str) -> str | None:
    """Return a digest of the names in a folder and which are folders; None where it is none."""
    try:
        with os.scandir(path) as entries:
            names = sorted(
                os.fsencode(entry.name) + (b"/" if entry.is_dir(follow_symlinks=False) else b"")
                for entry in entries
                if entry.name not in MADE_BY_TOOLS
            )
    except OSError:
        return None
    return digest_of(b"".join(name + b"\0" for name in names))


def link_of(path: str) -> str | None:
    """Return where a symbolic link leads to, as it is written; None where there is no link."""
    try:
        return os.readlink(path)
    except OSError:
        return None


def place_of(path: str) -> str | None:
    """Return what one learns who asks what stands at a path: folder, a file's size, or None.

    A link is one wherever it leads, as who asks by ``lstat`` learns.
    """
    try:
        found = os.lstat(path)
    except (OSError, ValueError):
        return None
    if stat.S_ISREG(found.st_mode):
        return f"file {found.st_size}"
    if stat.S_ISLNK(found.st_mode):
        return "link"
    return "folder" if stat.S_ISDIR(found.st_mode) else "other"


def key_of(*parts: Any) -> str:
    """Return a key of typed values: str, bytes, int, float, bool, None, and tuples of them.

    Each part is written with its type and length, so that ``(1, 23)`` and ``(12, 3)``, or 1, 1.0
    and True, never share a key.
    """
    state = blake2b(digest_size=32)
    _feed(state, parts)
    return state.hexdigest()


def _feed(state: Any, value: Any) -> None:
    if isinstance(value, (tuple, list)):
        state.update(b"(%d:" % len(value))
        for item in value:
            _feed(state, item)
        return
    if isinstance(value, float):
        kind, text = b"f", value.hex().encode()
    elif isinstance(value, str):
        kind, text = b"s", value.encode("utf-8", "surrogatepass")
    elif isinstance(value, bytes):
        kind, text = b"b", value
    elif value is None or isinstance(value, (bool, int)):
        kind, text = type(value).__name__[:4].encode(), str(value).encode()
    else:
        raise TypeError(f"no key can be made of {type(value).__name__}")
    state.update(b"%s%d:" % (kind, len(text)))
    state.update(text)


@cache
def engine_fingerprint(*, answering: bool = False) -> str:
    """Return a digest of the engine: its files, Python, and what it reads and computes with.

    With ``answering`` without what stands above the evaluation of analyses, which knows none of it
    (``.importlinter``): what only judges, compares or formats answers makes no other answer.
    """
    package = os.path.dirname(os.path.dirname(os.path.realpath(__file__)))
    machine = os.uname().machine if hasattr(os, "uname") else ""
    parts: list[Any] = [sys.version, sys.implementation.name, machine, sys.platform]
    for path in sorted(_files(package)):
        name = os.path.relpath(path, package)
        if answering and name.split(os.sep, 1)[0] in _ABOVE:
            continue
        if name.startswith(_BY_SIZE):
            parts += [name, os.stat(path).st_size]
            continue
        with open(path, "rb") as file:
            parts += [name, file.read()]
    installed = dist_infos()
    # Names alone: where a virtual environment stands is no matter of what is computed in it.
    parts.extend(os.path.basename(installed.get(name, "")) for name in ENGINE_DISTRIBUTIONS)
    parts.extend(os.environ.get(name) for name in ENGINE_VARIABLES)
    return key_of(*parts)


def _files(folder: str) -> list[str]:
    found: list[str] = []
    for entry in os.scandir(folder):
        if entry.is_dir():
            if entry.name != "__pycache__":
                found.extend(_files(entry.path))
        elif not entry.name.endswith((".pyc", ".pyo")):
            found.append(entry.path)
    return found


def search_path() -> list[str]:
    """Return where workers look for modules: as the tool, but for the folder it was started in.

    Python puts that first for ``python -m``, and it would be another one from each folder of the
    project. One that stands in PYTHONPATH too has a second entry, and stays.
    """
    started_in = not sys.flags.safe_path and sys.path[:1] in ([""], [os.getcwd()])
    return [entry for entry in sys.path[1 if started_in else 0 :] if entry]


@cache
def dist_infos() -> dict[str, str]:
    """Return the installed distributions: normalised name -> path of the ``.dist-info`` folder.

    The first on ``sys.path`` wins, as with imports. Reading the names takes a tenth of what
    importlib.metadata takes to be imported.
    """
    found: dict[str, str] = {}
    for entry in search_path():
        try:
            names = os.listdir(entry)
        except OSError:
            continue
        for name in sorted(names):
            if name.endswith(".dist-info"):
                title = name.rsplit("-", 2)[0].lower().replace("_", "-").replace(".", "-")
                found.setdefault(title, os.path.join(entry, name))
    return found
