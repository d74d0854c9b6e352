"""Run git: with fixed flags, a clean environment and a time limit. Nothing else runs it."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from closeout.snapshot.errors import SnapshotError
from closeout.snapshot.names import is_bad, shown

# What names a repository, its index and its objects; git sets some of them for a hook.
_REPOSITORY = ("GIT_DIR", "GIT_WORK_TREE", "GIT_COMMON_DIR")
_CONTENT = (
    "GIT_INDEX_FILE",
    "GIT_OBJECT_DIRECTORY",
    "GIT_ALTERNATE_OBJECT_DIRECTORIES",
    "GIT_QUARANTINE_PATH",
)
_DISCOVERY = ("GIT_CEILING_DIRECTORIES", "GIT_DISCOVERY_ACROSS_FILESYSTEM")
# Which configuration is read decides on filters and on whether git trusts the folder
# (safe.directory), so GIT_CONFIG_* stays; the flags below beat what it says.
_CONFIGURATION = "GIT_CONFIG_"

_FLAGS = (
    "--no-pager",
    "--no-optional-locks",
    "--no-replace-objects",  # a commit is what its identifier says
    "--literal-pathspecs",
    "-c", "color.ui=false",
    "-c", "core.fsmonitor=false",
    "-c", "core.quotePath=false",
    # A file of the same size and time may hold something else; the inode's time betrays it.
    "-c", "core.trustctime=true",
    "-c", "core.checkStat=default",
    "-c", "submodule.recurse=false",
    "-c", "log.showRoot=true",  # else the first commit seems to have changed nothing
    "-c", "log.follow=false",
)  # fmt: skip
# For calls that write an index of our own: no hook of the user, no part of it in the repository,
# and whole, whatever part of the project is checked out.
OWN_INDEX = (
    "-c", "core.hooksPath=/dev/null",
    "-c", "core.splitIndex=false",
    "-c", "core.sparseCheckout=false",
    "-c", "index.sparse=false",
)  # fmt: skip

# By the clock, so far off that a busy machine does not come near: what git cannot tell would be
# missing from the verdicts.
QUESTION_SECONDS = 900.0
EXPORT_SECONDS = 3600.0
_LINES_SHOWN = 8


@dataclass(frozen=True, slots=True)
class Reply:
    """How a call of git ended."""

    status: int
    out: bytes
    err: str

    @property
    def reason(self) -> str:
        """The errors among git's messages, without their prefixes, on one line."""
        lines = [line.strip() for line in self.err.splitlines() if line.strip()]
        errors = [line for line in lines if line.startswith(("fatal: ", "error: "))] or lines
        texts = [line.removeprefix("fatal: ").removeprefix("error: ") for line in errors]
        most = [*texts[:_LINES_SHOWN], "..."] if len(texts) > _LINES_SHOWN else texts
        return shown("; ".join(most)) or f"it ended with status {self.status}"


@dataclass(frozen=True, slots=True)
class Git:
    """Where and with which environment git is called."""

    folder: Path
    environment: Mapping[str, str]

    def call(
        self,
        *arguments: str,
        given: bytes = b"",
        seconds: float = QUESTION_SECONDS,
        keep_open: Iterable[int] = (),
    ) -> Reply:
        """Return git's reply, whatever its exit status.

        Raises:
            SnapshotError: git is missing, or did not end in time.
        """
        command = ["git", *_FLAGS, *arguments]
        process = _started(command, self.folder, self.environment, tuple(keep_open))
        try:
            out, err = process.communicate(given, timeout=seconds)
        except subprocess.TimeoutExpired:
            _end(process)
            raise SnapshotError(
                f"git did not end within {seconds:g} s ({_subcommand(arguments)})",
                "check git in this folder, and its filters",
            ) from None
        except BaseException:
            _end(process)
            raise
        return Reply(process.returncode, out, err.decode("utf-8", "backslashreplace"))

    def ask(
        self,
        *arguments: str,
        given: bytes = b"",
        seconds: float = QUESTION_SECONDS,
        keep_open: Iterable[int] = (),
    ) -> bytes:
        """Return git's output.

        Raises:
            SnapshotError: as ``call``, and where git's exit status is not 0.
        """
        reply = self.call(*arguments, given=given, seconds=seconds, keep_open=keep_open)
        if reply.status != 0:
            raise refusal(reply, _subcommand(arguments))
        return reply.out

    def extended(self, **variables: Path | str) -> Git:
        """Return the same with further variables in the environment."""
        added = {name: str(value) for name, value in variables.items()}
        return Git(self.folder, {**self.environment, **added})


@dataclass(frozen=True, slots=True)
class Repository:
    """A git repository with a working tree in which a project stands.

    ``git`` runs at the top of the working tree; ``prefix`` leads from there to the project, ""
    where it is the top itself, else ending in "/". ``index`` may be absent.
    """

    top: Path
    git_dir: Path
    prefix: str
    index: Path
    git: Git = field(repr=False)

    def head(self) -> str | None:
        """Return the identifier of HEAD's commit, or None before the first one."""
        reply = self.git.call("rev-parse", "--verify", "--quiet", "HEAD^{commit}")
        return reply.out.decode().strip() if reply.status == 0 else None


def names_of(output: bytes) -> list[str]:
    """Return the NUL-separated fields of an output, read as file names are."""
    return [os.fsdecode(name) for name in output.split(b"\0") if name]


def refusal(reply: Reply, subcommand: str) -> SnapshotError:
    """Return the error that says why git refused, with a cure where there is a known one."""
    if "dubious ownership" in reply.err:
        return SnapshotError(
            f"git does not trust this folder: {reply.reason}",
            "if you trust it, run: git config --global --add safe.directory <folder>",
        )
    return SnapshotError(
        f"git {subcommand} failed: {reply.reason}", "run git fsck, and correct what it reports"
    )


