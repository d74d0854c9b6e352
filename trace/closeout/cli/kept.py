"""What the loader and the units keep in the store, under the engine that read it."""

from __future__ import annotations

import json

from closeout.store.database import Store
from closeout.store.keys import engine_fingerprint, key_of


class KeptFiles:
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


class UnitMemo(dict[str, str]):
    """What unit texts mean, read from the store at once and written back where it grew."""

    def __init__(self, store: Store) -> None:
        super().__init__()
        self._store = store
        self._key = key_of(engine_fingerprint(), "units")
        self._load()

    def _load(self) -> None:
        text = self._store.get("units", self._key)
        if text is not None:
            self.update(json.loads(text))
        self._size = len(self)

    def flush(self) -> None:
        if len(self) > self._size:
            self._store.put("units", self._key, json.dumps(dict(self)))
