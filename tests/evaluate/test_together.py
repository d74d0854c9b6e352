"""Analyses that are shown to touch nothing but their arguments share a process, unharmed."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from analyses.soft_start import soft_start
from closeout.evaluate import workers
from closeout.evaluate.purity import is_pure
from closeout.model.answer import Answer
from closeout.model.question import Failure, Question
from tests.evaluate.project import HEAD, Project

PURE = {
    "plain": "def f(x): return 3.0 * x - x / 2.0 + abs(-x) ** 2",
    "of closeout.math": "from closeout.math import log10, where\n"
    "def f(x): return where(x > 1.0, log10(x), 0.0)",
    "by the module's name": "from closeout import math as m\ndef f(x): return m.sqrt(x)",
    "of math": "import math\ndef f(x): return math.exp(x) * math.pi",
    "a choice": "def f(x):\n    if x > 2.0:\n        return x\n    return -x",
    "a constant": "C = (1.0, 2.0)\ndef f(x):\n    low, high = C\n    return low * x + C[1]",
    "a result": "from typing import NamedTuple\nclass R(NamedTuple):\n    y: float\n"
    "def f(x):\n    r = R(y=x)\n    return r.y",
    "another function": "def g(x): return x * 2.0\ndef f(x): return g(g(x))",
}
IMPURE = {
    "a file": "def f(x): return float(open('a').read())",
    "a cache": "CACHE = {}\ndef f(x): return CACHE.setdefault('x', x)",
    "a list of others": "SEEN = [0.0]\ndef f(x): return SEEN[0]",
    "a global": "N = 0\ndef f(x):\n    global N\n    N += 1\n    return N * x",
    "a loop": "def f(x):\n    while x < 3.0:\n        x = x * 1.0\n    return x",
    "itself": "def f(x): return f(x - 1.0)",
    "each other": "def f(x): return g(x)\ndef g(x): return f(x)",
    "chance": "import random\ndef f(x): return random.random()",
    "by way of another": "import random\ndef g(x): return random.random()\ndef f(x): return g(x)",
    "a default that is kept": "def f(x, seen=[]): return x",
    "a default of a result": "from typing import NamedTuple\nclass R(NamedTuple):\n"
    "    y: float\n    seen: list = []\ndef f(x): return R(x).seen",
    "a method of a result": "from typing import NamedTuple\nclass R(NamedTuple):\n    y: float\n"
    "    def z(self): return print(1)\ndef f(x): return R(x).z()",
    "what hangs on a function": "def g(x): return x\ng.n = {}\ndef f(x): return g.n",
    "what hangs on it hidden": "def g(x): return x\ndef f(x): return g.__dict__",
    "what extends": "from closeout import math as m\ndef f(x): return m.extend(x, x)",
    "another's place": "import math\nold = math.exp\nmath = type(math)('math')\nmath.exp = print\n"
    "def f(x): return math.exp(x)",
    "a name that hides one": "def abs(x): return print(x)\ndef f(x): return abs(x)",
    "a name that is not there": "def f(x): return nowhere(x)",
    "an import": "def f(x):\n    import os\n    return x",
    "a closure": "def make():\n    n = []\n    def f(x):\n        n.append(x)\n        return x\n"
    "    return f\nf = make()",
    "a generator": "def f(x): yield x",
    "any arguments": "def f(*x): return x",
    "a class with a hook": "class R(tuple):\n    def __new__(cls, x): return print(x)\n"
    "def f(x): return R(x)",
    "an operator of a result": "from typing import NamedTuple\nclass R(NamedTuple):\n    y: float\n"
    "    def __neg__(self): return print(1)\ndef f(x): return -R(x)",
    "a text that is formatted": "from math import exp\ndef f(x): return '%s' % exp",
    "a builtin": "f = print",
}


def _loaded(text: str) -> ModuleType:
    found = ModuleType("invented")
    exec(compile(text, "invented.py", "exec", dont_inherit=True), vars(found))
    return found


@pytest.mark.parametrize("text", PURE.values(), ids=PURE)
def test_what_touches_nothing_but_its_arguments_is_seen(text: str) -> None:
    assert is_pure(_loaded(text).f)


@pytest.mark.parametrize("text", IMPURE.values(), ids=IMPURE)
def test_what_may_touch_more_is_not_pure(text: str) -> None:
    assert not is_pure(_loaded(text).f)


def test_a_real_formula_is_pure() -> None:
    assert is_pure(soft_start.function)


MANY = (
    HEAD
    + "N = 0\n\n"
    + "".join(f"@analysis\ndef f{n}(x: W) -> R:\n    return R({n} * x)\n\n\n" for n in range(40))
)
COUNTS = """@analysis
def counts(x: W) -> R:
    global N
    N += 1
    return R(N * 1.0)


