"""Where a command may write, and how: whole files, never over what a verdict is made of."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from closeout.cli.encoding import print_utf_8
from closeout.model.errors import UserError
from closeout.snapshot import find_root
from closeout.snapshot.names import JUDGED

_CURE = "name a place outside requirements/, analyses/, .closeout/ and git's own folder"


def check_place(path: Path) -> None:
    """Refuse a place in which an output would replace sources of a project, or git's own files.

    Commands ask before they begin, so that nothing is computed for an output that is refused.

    Raises:
        UserError: it stands there, links followed.
    """
    target = Path(os.path.realpath(path))
    within = (target, *target.parents)
    if any(_is_gits(folder) for folder in within):
        raise UserError(f"{path} is among git's own files: nothing is written there", _CURE)
    root = find_root(target.parent)
    if root is None:
        return
    for name in (*JUDGED, ".closeout"):
        if any(_same(folder, root / name) for folder in within):
            what = "closeout's own files" if name == ".closeout" else "the project's sources"
            raise UserError(f"{path} is among {what}: nothing is written there", _CURE)


def _is_gits(place: Path) -> bool:
    if place.name == ".git":
        return True
    return (place / "HEAD").is_file() and (place / "objects").is_dir()


def _same(one: Path, other: Path) -> bool:
    """Return whether two paths are one, however a file system writes their names."""
    if one == other:
        return True
    try:
        return os.path.samefile(one, other)
    except OSError:
        return False


def check_outputs(files: Mapping[str, str | None]) -> None:
    """Refuse outputs by their options, each a FILE, ``-`` for standard output, or None for none.

    Raises:
        UserError: two would be written to one place, or one where nothing may be written.
    """
    taken: dict[str, str] = {}
    mistakes = []
    for option, file in files.items():
        if file is None:
            continue
        if file != "-":
            check_place(Path(file))
        place = file if file == "-" else os.path.realpath(file)
        if place in taken and (place == "-" or not _is_device(place)):
            where = "standard output" if file == "-" else file
            message = f"{taken[place]} and {option} would both be written to {where}"
            mistakes.append((message, f"name another file for {option}"))
        taken.setdefault(place, option)
    if mistakes:
        raise UserError.all_of(mistakes)


def _is_device(place: str) -> bool:
    return os.path.exists(place) and not os.path.isfile(place)


def write_outputs(files: Mapping[str, str | None], texts: Mapping[str, str]) -> None:
    """Write the text of each option into its file, and last the one for standard output.

    Raises:
        UserError: a file cannot be written.
    """
    for option, text in texts.items():
        file = files[option]
        if file is not None and file != "-":
            write_file(Path(file), text.encode("utf-8"))
    for option, text in texts.items():
        if files[option] == "-":
            print_utf_8(text)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, where they are not there.

    Raises:
        UserError: it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(
            f"{folder} cannot be made: {error.strerror}", "name a place that can be written"
        ) from error


def write_file(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; what a link leads to, and a device as it is.

    Raises:
        UserError: it cannot be written.
    """
    try:
        target = Path(os.path.realpath(path))
        if target.exists() and not target.is_file():
            # A file must not take the place of /dev/null or a pipe; a folder is refused here.
            target.write_bytes(content)
        else:
            _write_whole(target, content)
    except OSError as error:
        raise UserError(
            f"{path} cannot be written: {error.strerror}", "name a place that can be written"
        ) from error


def _write_whole(path: Path, content: bytes) -> None:
    fd, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with open(fd, "wb") as file:
            file.write(content)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise
