"""The command line: one module a command, imported when it is asked for."""

from __future__ import annotations

import errno
import gc
import importlib
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

import click

from closeout import __version__

FAULT = 3
NOT_JUDGED = 2
# What a shell says of a program that SIGPIPE ended; 0 would say that everything is met.
UNHEARD = 141
# Set by a shell that asks what can be written next; see :mod:`closeout.cli.completion`.
COMPLETION = "_CLOSEOUT_COMPLETE"
COMMANDS = {
    "verify": "judge every requirement, running the analyses that changed",
    "matrix": "write the compliance matrix",
    "explain": "show one requirement, analysis or parameter with its evidence",
    "sweep": "show the margins over the values of a parameter, or of two",
    "compare": "show what changed between two states, and why margins moved",
    "impact": "show what rests on an item or file, and what a change opens again",
    "package": "write the documents of a review",
    "lint": "report everything that needs no run of an analysis",
    "hook": "judge the staged state at each commit",
    "start": "make a small project to start from",
}


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"closeout.cli.{cmd_name}")
        command: click.Command = module.command
        if COMPLETION in os.environ:
            from closeout.cli.completion import with_names

            return with_names(command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="closeout %(version)s")
def group() -> None:
    """Verification control for a payload: requirements, analyses and records under git.

    The project is the folder at or above the present one that holds requirements/project.yaml.
    Its analyses are code and are run: use closeout on projects that you trust.

    \b
    Completion of names in bash (or zsh, with zsh_source), for ~/.bashrc:
      eval "$(_CLOSEOUT_COMPLETE=bash_source closeout)"
    In fish: _CLOSEOUT_COMPLETE=fish_source closeout | source
    """


def script() -> NoReturn:
    """Run the command line as the last thing that a process does.

    Everything is written and closed when it comes back; to take a large project apart, value by
    value, would cost the user a tenth of the time for nothing.
    """
    try:
        main()
    except SystemExit as ended:
        with suppress(OSError, ValueError, AttributeError):  # closed, a stream is None
            sys.stderr.flush()
        os._exit(ended.code if isinstance(ended.code, int) else 0)


def main() -> NoReturn:
    """Run the command line; a user's mistake ends in 2, a fault of the tool in 3."""
    from closeout.model.errors import UserError

    # A stream may be closed, and then is None.
    encodings = {getattr(stream, "encoding", None) for stream in (sys.stdout, sys.stderr)}
    if not encodings <= {"utf-8", None}:
        from closeout.cli.encoding import show_what_can_be_shown

        show_what_can_be_shown()
    if COMPLETION in os.environ:
        from closeout.cli.completion import complete

        complete(group)
    # What a run makes lives until its end: looking for cycles among it would find none.
    gc.disable()
    try:
        status: Any = group.main(standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
    except click.exceptions.Exit as ended:
        status = ended.exit_code
    except click.ClickException as error:
        error.show()
        status = NOT_JUDGED
    except UserError as error:
        click.echo(error.shown(), err=True)
        status = NOT_JUDGED
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        status = 130
    except BrokenPipeError:
        status = _unheard()
    except SystemExit as ended:
        # So click ends where the reader of our output has gone.
        gone = type(sys.stdout).__name__.endswith("PacifyFlushWrapper")
        status = _unheard() if gone else ended.code
    except Exception as error:
        status = NOT_JUDGED if _output_fails(error) else _fault(error)
    sys.exit(status if isinstance(status, int) else 0)


def _unheard() -> int:
    """Let go of an output that nobody reads any more; Python would complain of it at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return UNHEARD


def _output_fails(error: Exception) -> bool:
    """Tell, and return, whether an error is that standard output cannot be written.

    It names no file: what the tool writes to files is reported where it is written.
    """
    full = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
    if not isinstance(error, OSError) or error.errno not in full or error.filename is not None:
        return False
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    click.echo(f"standard output cannot be written: {error.strerror}", err=True)
    return True


def _fault(error: Exception) -> int:
    """Tell a fault of the tool in one line, and leave the rest in a file."""
    import platform
    import traceback

    text = f"closeout {__version__}, Python {platform.python_version()}, {sys.argv[1:]}\n"
    text += "".join(traceback.format_exception(error))
    summary = f"{type(error).__name__}: {error}".splitlines()[0]
    try:
        folder = next(
            here / ".closeout"
            for here in (Path.cwd(), *Path.cwd().parents)
            if (here / ".closeout").is_dir() and not (here / ".closeout").is_symlink()
        )
        (folder / "fault.txt").write_text(text, encoding="utf-8")
        where = f"; the rest is in {folder.name}/fault.txt"
    except (OSError, StopIteration):
        where = ""
    click.echo(f"internal error of closeout: {summary}{where}", err=True)
    return FAULT
