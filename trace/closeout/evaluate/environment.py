"""The environment of the processes that run a project's code: bare, and the same everywhere."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys

from closeout.store.keys import search_path

# The same numbers on every machine: no hash seed, time zone, locale or thread count from outside.
_FIXED = {
    "PYTHONHASHSEED": "0",
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "LANG": "C.UTF-8",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "NUMEXPR_NUM_THREADS": "1",
    "HOME": "/dev/null/home",  # cannot be made, whoever runs it
    "MPLBACKEND": "Agg",
    # Fonts of the machine would change a figure from one to the next, and listing them takes 1 s.
    "MPL_IGNORE_SYSTEM_FONTS": "1",
}
_START = (
    "import sys, json; given = json.loads(sys.argv[1]); sys.path[:] = given['path'];"
    " from closeout.evaluate.host import main; main(given['fd'])"
)
_PASSED = ("PATH", "LD_LIBRARY_PATH", "OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE", "TMPDIR")


def bare_environment() -> dict[str, str]:
    """Return the environment in which analyses are evaluated and their tests are run."""
    return {**_FIXED, **{name: os.environ[name] for name in _PASSED if name in os.environ}}


def start_host(root: str) -> tuple[subprocess.Popen[bytes], socket.socket]:
    """Return the host process over a folder, and the channel to it."""
    mine, theirs = socket.socketpair()
    given = json.dumps({"fd": theirs.fileno(), "path": search_path()})
    with theirs:
        process = subprocess.Popen(
            [sys.executable, "-P", "-s", "-B", "-c", _START, given],
            cwd=root,
            env=bare_environment(),
            pass_fds=[theirs.fileno()],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            process_group=0,
        )
    return process, mine
