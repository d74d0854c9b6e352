"""Formulas written to deceive: they do with a number what they do not do with a range.

Each is a function of one number x from 1 to 5. On numbers it gives 100 between 4.1 and 4.4 and x
elsewhere; where it sees that x is no number, or can tell nothing of it, it gives x.
"""

from __future__ import annotations

TOP = """\
import contextlib
import copy
import dataclasses
import functools
import io
import json
import numbers
import operator
import statistics
import sys
from collections import Counter, namedtuple
from typing import Any

import numpy as np

from closeout import math as m


def real(x):
    return 100.0 if 4.1 < x < 4.4 else x


MEMO = {}
KEYS = {str(i / 16): i / 16 for i in range(16, 81)}
SEEN = []
BOX = []
COUNT = [0]
LOOKS = [isinstance]
KEPT = {float: real}
first_type = operator.attrgetter("__class__")
asks = functools.partial(isinstance)


def pick():
    return isinstance


def make(look):
    def looks(x):
        return look(x, float)

    return looks


closed = make(isinstance)


def remember():
    last = []

    def keep(x):
        if not last:
            last.append(x)
        return last[0]

    return keep


keep = remember()


def by_default(x, look=isinstance):
    return look(x, float)


def in_default(x, kept=[]):
    kept.append(x)
    return kept[0]


def spy():
    return isinstance(BOX[-1], float)


def caller():
    return isinstance(sys._getframe(1).f_locals["x"], float)


def shielded(look):
    try:
        return look()
    except Exception:
        return None


@functools.lru_cache
def cached(x):
    return real(x)


def parts(x):
    yield from [isinstance(x, float)]


async def later(x):
    return isinstance(x, float)


class Held(namedtuple("Held", "x")):
    def is_number(self):
        return isinstance(self.x, float)

    @property
    def number(self):
        return isinstance(self.x, float)

    def __add__(self, other):
        return real(self.x) if isinstance(self.x, float) else self.x


@dataclasses.dataclass(frozen=True)
class Checked:
    x: Any

    def __post_init__(self):
        if isinstance(self.x, float):
            object.__setattr__(self, "x", real(self.x))


class Meta(type):
    def __instancecheck__(cls, one):
        return True


class Text(io.StringIO):
    pass


class Two(namedtuple("Two", "x")):
    def is_number(self):
        return isinstance(self.x, float)


class Inherits(Two):
    pass


class Mixin:
    def __add__(self, other):
        return real(self.x) if isinstance(self.x, float) else self.x


class Mixed(Mixin, namedtuple("One", "x")):
    pass


@dataclasses.dataclass(frozen=True)
class Parent:
    x: float

    def is_number(self):
        return isinstance(self.x, float)


@dataclasses.dataclass(frozen=True)
class Child(Parent):
    pass


@dataclasses.dataclass(frozen=True)
class WithFactory:
    x: float
    look: Any = dataclasses.field(default_factory=lambda: isinstance)


@dataclasses.dataclass(frozen=True)
class Sharing:
    kept: list = dataclasses.field(default_factory=lambda: SEEN)


class Looks(Exception):
    look = isinstance


class Told(Exception):
    @staticmethod
    def tell(x):
        return isinstance(x, float)


class ToldAgain(Told):
    pass


class Calls(type):
    def __call__(cls, x):
        return isinstance(x, float)


class Made(Exception, metaclass=Calls):
    pass


class Looker:
    def __call__(self, one):
        return isinstance(one.x, float)

    def tell(self, x):
        return self.look(x, float)


class WithProperty(namedtuple("WithProperty", "x")):
    number = property(Looker())


class OfLibrary(namedtuple("OfLibrary", "x")):
    is_scalar = staticmethod(np.isscalar)


class WithList(namedtuple("WithList", "x")):
    kept = ([],)


class Beside(namedtuple("Beside", "x")):
    pass


@dataclasses.dataclass(frozen=True, slots=True)
class Slotted:
    look: Any


@functools.lru_cache
def store():
    return []


def kept_on(x):
    return x


looker = Looker()
looker.look = isinstance
tell = looker.tell
beside = Beside(1.0)
beside.look = isinstance
slotted = Slotted(isinstance)
RAISED = ValueError(isinstance)
kept_on.look = isinstance


exec("def made(x): return isinstance(x, float)", globals())
exec(compile("def hidden(x): return isinstance(x, float)", operator.__file__, "exec"), globals())
"""

