"""What makes the forks of workers fast: all that is done for that, and what each part gains.

A fork copies page tables, and then each page that is written to; both grow with what is loaded.
Figures are of 300 forks that each evaluate one analysis of two inputs over a box (3.6 ms of
processor time a fork; fork and exit alone take 1.0 ms; Python 3.11, two cores):

- few modules: ``dataclasses``, ``hashlib``, ``inspect`` and ``pathlib`` made fork and exit take
  1.0 ms instead of 0.5. So what workers load is made of named tuples, takes BLAKE2 without
  ``hashlib`` (``store/keys.py``), has tables instead of ``dis`` (``arithmetic/code``), and imports
  inside of functions what few evaluations need;
- :func:`warm_up`: without it 5.2 ms. The interpreter writes into code that it runs often; what is
  written before the fork need not be written, page by page, in each of them;
- what most proofs need: libmp (``arithmetic/interval/rounded.py``). It adds 0.25 ms to a fork, and
  is loaded in 0.04 s; but in a process that proves, under all that watches there, it takes 2 s;
- known before the fork: what the code of an analysis shows, what it declares, whose a folder is
  (``host``, ``describe``, ``path_owner``); without what the code shows 4.2 to 5.1 ms;
- :func:`freeze`: 5.2 to 6.0 ms instead of 12 where the analysis makes so many objects that Python
  looks for garbage; nothing where it does not;
- more than one evaluation in a process, where an analysis touches nothing but its arguments
  (``purity``, ``MOST_TOGETHER`` of ``workers``): no fork for each.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable
from typing import Annotated, Any, NamedTuple

from closeout import Analysis
from closeout.evaluate import wire
from closeout.evaluate.codec import decoded, encoded
from closeout.model.question import Question, Request
from closeout.units import Unit

WARM_RUNS = 24


def load_unseen(load: Callable[[], object]) -> None:
    """Load a library of the tool, and forget what of the standard library it brought along.

    An analysis that imports a module of such a name looks for it itself, since another may come
    first on its search path. What is built in cannot be hidden in this way. The library itself is
    to get Python's own, whatever comes first.
    """
    before, path = set(sys.modules), sys.path[:]
    own = os.path.dirname(os.__file__)
    sys.path.sort(key=lambda folder: not folder.startswith(own) or "site-packages" in folder)
    load()
    sys.path[:] = path
    for name in set(sys.modules) - before:
        if name.partition(".")[0] in sys.stdlib_module_names - set(sys.builtin_module_names):
            del sys.modules[name]


# Keeps the collector from writing into what is there already, here and in every fork.
freeze = gc.freeze


def warm_up(
    evaluate: Callable[[dict[str, Analysis[..., Any]], Request], tuple[Any, ...]],
) -> None:
    """Run what every evaluation runs, some times: see the module.

    Args:
        evaluate: answers a request to analyses, by their full names, as a worker does.
    """

    class Warm(NamedTuple):
        y: Annotated[float, Unit("1")]

    def warm(a: float, b: float) -> Warm:
        return Warm(a * b + a / b - 1.0)

    warm.__annotations__ = {"a": float, "b": float, "return": Warm}
    analysis = Analysis(warm, (), 1.0)
    box = (("a", 1.0, 3.0), ("b", 2.0, 4.0))
    question = Question("warm", (("a", 2.0), ("b", 3.0)), box, detail='["y"]')
    content = encoded(Request("warm.warm", question, None, True, 1.0))
    for _ in range(WARM_RUNS):
        found = evaluate({"warm.warm": analysis}, decoded(Request, content))
        wire.pack({"answer": encoded(found), "read": None, "spent": 0.0})