def git_at(root: Path) -> Git:
    """Return git for questions about the working tree at a folder, found without a call if it can.

    Git itself takes a GIT_DIR without GIT_WORK_TREE to mean that its working folder is the top, so
    the repository has to be found first there.
    """
    environment = clean_environment()
    if not any(name in environment for name in _REPOSITORY):
        return Git(root, environment)
    repository = find_repository(root)
    plain = Git(root, _without(environment, _REPOSITORY + _CONTENT))
    return plain if repository is None else Git(root, repository.git.environment)


def find_repository(root: Path) -> Repository | None:
    """Return the repository in whose working tree a folder stands, None outside of any.

    GIT_DIR and its like hold where the folder stands in the working tree that they name.

    Raises:
        SnapshotError: git is missing or refuses.
    """
    root = root.resolve()
    environment = clean_environment()
    plain = _without(environment, _REPOSITORY)
    named = "GIT_DIR" in environment
    if "GIT_WORK_TREE" not in environment:
        found = _discovered(Git(root, plain))
        if found is not None and (not named or _same(found[1], environment["GIT_DIR"])):
            return _repository(root, *found, plain)
    if named or "GIT_WORK_TREE" in environment:
        start = Path(environment.get("GIT_WORK_TREE") or Path.cwd())
        found = _discovered(Git(start, environment)) if start.is_dir() else None
        if found is not None and root.is_relative_to(found[0]):
            return _repository(root, *found, environment)
    # What the variables name is another repository: they say nothing of this one.
    plain = _without(plain, _CONTENT)
    found = _discovered(Git(root, plain))
    return None if found is None else _repository(root, *found, plain)


def need_repository(root: Path) -> Repository:
    """Return the repository of a folder.

    Raises:
        SnapshotError: there is none, git is missing or refuses.
    """
    repository = find_repository(root)
    if repository is None:
        raise SnapshotError(
            f"{shown(str(root))} is in no git repository",
            "run git init there, or judge the working tree instead",
        )
    return repository


def clean_environment() -> dict[str, str]:
    """Return the environment for git: the user's, less the GIT_* that only confuse."""
    retained = (*_REPOSITORY, *_CONTENT, *_DISCOVERY)
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("GIT_") or name.startswith(_CONFIGURATION) or name in retained
    }
    for name in _REPOSITORY:
        if environment.get(name):
            environment[name] = str(Path.cwd() / environment[name])
        else:
            environment.pop(name, None)
    environment.pop("SSH_ASKPASS", None)
    environment.update(LC_ALL="C", LANGUAGE="C", GIT_TERMINAL_PROMPT="0", GIT_OPTIONAL_LOCKS="0")
    return environment


def _repository(root: Path, top: Path, git_dir: Path, environment: Mapping[str, str]) -> Repository:
    # Git takes a relative name from the top; a hook is given ".git/index".
    index = top / (environment.get("GIT_INDEX_FILE") or git_dir / "index")
    if not index.exists() and index != git_dir / "index":
        raise SnapshotError(
            f"GIT_INDEX_FILE names {shown(str(index))}, which is not there",
            "unset GIT_INDEX_FILE, or run this from the hook that git gave it to",
        )
    prefix = root.relative_to(top).as_posix()
    fixed = {**environment, "GIT_DIR": str(git_dir), "GIT_WORK_TREE": str(top)}
    return Repository(
        top,
        git_dir,
        "" if prefix == "." else f"{prefix}/",
        index,
        Git(top, {**fixed, "GIT_INDEX_FILE": str(index)}),
    )


def _discovered(git: Git) -> tuple[Path, Path] | None:
    """Return the top of the working tree and the git folder, None outside of any."""
    reply = git.call("rev-parse", "--show-toplevel", "--absolute-git-dir")
    if reply.status != 0:
        if "not a git repository" in reply.err:
            return None
        raise refusal(reply, "rev-parse")
    lines = os.fsdecode(reply.out).removesuffix("\n").split("\n")
    if len(lines) != 2 or any(is_bad(line) for line in lines):
        raise SnapshotError(
            "the path of the git repository contains a control character or is not UTF-8",
            "rename the folder",
        )
    return Path(lines[0]).resolve(), Path(lines[1]).resolve()


def _same(found: Path, named: str) -> bool:
    return found == Path(named).resolve()


def _without(environment: Mapping[str, str], names: tuple[str, ...]) -> dict[str, str]:
    return {name: value for name, value in environment.items() if name not in names}


def _started(
    command: list[str], folder: Path, environment: Mapping[str, str], keep_open: tuple[int, ...]
) -> subprocess.Popen[bytes]:
    try:
        return subprocess.Popen(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            pass_fds=keep_open,
            # Its own group, so that its filters can be ended with it.
            process_group=0,
        )
    except FileNotFoundError as error:
        if error.filename != "git":
            raise SnapshotError(
                f"the folder {shown(str(folder))} is not there", "name a folder that exists"
            ) from None
        raise SnapshotError(
            "git is not installed", "install git, or put it on PATH; 2.31 or later"
        ) from None


def _end(process: subprocess.Popen[bytes]) -> None:
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.communicate()


def _subcommand(arguments: tuple[str, ...]) -> str:
    """Return the first word of a call that is no option nor an option's value."""
    words = iter(arguments)
    for word in words:
        if word == "-c":
            next(words)
        elif not word.startswith("-"):
            return word
    return ""
