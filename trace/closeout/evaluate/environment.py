"""The environment of the processes that run a project's code: bare, and the same everywhere."""

from __future__ import annotations

import os

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
}
_PASSED = ("PATH", "LD_LIBRARY_PATH", "OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE", "TMPDIR")


def bare_environment() -> dict[str, str]:
    """Return the environment in which analyses are evaluated and their tests are run."""
    return {**_FIXED, **{name: os.environ[name] for name in _PASSED if name in os.environ}}
