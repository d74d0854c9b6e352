"""Look through the two folders of a project: which files stand there, and what must not."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from pathlib import Path

from closeout.model.problem import Problem, Severity, in_order
from closeout.snapshot.names import JUDGED, READ_AS_TEXT, is_bad, is_passed_over, shown

_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a named pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
}


def walk(root: Path) -> tuple[tuple[str, ...], tuple[Problem, ...]]:
    """Return the paths of all regular files in the judged folders, and the problems there.

    Paths are sorted, from the root, with "/". Hidden names and ``__pycache__`` are passed over. A
    path with a bad name is a problem and no file.
    """
    files: list[str] = []
    problems: list[Problem] = []
    folders = [name for name in JUDGED if _is_folder(root, name, problems)]
    while folders:
        folder = folders.pop()
        for entry in _entries(root, folder, problems):
            _look_at(f"{folder}/{entry.name}", entry, folders, files, problems)
    return tuple(sorted(files)), in_order(problems)


def link_problem(path: str) -> Problem:
    """Return the problem that a symbolic link is."""
    return _problem(
        "symbolic-link",
        path,
        "is a symbolic link",
        "put the file here: a link may lead out of the judged state",
    )


def kind_problem(path: str, kind: str) -> Problem:
    """Return the problem of a path that should be a regular file and is of another kind."""
    return _problem("no-regular-file", path, f"is {kind}, no regular file", "rename or remove it")


def _look_at(
    path: str,
    entry: os.DirEntry[str],
    folders: list[str],
    files: list[str],
    problems: list[Problem],
) -> None:
    if is_bad(entry.name):
        problems.append(_bad_name(path))
    elif entry.is_symlink():
        problems.append(link_problem(path))
    elif entry.is_file(follow_symlinks=False):
        files.append(path)
    else:
        if entry.is_dir(follow_symlinks=False):
            folders.append(path)
        if path.endswith(READ_AS_TEXT):
            problems.append(kind_problem(path, _kind(entry)))


def _is_folder(root: Path, name: str, problems: list[Problem]) -> bool:
    path = root / name
    if path.is_symlink():
        problems.append(link_problem(name))
        return False
    if path.exists() and not path.is_dir():
        problems.append(
            _problem("no-regular-file", name, "is no folder", "make it a folder, or remove it")
        )
    return path.is_dir()


def _entries(root: Path, folder: str, problems: list[Problem]) -> Iterable[os.DirEntry[str]]:
    try:
        with os.scandir(root / folder) as found:
            return [entry for entry in found if not is_passed_over(entry.name)]
    except OSError as error:
        problems.append(
            _problem(
                "no-regular-file",
                folder,
                f"is a folder that cannot be read: {error.strerror}",
                "correct its permissions, or remove it",
            )
        )
        return ()


def _kind(entry: os.DirEntry[str]) -> str:
    try:
        mode = entry.stat(follow_symlinks=False).st_mode
    except OSError:
        return "something unreadable"
    return _KINDS.get(stat.S_IFMT(mode), "something else")


def _bad_name(path: str) -> Problem:
    return _problem(
        "bad-name",
        path,
        "has a name that is not UTF-8, or that contains control characters",
        "rename it",
    )


def _problem(rule: str, path: str, message: str, cure: str) -> Problem:
    place = shown(path)
    return Problem(rule, Severity.ERROR, place, 1, 1, f"{place} {message}", cure)