"""
BOMB = """@analysis(time_limit=1.0)
def bomb(x: W) -> R:
    seven = 7
    return R(seven**seven**13 * x)


"""
# Its search over a box takes longer than a process is shared for.
SLOW = """@analysis
def f{n}(x: W) -> R:
    y = sin(x) * cos(x) - sin(2.0 * x) / 2.0
    y = y * sin(7.0 * x) * cos(9.0 * x) + y * y * sin(31.0 * x)
    return R({n} * x + y * sin(97.0 * x + y) - y * sin(97.0 * x))


"""
DIES = """import os


@analysis
def dies(x: W) -> R:
    os._exit(3)
    return R(x)


"""


def _answers(project: Project, names: list[str], jobs: int = 2) -> dict[str, Answer | Failure]:
    with project.evaluator(jobs=jobs) as evaluator:
        [module] = evaluator.modules()
        specs = {spec.name: spec for spec in module.specs}
        asked = [
            Question(f"m.{name}", (("x", 2.0),), (("x", 1.0, 3.0),) if boxed else ())
            for name in names
            for boxed in (False, True)
        ]
        replies = evaluator.answer(asked, specs)
    return {
        f"{question.analysis} {bool(question.box)}": reply.result
        for question, reply in replies.items()
    }


def test_one_process_answers_as_many_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = [*(f"f{n}" for n in range(40)), "counts"]
    files = {"analyses/m.py": MANY + COUNTS}
    together = _answers(Project(tmp_path / "a", files), names)
    monkeypatch.setattr(workers, "MOST_TOGETHER", 1)
    assert _answers(Project(tmp_path / "b", files), names) == together
    assert len(together) == 82
    alone = [together["m.counts False"], together["m.counts True"]]
    assert [one.extents["y", None].value for one in alone] == [1.0, 1.0]  # type: ignore[union-attr]


def test_they_share_a_process_only_for_a_moment(tmp_path: Path) -> None:
    """What there was no time for is asked again."""
    text = (
        HEAD
        + "from closeout.math import cos, sin\n\n\n"
        + "".join(SLOW.format(n=n) for n in range(8))
    )
    found = _answers(Project(tmp_path / "a", {"analyses/m.py": text}), [f"f{n}" for n in range(8)])
    assert [one.extents["y", None].value for one in found.values()] == [  # type: ignore[union-attr]
        2.0 * n for n in range(8) for _ in range(2)
    ]


def test_one_that_does_not_end_takes_no_other_with_it(tmp_path: Path) -> None:
    names = ["f0", "f1", "bomb", "f2", "dies", "f3"]
    files = {"analyses/m.py": MANY + BOMB + DIES}
    found = _answers(Project(tmp_path / "a", files), names)
    failed = {name: one.kind for name, one in found.items() if isinstance(one, Failure)}
    assert failed == {
        "m.bomb False": "timed out",
        "m.bomb True": "timed out",
        "m.dies False": "exited",
        "m.dies True": "exited",
    }
