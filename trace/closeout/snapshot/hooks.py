"""Put the pre-commit hook into a repository, and take it out again.

A hook that was there before is kept aside, called first, and put back at the end.
"""

from __future__ import annotations

import os
import shlex
import tempfile
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from closeout.snapshot.errors import SnapshotError, refused_by_system
from closeout.snapshot.git import Repository, need_repository
from closeout.snapshot.names import is_bad, shown

_ID = "# closeout pre-commit hook 7c1f40d2"
_ASIDE = "pre-commit.before-closeout"
_EDITED = "pre-commit.edited-closeout"

# A relative GIT_* is meant from the top of the working tree, which the script leaves.
_SCRIPT = rf"""#!/bin/sh
{_ID}
# Judges the staged state of the project. 'closeout hook remove' takes it out again.
python=@PYTHON@
project=@PROJECT@

before=$(dirname -- "$0")/{_ASIDE}
if [ -f "$before" ] && [ -x "$before" ]; then
    "$before" "$@" || exit $?
fi

if [ ! -e "$project/requirements/project.yaml" ] &&
    [ -z "$(git --literal-pathspecs ls-files -- "$project/requirements")" ]; then
    echo "closeout: no project in $project, nothing to judge" >&2
    exit 0
fi
top=$(pwd)
case ${{GIT_DIR:-/}} in /*) ;; *) GIT_DIR=$top/$GIT_DIR && export GIT_DIR ;; esac
case ${{GIT_WORK_TREE:-/}} in /*) ;; *) GIT_WORK_TREE=$top/$GIT_WORK_TREE && export GIT_WORK_TREE ;; esac
case ${{GIT_COMMON_DIR:-/}} in /*) ;; *) GIT_COMMON_DIR=$top/$GIT_COMMON_DIR && export GIT_COMMON_DIR ;; esac
case ${{GIT_INDEX_FILE:-/}} in /*) ;; *) GIT_INDEX_FILE=$top/$GIT_INDEX_FILE && export GIT_INDEX_FILE ;; esac
cd -- "$project" || {{
    echo "closeout: the folder $project is staged but not there; git restore it first" >&2
    exit 1
}}

# -P: a file of the project must not stand in for a module of the same name.
if "$python" -P -c 'import closeout' 2>/dev/null; then
    exec "$python" -P -m closeout hook run
fi
if command -v closeout >/dev/null 2>&1; then
    exec closeout hook run
fi
echo "closeout: not found; install it, then run 'closeout hook install' again" >&2
exit 1
"""  # noqa: E501 - a line of the script each


@dataclass(frozen=True, slots=True)
class _Place:
    repository: Repository
    folder: Path

    @property
    def hook(self) -> Path:
        return self.folder / "pre-commit"

    @property
    def aside(self) -> Path:
        return self.folder / _ASIDE

    def named(self, path: Path) -> str:
        """Return a path for a message: from the top of the working tree where it lies in it."""
        top = self.repository.top
        return shown(str(path.relative_to(top) if path.is_relative_to(top) else path))


def install_hook(root: Path, python: str) -> str:
    """Install the pre-commit hook for the project at a folder; return a line on what was done.

    Args:
        python: path of the interpreter that the hook tries first.

    Raises:
        SnapshotError: no repository; the hooks lie outside of it; the hook judges another project;
            a hook was put in by hand while one is kept aside; a file cannot be written.
    """
    # The hook is run from elsewhere. Links stay: they lead into virtual environments.
    python = os.path.abspath(python) if "/" in python else python
    place = _place(root, python)
    with _written():
        return _install(place, python)


def _install(place: _Place, python: str) -> str:
    project = place.repository.prefix.rstrip("/") or "."
    text = _script(python, project)
    present = _own_text(place.hook)
    if present == text:
        return f"{place.named(place.hook)} is there already"
    if present is not None:
        _refuse_other_project(place, present, project)
        kept = _keep_edited(place, present)
        _write(place.hook, text)
        return f"{place.named(place.hook)} is renewed{kept}"
    kept = _put_aside(place)
    _write(place.hook, text)
    return f"{place.named(place.hook)} is installed{kept}"


def remove_hook(root: Path) -> str:
    """Take the hook out and put back the one before it; return a line that says what was done.

    Raises:
        SnapshotError: no repository, or a file cannot be written.
    """
    repository = need_repository(root)
    with _written():
        return _remove_all(repository)


def _remove_all(repository: Repository) -> str:
    # Also where core.hooksPath was set after the hook was installed.
    folders = dict.fromkeys((_hooks_folder(repository), _common_folder(repository) / "hooks"))
    lines = [
        _remove(_Place(repository, folder))
        for folder in folders
        if _is_inside(repository, folder) and _own_text(folder / "pre-commit") is not None
    ]
    return "; ".join(lines) or "there is no hook of closeout here"


