"""Keys: digests of typed values, and of the engine that made what is kept."""

from __future__ import annotations

import os
import sys
from functools import cache
from typing import Any

try:
    # hashlib's own BLAKE2, without the OpenSSL that hashlib loads: a worker forks in half the time.
    from _blake2 import blake2b
except ImportError:
    from hashlib import blake2b

# Distributions of which a version change may change what the engine itself reads or computes.
ENGINE_DISTRIBUTIONS = ("pyyaml", "jsonschema", "pint")


def digest_of(content: bytes) -> str:
    """Return the digest by which contents of files are known: hex of BLAKE2b with 32 bytes."""
    return blake2b(content, digest_size=32).hexdigest()


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
        kind, text = b"s", value.encode("utf-8", "surrogateescape")
    elif isinstance(value, bytes):
        kind, text = b"b", value
    elif value is None or isinstance(value, (bool, int)):
        kind, text = type(value).__name__[:4].encode(), str(value).encode()
    else:
        raise TypeError(f"no key can be made of {type(value).__name__}")
    state.update(b"%s%d:" % (kind, len(text)))
    state.update(text)


@cache
def engine_fingerprint() -> str:
    """Return a digest of the engine: its own files, Python, and the libraries it reads with."""
    package = os.path.dirname(os.path.dirname(os.path.realpath(__file__)))
    machine = os.uname().machine if hasattr(os, "uname") else ""
    parts: list[Any] = [sys.version, sys.implementation.name, machine, sys.platform]
    for path in sorted(_files(package)):
        parts.append(os.path.relpath(path, package))
        with open(path, "rb") as file:
            parts.append(file.read())
    installed = dist_infos()
    parts.extend(installed.get(name, "") for name in ENGINE_DISTRIBUTIONS)
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


@cache
def dist_infos() -> dict[str, str]:
    """Return the installed distributions: normalised name -> path of the ``.dist-info`` folder.

    The first on ``sys.path`` wins, as with imports. Reading the names takes a tenth of what
    importlib.metadata takes to be imported.
    """
    found: dict[str, str] = {}
    for entry in sys.path:
        try:
            names = os.listdir(entry or ".")
        except OSError:
            continue
        for name in sorted(names):
            if name.endswith(".dist-info"):
                title = name.rsplit("-", 2)[0].lower().replace("_", "-").replace(".", "-")
                found.setdefault(title, os.path.join(entry, name))
    return found
