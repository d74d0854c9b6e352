"""Put the hooks into a repository, and take them out again.

Git calls one before a commit and another before the commit of a merge; both judge alike. A hook
that was there before is put aside, called first, and put back at the end.
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

_NAMES = ("pre-commit", "pre-merge-commit")
_ID = "# closeout @NAME@ hook 7c1f40d2"

# A relative GIT_* is meant from the top of the working tree, which the script leaves.
_SCRIPT = r"""#!/bin/sh
@ID@
# Judges the staged state of the project. 'closeout hook remove' takes it out again.
python=@PYTHON@
project=@PROJECT@

before=$(dirname -- "$0")/@NAME@.before-closeout
if [ -f "$before" ] && [ -x "$before" ]; then
    "$before" "$@" || exit $?
fi

if [ ! -e "$project/requirements/project.yaml" ] &&
    [ -z "$(git --literal-pathspecs ls-files -- "$project/requirements")" ]; then
    echo "closeout: no project in $project, nothing to judge" >&2
    exit 0
fi
top=$(pwd)
case ${GIT_DIR:-/} in /*) ;; *) GIT_DIR=$top/$GIT_DIR && export GIT_DIR ;; esac
case ${GIT_WORK_TREE:-/} in /*) ;; *) GIT_WORK_TREE=$top/$GIT_WORK_TREE && export GIT_WORK_TREE ;; esac
case ${GIT_COMMON_DIR:-/} in /*) ;; *) GIT_COMMON_DIR=$top/$GIT_COMMON_DIR && export GIT_COMMON_DIR ;; esac
case ${GIT_INDEX_FILE:-/} in /*) ;; *) GIT_INDEX_FILE=$top/$GIT_INDEX_FILE && export GIT_INDEX_FILE ;; esac
cd -- "$project" || {
    echo "closeout: the folder $project is staged but not there; git restore it first" >&2
    exit 1
}

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
    """Where a repository has the hook of a name."""

    repository: Repository
    folder: Path
    name: str

    @property
    def hook(self) -> Path:
        return self.folder / self.name

    @property
    def aside(self) -> Path:
        return self.folder / f"{self.name}.before-closeout"

    @property
    def edited(self) -> Path:
        return self.folder / f"{self.name}.edited-closeout"

    @property
    def own(self) -> str | None:
        """The text of a hook of ours, None where there is none or another's."""
        try:
            text = self.hook.read_bytes().decode("utf-8", "surrogateescape")
        except OSError:
            return None
        return text if _ID.replace("@NAME@", self.name) in text.splitlines() else None

    def named(self, path: Path) -> str:
        """Return a path for a message: from the top of the working tree where it lies in it."""
        top = self.repository.top
        return shown(str(path.relative_to(top) if path.is_relative_to(top) else path))


def install_hook(root: Path, python: str) -> str:
    """Install the hooks for the project at a folder; return a line on each that says what was done.

    Args:
        python: path of the interpreter that the hooks try first.

    Raises:
        SnapshotError: no repository; the hooks lie outside of it; a hook judges another project;
            one was put in by hand while one is put aside; a file cannot be written.
    """
    # The hook is run from elsewhere. Links stay: they lead into virtual environments.
    python = os.path.abspath(python) if "/" in python else python
    repository, folder = _home(root, python)
    project = repository.prefix.rstrip("/") or "."
    places = [_Place(repository, folder, name) for name in _NAMES]
    for place in places:  # both may be installed, or neither is
        _refuse(place, project)
    with _written():
        return "\n".join(_install(place, python, project) for place in places)


def _install(place: _Place, python: str, project: str) -> str:
    text = _script(place.name, python, project)
    present = place.own
    if present == text:
        return f"{place.named(place.hook)} is already installed"
    remark = _put_aside(place) if present is None else _keep_edited(place, present)
    _write(place.hook, text)
    return f"{place.named(place.hook)} is {'installed' if present is None else 'updated'}{remark}"


def remove_hook(root: Path) -> str:
    """Take the hooks out and put back those before them; return lines that say what was done.

    Raises:
        SnapshotError: no repository, or a file cannot be written.
    """
    repository = need_repository(root)
    with _written():
        return _remove_all(repository)


def _remove_all(repository: Repository) -> str:
    # Also where core.hooksPath was set after the hook was installed.
    folders = dict.fromkeys((_hooks_folder(repository), _common_folder(repository) / "hooks"))
    places = [
        _Place(repository, folder, name)
        for folder in folders
        if _is_inside(repository, folder)
        for name in _NAMES
    ]
    lines = [_remove(place, text) for place in places if (text := place.own) is not None]
    return "\n".join(lines) or "no hook of closeout here"


def _written() -> AbstractContextManager[None]:
    return refused_by_system("the hook cannot be written", "check the permissions of its folder")


def _remove(place: _Place, text: str) -> str:
    remark = _keep_edited(place, text)
    if os.path.lexists(place.aside):
        place.aside.replace(place.hook)
        return f"{place.named(place.hook)} is again the earlier hook{remark}"
    place.hook.unlink(missing_ok=True)
    return f"{place.named(place.hook)} is removed{remark}"


def _home(root: Path, python: str) -> tuple[Repository, Path]:
    """Return the repository of a project, and the folder of its hooks."""
    repository = need_repository(root)
    if is_bad(python) or is_bad(repository.prefix):
        raise SnapshotError(
            "the path of the interpreter or of the project contains a control character or is not "
            "UTF-8",
            "rename the folder",
        )
    folder = _hooks_folder(repository)
    if not _is_inside(repository, folder):
        project = repository.prefix.rstrip("/") or "."
        run = f"{shlex.quote(python)} -P -m closeout hook run"
        raise SnapshotError(
            f"the hooks of this repository lie outside of it, in {shown(str(folder))}",
            f"add this line to the hooks {' and '.join(_NAMES)} there: "
            f"(cd {shlex.quote(project)} && {run}) || exit 1",
        )
    return repository, folder


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


def _script(name: str, python: str, project: str) -> str:
    text = _SCRIPT.replace("@ID@", _ID).replace("@NAME@", name)
    text = text.replace("@PROJECT@", shlex.quote(project if project == "." else f"./{project}"))
    return text.replace("@PYTHON@", shlex.quote(python))


def _setting(text: str, name: str) -> str:
    """Return what the script sets a variable to, "" where it does not."""
    line = next((line for line in text.splitlines() if line.startswith(f"{name}=")), f"{name}=")
    try:
        return "".join(shlex.split(line.partition("=")[2]))
    except ValueError:
        return ""


def _refuse(place: _Place, project: str) -> None:
    """Refuse to take the place of a hook of ours for another project, or of a second foreign one.

    Raises:
        SnapshotError: there is such a hook.
    """
    text = place.own
    if text is None:
        if os.path.lexists(place.hook) and os.path.lexists(place.aside):
            raise SnapshotError(
                f"a hook exists in {place.named(place.hook)}, and an earlier one in "
                f"{place.named(place.aside)}",
                "make one hook of the two, and delete the other file",
            )
        return
    other = _setting(text, "project").removeprefix("./")
    mark = place.repository.top / other / "requirements" / "project.yaml"
    if other and other != project and mark.exists():
        raise SnapshotError(
            f"the hook judges another project of this repository, {shown(other)}",
            "run closeout hook remove first, or add a line for this one to"
            f" {place.aside.name} beside it",
        )


def _keep_edited(place: _Place, text: str) -> str:
    """Keep a hook of ours that somebody has edited under another name; return what to say of it."""
    project = _setting(text, "project").removeprefix("./")
    if text == _script(place.name, _setting(text, "python"), project):
        return ""
    place.edited.write_bytes(place.hook.read_bytes())
    return f"; it had been edited, its text is kept in {place.named(place.edited)}"


def _put_aside(place: _Place) -> str:
    if not os.path.lexists(place.hook):
        return ""
    place.hook.rename(place.aside)
    return f"; the hook that was there is kept as {place.named(place.aside)} and called first"


def _write(hook: Path, text: str) -> None:
    """Write the hook in one step, so that git never sees half of it."""
    hook.parent.mkdir(parents=True, exist_ok=True)
    descriptor, name = tempfile.mkstemp(prefix=f".{hook.name}-", dir=hook.parent)
    new = Path(name)
    try:
        with open(descriptor, "wb") as file:
            file.write(text.encode("utf-8", "surrogateescape"))
        new.chmod(0o755)
        new.replace(hook)
    except BaseException:
        new.unlink(missing_ok=True)
        raise