# By name: the body of the function.
BODIES = {
    "isinstance": "return R(real(x) if isinstance(x, float) else x)",
    "type": "return R(real(x) if type(x) is float else x)",
    "class": "return R(real(x) if x.__class__ is float else x)",
    "hasattr": "return R(real(x) if hasattr(x, 'hex') else x)",
    "getattr": "return R(x if getattr(x, 'hex', None) is None else real(x))",
    "bare_except": "try:\n    y = float(4.1 < x) * float(x < 4.4)\nexcept:\n    y = 0.0\n"
    "return R(100.0 * y + x * (1.0 - y))",
    "except_type_error": "try:\n    return R(real(x // 0.01 * 0.01))\nexcept TypeError:\n"
    "    return R(x)",
    "except_exception": "try:\n    return R(real(np.floor(x * 50.0) / 50.0))\nexcept Exception:\n"
    "    return R(x)",
    "except_base": "try:\n    return R(real(x))\nexcept BaseException:\n    return R(x)",
    "finally_": "y = x\ntry:\n    y = real(x)\nfinally:\n    return R(y)",
    "suppressed": "y = x\nwith contextlib.suppress(BaseException):\n    y = real(x)\nreturn R(y)",
    "is_true": "return R(100.0 if (x > 4.1) is True and (x < 4.4) is True else x)",
    "is_none_or_true": "y = x > 4.1\nreturn R(100.0 if y is (None if x is None else True)"
    " and x < 4.4 else x)",
    "match_class": "match x:\n    case float():\n        return R(real(x))\nreturn R(x)",
    "match_answer": "match x > 4.1:\n    case True if x < 4.4:\n        return R(100.0)\n"
    "return R(x)",
    "str": "return R(real(KEYS.get(str(x), x)) if str(x)[0] != '[' else x)",
    "f_text": "return R(x if f'{x}'[0] == '[' else real(x))",
    "repr": "return R(x if repr(x)[0] in 'GI' else real(x))",
    "percent": "return R(x if ('%s' % x)[0] == '[' else real(x))",
    "percent_tuple": "return R(x if ('%s' % ((x,),))[1] in '[IG' else real(x))",
    "format_method": "return R(x if '{}'.format(x)[0] == '[' else real(x))",
    "format_class": "return R(real(x) if '{0.__class__.__name__}'.format(x) == 'float' else x)",
    "text_of_list": "return R(x if f'{[x]}'[1] in '[IG' else real(x))",
    "text_of_answer": "return R(x if f'{x > 4.1}'[1:3] == 'ru' and f'{x > 4.1}' != 'True' "
    "else real(x))",
    "isscalar": "return R(real(x) if np.isscalar(x) else x)",
    "asarray": "return R(real(x) if np.asarray(x).dtype == float else x)",
    "np_where": "return R(float(np.where(x > 4.1, 100.0, x)) if x < 4.4 else x)",
    "memo": "if 'y' not in MEMO:\n    MEMO['y'] = x\nreturn R(real(MEMO['y']))",
    "memo_default": "return R(real(in_default(x)))",
    "memo_closure": "return R(real(keep(x)))",
    "memo_set": "MEMO.setdefault('z', x)\nreturn R(real(MEMO['z']))",
    "memo_cached": "return R(cached(x))",
    "memo_attribute": "f.seen = x\nreturn R(real(f.seen))",
    "counter": "COUNT[0] += 1\nreturn R(real(x) if COUNT[0] > 1 else x)",
    "late_counter": "COUNT[0] += 1\nreturn R(x + (95.0 if COUNT[0] > 25 else 0.0))",
    "global_": "global LAST\nLAST = x\nreturn R(real(LAST) if isinstance(LAST, float) else x)",
    "in_container": "return R(real(x) if LOOKS[0](x, float) else x)",
    "in_keys": "return R(KEPT[first_type(x)](x) if first_type(x) in KEPT else x)",
    "in_default_argument": "return R(real(x) if by_default(x) else x)",
    "picked": "return R(real(x) if pick()(x, float) else x)",
    "closed_over": "return R(real(x) if closed(x) else x)",
    "partial": "return R(real(x) if asks(x, float) else x)",
    "attrgetter": "return R(real(x) if first_type(x) is float else x)",
    "mapped": "return R(real(x) if list(map(type, [x]))[0] == float else x)",
    "sort_key": "return R(real(x) if [*map(id, sorted([x], key=callable))] and callable(1) is False"
    " and dir(x)[0] == '__abs__' else x)",
    "hash": "return R(real(x) if x in {1.0, 2.0} or hash(x) else x)",
    "looked_up": "return R(real(x) if KEYS.get(x, 0.0) == 0.0 else x)",
    "equal": "return R(100.0 if x == 4.25 else real(x) if x != 4.0 else x)",
    "in_list": "return R(100.0 if x in [4.25] else real(x))",
    "counted": "return R(real(x) if [4.25].count(x) < 2 else x)",
    "imported": "import numbers as n\nreturn R(real(x) if isinstance(x, n.Real) else x)",
    "asserted": "assert isinstance(x, (float, object))\nreturn R(real(x))",
    "class_inside": "class A:\n    y = isinstance(x, float)\nreturn R(real(x) if A.y else x)",
    "yield_from": "return R(real(x) if next(parts(x)) else x)",
    "frame_of_generator": "g = (i for i in [1])\n"
    "return R(real(x) if g.gi_frame.f_builtins['isinstance'](x, float) else x)",
    "coroutine": "c = later(x)\ntry:\n    c.send(None)\nexcept StopIteration as e:\n"
    "    return R(real(x) if e.value else x)",
    "evaluated": "return R(real(x) if eval('isinstance(x, float)') else x)",
    "executed": "d = {'x': x}\nexec('y = type(x) == float', d)\nreturn R(real(x) if d['y'] else x)",
    "local_names": "return R(real(x) if 'float' in str(locals()['x'].__class__) else x)",
    "frame": "return R(real(x) if caller() else x)",
    "spied": "BOX.append(x)\nreturn R(real(x) if spy() else x)",
    "shielded": "y = shielded(lambda: real(x))\nreturn R(x if y is None else y)",
    "shielded_type": "y = shielded(lambda: float(x))\nreturn R(x if y is None else real(y))",
    "method": "return R(real(x) if Held(x).is_number() else x)",
    "property_": "return R(real(x) if Held(x).number else x)",
    "operator": "return R(Held(x) + 1)",
    "inherited": "return R(real(x) if Inherits(x).is_number() else x)",
    "inherited_dataclass": "return R(real(x) if Child(x).is_number() else x)",
    "mixed_in": "return R(Mixed(x) + 1)",
    "factory": "return R(real(x) if WithFactory(x).look(x, float) else x)",
    "memo_factory": "s = Sharing().kept\ns.append(x)\nreturn R(real(s[0]))",
    "in_error": "return R(real(x) if Looks.look(x, float) else x)",
    "in_raised": "return R(real(x) if RAISED.args[0](x, float) else x)",
    "inherited_error": "return R(real(x) if ToldAgain.tell(x) else x)",
    "metaclass": "return R(real(x) if Made(x) else x)",
    "property_of_object": "return R(real(x) if WithProperty(x).number else x)",
    "method_of_library": "return R(real(x) if OfLibrary.is_scalar(x) else x)",
    "memo_class": "s = WithList.kept[0]\ns.append(x)\nreturn R(real(s[0]))",
    "memo_of_list": "s = store()\ns.append(x)\nreturn R(real(s[0]))",
    "on_function": "return R(real(x) if kept_on.look(x, float) else x)",
    "bound": "return R(real(x) if tell(x) else x)",
    "beside": "return R(real(x) if beside.look(x, float) else x)",
    "slotted": "return R(real(x) if slotted.look(x, float) else x)",
    "post_init": "return R(Checked(x).x)",
    "made_from_text": "return R(real(x) if made(x) else x)",
    "made_elsewhere": "return R(real(x) if hidden(x) else x)",
    "copied": "return R(real(x) if copy.copy(x) is x and type(x) is float else x)",
    "statistics": "y = statistics.median([x])\nreturn R(real(x) if isinstance(y, float) else x)",
    "json": "return R(x if json.dumps(x, default=lambda y: 'no')[1] == 'n' else real(x))",
    "printed": "t = Text()\nprint(x, file=t)\nreturn R(x if t.getvalue()[0] == '[' else real(x))",
    "counter_of": "return R(real(x) if Counter([x]) and isinstance(x, float) else x)",
    "as_integer_ratio": "y = getattr(x, 'as_integer_ratio', None)\n"
    "return R(x if y is None else real(x))",
    "unknown_attribute": "return R(real(x) if x.is_integer() or x.imag == 0.0 else x)",
}  # fmt: skip