def _written() -> AbstractContextManager[None]:
    return refused_by_system("the hook cannot be written", "see to the rights on its folder")


def _remove(place: _Place) -> str:
    kept = _keep_edited(place, _own_text(place.hook) or "")
    if os.path.lexists(place.aside):
        place.aside.replace(place.hook)
        return f"{place.named(place.hook)} is again the hook from before closeout{kept}"
    place.hook.unlink(missing_ok=True)
    return f"{place.named(place.hook)} is removed{kept}"


def _place(root: Path, python: str) -> _Place:
    repository = need_repository(root)
    if is_bad(python) or is_bad(repository.prefix):
        raise SnapshotError(
            "the path of the interpreter or of the project holds a control character or is not "
            "UTF-8",
            "rename the folder",
        )
    place = _Place(repository, _hooks_folder(repository))
    if not _is_inside(repository, place.folder):
        project = repository.prefix.rstrip("/") or "."
        run = f"{shlex.quote(python)} -P -m closeout hook run"
        raise SnapshotError(
            f"the hooks of this repository lie outside of it, in {shown(str(place.folder))}",
            f"add this line to the pre-commit hook there: "
            f"(cd {shlex.quote(project)} && {run}) || exit 1",
        )
    return place


def _hooks_folder(repository: Repository) -> Path:
    output = os.fsdecode(repository.git.ask("rev-parse", "--git-path", "hooks"))
    return repository.top / output.removesuffix("\n")


def _common_folder(repository: Repository) -> Path:
    output = os.fsdecode(repository.git.ask("rev-parse", "--git-common-dir"))
    return repository.top / output.removesuffix("\n")


def _is_inside(repository: Repository, folder: Path) -> bool:
    real = folder.resolve()
    return any(
        real.is_relative_to(home.resolve()) for home in (repository.top, _common_folder(repository))
    )


def _script(python: str, project: str) -> str:
    text = _SCRIPT.replace("@PROJECT@", shlex.quote(project if project == "." else f"./{project}"))
    return text.replace("@PYTHON@", shlex.quote(python))


def _own_text(hook: Path) -> str | None:
    """Return the text of a hook of ours, None where there is none or another's."""
    try:
        text = hook.read_bytes().decode("utf-8", "surrogateescape")
    except OSError:
        return None
    return text if _ID in text.splitlines() else None


def _setting(text: str, name: str) -> str:
    """Return what the script sets a variable to, "" where it does not."""
    line = next((line for line in text.splitlines() if line.startswith(f"{name}=")), f"{name}=")
    try:
        return "".join(shlex.split(line.partition("=")[2]))
    except ValueError:
        return ""


def _refuse_other_project(place: _Place, text: str, project: str) -> None:
    other = _setting(text, "project").removeprefix("./")
    mark = place.repository.top / other / "requirements" / "project.yaml"
    if other and other != project and mark.exists():
        raise SnapshotError(
            f"the hook judges another project of this repository, {shown(other)}",
            f"run closeout hook remove first, or add a line for this one to {_ASIDE} beside it",
        )


def _keep_edited(place: _Place, text: str) -> str:
    """Keep a hook of ours that somebody has edited under another name; return what to say of it."""
    unedited = _script(_setting(text, "python"), _setting(text, "project").removeprefix("./"))
    if text == unedited:
        return ""
    kept = place.folder / _EDITED
    kept.write_bytes(place.hook.read_bytes())
    return f"; it had been edited, its text is kept in {place.named(kept)}"


def _put_aside(place: _Place) -> str:
    if not os.path.lexists(place.hook):
        return ""
    if os.path.lexists(place.aside):
        raise SnapshotError(
            f"there is a hook in {place.named(place.hook)}, and an earlier one is kept in "
            f"{place.named(place.aside)}",
            "make one hook of the two, and delete the other file",
        )
    place.hook.rename(place.aside)
    return f"; the hook that was there is kept as {place.named(place.aside)} and called first"


def _write(hook: Path, text: str) -> None:
    """Write the hook in one step, so that git never sees half of it."""
    hook.parent.mkdir(parents=True, exist_ok=True)
    descriptor, name = tempfile.mkstemp(prefix=".pre-commit-", dir=hook.parent)
    new = Path(name)
    try:
        with open(descriptor, "wb") as file:
            file.write(text.encode("utf-8", "surrogateescape"))
        new.chmod(0o755)
        new.replace(hook)
    except BaseException:
        new.unlink(missing_ok=True)
        raise
