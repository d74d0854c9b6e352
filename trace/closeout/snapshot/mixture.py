"""A state of a project with some files of another one, in a temporary folder."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from closeout.model.identity import SnapshotIdentity
from closeout.snapshot.errors import refused_by_system
from closeout.snapshot.folder import Snapshot
from closeout.snapshot.temporary import TemporaryFolder


def open_mixture(
    base: Snapshot, more: Iterable[str], instead: Mapping[str, bytes | None]
) -> Snapshot:
    """Return a state with other contents of some files; None is a file that is not there.

    Args:
        more: paths that are taken along although no commit holds them, since they were read.

    Raises:
        SnapshotError: it cannot be written, or git cannot list the files of a working tree.
    """
    folder = TemporaryFolder()
    try:
        root = folder.path / "tree"
        there = [path for path in more if base.digest(path) is not None]
        with refused_by_system("a mixed state cannot be written", "free disk space, or set TMPDIR"):
            root.mkdir()
            for path in {*base.everything(), *there} - instead.keys():
                _write(root / path, base.read(path))
            for path, content in instead.items():
                if content is not None:
                    _write(root / path, content)
        identity = SnapshotIdentity("tree", None, None)
        return Snapshot(root, identity, on_close=folder.close, dated=base.dated)
    except BaseException:
        folder.close()
        raise


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
