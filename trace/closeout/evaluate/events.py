"""Which audit events change something or answer from elsewhere, and how files are opened to write.

Python's documentation, "Audit events table" and module ``os``.
"""

from __future__ import annotations

import os

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
FRESH = os.O_TRUNC | os.O_EXCL
# Events that change something: where the paths stand among their arguments, and the descriptor of
# the folder that each starts from (Python's documentation, "Audit events table").
CHANGES: dict[str, tuple[tuple[int, int | None], ...]] = {
    "os.remove": ((0, 1),),
    "os.rename": ((0, 2), (1, 3)),
    "os.mkdir": ((0, 2),),
    "os.rmdir": ((0, 1),),
    "os.truncate": ((0, None),),
    "os.link": ((0, 2), (1, 3)),
    "os.symlink": ((1, 2),),
    "os.chmod": ((0, 2),),
    "os.chown": ((0, 3),),
    "os.utime": ((0, 3),),
}
MAKING = ("os.mkdir", "os.rename", "os.link", "os.symlink")
OUTSIDE_HELP = {
    "subprocess.Popen": "it started a process",
    "os.system": "it started a process",
    "os.exec": "it started a process",
    "os.posix_spawn": "it started a process",
    "os.spawn": "it started a process",
    "os.fork": "it started a process",
    "os.forkpty": "it started a process",
    "pty.spawn": "it started a process",
    "socket.__new__": "it opened a socket",
    "socket.connect": "it opened a socket",
    "socket.bind": "it opened a socket",
    "sqlite3.connect": "it opened a database",
}
# No event tells that these have been used; each is imported at its first use.
SPAWNING = ("multiprocessing.popen_spawn_posix", "multiprocessing.popen_forkserver")
