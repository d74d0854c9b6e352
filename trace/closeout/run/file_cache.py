"""What the loader keeps in the store, under the engine that read it."""

from __future__ import annotations

from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of


class FileCache:
    """What the loader keeps of files, in the store, under the engine that read them."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._new: list[tuple[str, str]] = []

    def get(self, key: str) -> str | None:
        return self._store.get("file", key_of(engine_fingerprint(), key))

    def put(self, key: str, text: str) -> None:
        self._new.append((key_of(engine_fingerprint(), key), text))

    def flush(self) -> None:
        self._store.put_many("file", self._new)
        self._new.clear()