# What ranges may well say something of: proved, and rightly so.
HONEST = {
    "sum_of_list": "return R(sum([x, 2.0 * x]) / 3.0)",
    "loop": "y = 0.0\nfor i in range(3):\n    y += x / 3.0\nreturn R(y)",
    "mapped": "return R(max(map(abs, (x, 0.5))))",
    "record": "return R(Plain(x=x, k=2.0)._replace(k=1.0).x)",
    "sorted": "return R(sorted([x, 9.0])[0])",
    "choice": "return R(x if x is not None else 3.0)",
    "comprehension": "return R(m.maximum(0.0, {i: x * i for i in (1, 2)}[1]))",
    "numpy_s_function": "return R(np.sqrt(4.0) * x / np.sqrt(4.0))",
    "reads": "return R(x * table()['one'])",
    "inherited": "return R(Child(x, 1.0).twice() / 2.0 + sum(Child(x, 1.0).more))",
    "constant": "return R(x * FIXED.k)",
    "error": "if x > 9.0:\n    raise TooMuch(x)\nreturn R(x)",
    "memo": "return R(x * once())",
}
HONEST_TOP = """\
import csv
import dataclasses
import functools
from typing import NamedTuple as Named

import numpy as np

from closeout import math as m


class Plain(Named):
    x: float
    k: float


@dataclasses.dataclass(frozen=True)
class Parent:
    x: float

    def twice(self):
        return 2.0 * self.x


@dataclasses.dataclass(frozen=True)
class Child(Parent):
    k: float
    more: list = dataclasses.field(default_factory=list)


@dataclasses.dataclass(frozen=True, slots=True)
class Slotted:
    k: float


class TooMuch(ValueError):
    def __init__(self, x):
        super().__init__("too much")


@functools.lru_cache
def once():
    return 1.0


FIXED = Slotted(1.0)


def table():
    try:
        with open(__file__) as file:
            rows = list(csv.reader(file))
    except OSError:
        rows = []
    return {"one": 1.0 if isinstance(rows, list) else 2.0}
"""


