"""Digests of what evaluations read, by which two states of a project are compared."""

from __future__ import annotations

import ast
from collections.abc import Iterable
from hashlib import blake2b

from closeout.model.reply import Reply
from closeout.run.inspection import FileCache
from closeout.snapshot import Snapshot
from closeout.store.database import Store


def contents_of(replies: Iterable[Reply], snapshot: Snapshot, store: Store) -> dict[str, str]:
    """Return a digest of each file of the project that some answer rests on, by its path.

    Of a Python file it is that of its syntax tree: a comment, or another layout, is no change of
    what a function does.
    """
    cache = FileCache(store)
    read = frozenset().union(*(reply.read for reply in replies if reply.read is not None))
    found = {}
    for path in sorted(read):
        digest = snapshot.digest(path)
        if digest is not None:
            is_code = path.endswith(".py")
            found[path] = _of_code(path, digest, snapshot, cache) if is_code else digest
    cache.flush()
    return found


def _of_code(path: str, digest: str, snapshot: Snapshot, cache: FileCache) -> str:
    known = cache.get(f"syntax:{digest}")
    if known is not None:
        return known
    try:
        tree = ast.dump(ast.parse(snapshot.read(path)))
    except (OSError, SyntaxError, ValueError, RecursionError):
        return digest  # what cannot be parsed is compared as it stands
    found = blake2b(tree.encode("utf-8", "surrogatepass"), digest_size=32).hexdigest()
    cache.put(f"syntax:{digest}", found)
    return found