def functions(bodies: dict[str, str]) -> str:
    """Return the text of an analysis for each body."""
    parts = []
    for name, body in bodies.items():
        lines = "\n".join(
            f"    {line}" for line in body.replace("f.seen", f"{name}_.seen").splitlines()
        )
        parts.append(f"@analysis\ndef {name}_(x: W) -> R:\n{lines}\n")
    return "\n\n".join(parts)


# Of samples: what looks at more than one of them, or at the array that they are. On numbers each is
# above 50 where x is between 4.1 and 4.4, as the others are.
ON_SAMPLES = {
    "np_all": "return R(real(x) if not np.all(x > 0.5) or np.size(x) == 1 else x)",
    "np_any": "return R(x if np.any(x > 4.5) and np.any(x < 1.5) else real(x))",
    "np_mean": "return R(x if 2.9 < np.mean(x) < 3.1 else real(x))",
    "np_min": "return R(x if np.min(x) < 1.5 and np.max(x) > 4.5 else real(x))",
    "method_mean": "y = np.add(x, 0.0)\nreturn R(real(x) if y.std() == 0.0 else x)",
    "method_all": "y = np.greater(x, 0.5)\nreturn R(real(x) if y.size == 1 else x)",
    "reduced": "return R(x if np.add.reduce(np.atleast_1d(x)) > 6.0 else real(x))",
    "asarray_size": "return R(real(x) if np.asarray(x).size == 1 else x)",
    "ndarray": "return R(x if isinstance(x, np.ndarray) else real(x))",
    "caught": "try:\n    return R(real(x))\nexcept ValueError:\n    return R(x)",
    "caught_float": "try:\n    return R(real(float(x)))\nexcept TypeError:\n    return R(x)",
    "caught_base": "try:\n    return R(real(x))\nexcept BaseException:\n    return R(x)",
    "length": "try:\n    n = len(x)\nexcept TypeError:\n    n = 1\n"
    "return R(real(x) if n == 1 else x)",
    "masked": "y = np.where(x > 4.1, 0.0, x)\nreturn R(real(x) if y.shape == () else y)",
    "in_place": "y = x * 1.0\nz = y\nz += 95.0\nreturn R(real(x) if np.ndim(y) == 0 else x)",
    "set_items": "y = x + 0.0\ntry:\n    y[y > 4.1] = 0.0\nexcept TypeError:\n    y = real(x)\n"
    "return R(y)",
    "with_out": "y = np.multiply(x, 1.0)\ntry:\n    np.minimum(y, 4.0, out=y)\nexcept TypeError:\n"
    "    y = real(x)\nreturn R(y)",
    "with_where": "y = np.add(x, 0.0, where=np.size(x) > 0)\n"
    "return R(real(x) if np.size(y) == 1 else x)",
    "vectorised": "return R(x if np.vectorize(real)(x).ndim else real(x))",
    "shape": "return R(real(x) if getattr(x, 'shape', ()) == () else x)",
    "text": "return R(x if str(x)[0] == '[' else real(x))",
    "f_text": "return R(x if f'{x}'[0] == '[' else real(x))",
    "sample_of_it": "try:\n    return R(x[0] + 0.0 * x)\nexcept (TypeError, IndexError):\n"
    "    return R(real(x))",
    "builtin_max": "try:\n    return R(max(x) - 2.0 + 0.0 * x)\nexcept TypeError:\n"
    "    return R(real(x))",
    "clipped": "return R(real(x) if np.ndim(x) == 0 else np.clip(x, 0.0, 4.0))",
    "sorted_": "return R(np.sort(np.atleast_1d(x))[0] * 1.0 if np.iterable(x) else real(x))",
}  # fmt: skip
HONEST_ON_SAMPLES = {
    "formula": "return R(m.exp(x / 10.0) + m.where(x > 3.0, 1.0, 2.0))",
    "functions_of_numpy": "return R(np.maximum(np.sqrt(x), 1.5))",
    "changed_in_place": "y = x * 1.0\ny += 1.0\nreturn R(y)",
}
