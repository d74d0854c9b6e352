"""Functions of the literature with known minima, for proofs and searches; written for every range.

S&B: S. Surjanovic, D. Bingham, Virtual Library of Simulation Experiments: Test Functions and
Datasets (Simon Fraser University). J&Y: M. Jamil, X.-S. Yang, A literature survey of benchmark
functions for global optimisation problems, Int. J. Mathematical Modelling and Numerical
Optimisation 4 (2013) 150. H&S: W. Hock, K. Schittkowski, Test Examples for Nonlinear Programming
Codes (1981). Formulas, boxes, minima and where they are: from memory of these collections, which is
why the test holds each against scipy before it is used.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import reduce
from itertools import pairwise
from typing import Any, NamedTuple

from closeout import math
from closeout.math import pi

Ends = tuple[float, float]
Vector = Sequence[Any]


class Known(NamedTuple):
    """A function of a vector, its box, its least value there and a point at which it has it."""

    name: str
    function: Callable[[Vector], Any]
    box: tuple[Ends, ...]
    least: float
    at: tuple[float, ...]
    source: str


def squares(values: Sequence[Any]) -> Any:
    return sum(math.power(value, 2) for value in values)


def product(values: Sequence[Any]) -> Any:
    return reduce(lambda a, b: a * b, values)


def ackley(x: Vector) -> Any:
    far = math.sqrt(squares(x) / len(x))
    waves = sum(math.cos(2 * pi * v) for v in x) / len(x)
    return -20.0 * math.exp(-0.2 * far) - math.exp(waves) + 20.0 + math.exp(1.0)


def adjiman(x: Vector) -> Any:
    return math.cos(x[0]) * math.sin(x[1]) - x[0] / (math.power(x[1], 2) + 1.0)


def beale(x: Vector) -> Any:
    terms = zip((1.5, 2.25, 2.625), (1, 2, 3), strict=True)
    return squares([c - x[0] * (1.0 - math.power(x[1], n)) for c, n in terms])


def bird(x: Vector) -> Any:
    one = math.sin(x[0]) * math.exp(math.power(1.0 - math.cos(x[1]), 2))
    other = math.cos(x[1]) * math.exp(math.power(1.0 - math.sin(x[0]), 2))
    return one + other + math.power(x[0] - x[1], 2)


def bohachevsky(x: Vector) -> Any:
    waves = 0.3 * math.cos(3 * pi * x[0]) + 0.4 * math.cos(4 * pi * x[1])
    return math.power(x[0], 2) + 2.0 * math.power(x[1], 2) - waves + 0.7


def booth(x: Vector) -> Any:
    return squares([x[0] + 2.0 * x[1] - 7.0, 2.0 * x[0] + x[1] - 5.0])


def branin(x: Vector) -> Any:
    bent = x[1] - 5.1 / (4 * pi**2) * math.power(x[0], 2) + 5.0 / pi * x[0] - 6.0
    return math.power(bent, 2) + 10.0 * (1.0 - 1.0 / (8 * pi)) * math.cos(x[0]) + 10.0


def camel_three(x: Vector) -> Any:
    a = math.power(x[0], 2)
    return 2.0 * a - 1.05 * math.power(a, 2) + math.power(a, 3) / 6.0 + x[0] * x[1] + x[1] * x[1]


def camel_six(x: Vector) -> Any:
    a, b = math.power(x[0], 2), math.power(x[1], 2)
    return (4.0 - 2.1 * a + math.power(a, 2) / 3.0) * a + x[0] * x[1] + (4.0 * b - 4.0) * b


def colville(x: Vector) -> Any:
    a, b, c, d = x
    valleys = 100.0 * math.power(math.power(a, 2) - b, 2) + 90.0 * math.power(
        math.power(c, 2) - d, 2
    )
    near = squares([a - 1.0, c - 1.0]) + 10.1 * squares([b - 1.0, d - 1.0])
    return valleys + near + 19.8 * (b - 1.0) * (d - 1.0)


def cross_in_tray(x: Vector) -> Any:
    far = abs(100.0 - math.sqrt(squares(x)) / pi)
    return -0.0001 * (abs(math.sin(x[0]) * math.sin(x[1]) * math.exp(far)) + 1.0) ** 0.1


def deckkers_aarts(x: Vector) -> Any:
    a, b = math.power(x[0], 2), math.power(x[1], 2)
    return 1e5 * a + b - math.power(a + b, 2) + 1e-5 * math.power(a + b, 4)


def dixon_price(x: Vector) -> Any:
    later = [n * math.power(2.0 * math.power(x[n - 1], 2) - x[n - 2], 2) for n in (2, 3, 4)]
    return math.power(x[0] - 1.0, 2) + sum(later)


def drop_wave(x: Vector) -> Any:
    far = squares(x)
    return -(1.0 + math.cos(12.0 * math.sqrt(far))) / (0.5 * far + 2.0)


def easom(x: Vector) -> Any:
    return -product([math.cos(v) for v in x]) * math.exp(-squares([v - pi for v in x]))


def forrester(x: Vector) -> Any:
    return math.power(6.0 * x[0] - 2.0, 2) * math.sin(12.0 * x[0] - 4.0)


def goldstein_price(x: Vector) -> Any:
    a, b = x
    one = 19.0 - 14.0 * a + 3.0 * a * a - 14.0 * b + 6.0 * a * b + 3.0 * b * b
    two = 18.0 - 32.0 * a + 12.0 * a * a + 48.0 * b - 36.0 * a * b + 27.0 * b * b
    first = 1.0 + math.power(a + b + 1.0, 2) * one
    return first * (30.0 + math.power(2.0 * a - 3.0 * b, 2) * two)


def gramacy_lee(x: Vector) -> Any:
    return math.sin(10 * pi * x[0]) / (2.0 * x[0]) + math.power(x[0] - 1.0, 4)


def griewank(x: Vector) -> Any:
    return squares(x) / 4000.0 - math.cos(x[0]) * math.cos(x[1] / math.sqrt(2.0)) + 1.0


_WEIGHTS = (1.0, 1.2, 3.0, 3.2)
_A3 = ((3, 10, 30), (0.1, 10, 35), (3, 10, 30), (0.1, 10, 35))
_P3 = ((3689, 1170, 2673), (4699, 4387, 7470), (1091, 8732, 5547), (381, 5743, 8828))
_A6 = (
    (10, 3, 17, 3.5, 1.7, 8),
    (0.05, 10, 17, 0.1, 8, 14),
    (3, 3.5, 1.7, 10, 17, 8),
    (17, 8, 0.05, 10, 0.1, 14),
)
_P6 = (
    (1312, 1696, 5569, 124, 8283, 5886),
    (2329, 4135, 8307, 3736, 1004, 9991),
    (2348, 1451, 3522, 2883, 3047, 6650),
    (4047, 8828, 8732, 5743, 1091, 381),
)


def hartmann(x: Vector, steep: Any, middle: Any) -> Any:
    total: Any = 0.0
    for weight, a, p in zip(_WEIGHTS, steep, middle, strict=True):
        rows = zip(x, a, p, strict=True)
        total = total - weight * math.exp(-sum(s * math.power(v - m / 1e4, 2) for v, s, m in rows))
    return total


def himmelblau(x: Vector) -> Any:
    a, b = x
    return squares([math.power(a, 2) + b - 11.0, a + math.power(b, 2) - 7.0])


def holder_table(x: Vector) -> Any:
    far = abs(1.0 - math.sqrt(squares(x)) / pi)
    return -abs(math.sin(x[0]) * math.cos(x[1]) * math.exp(far))


def hosaki(x: Vector) -> Any:
    a, b = x
    hill = 1.0 - 8.0 * a + 7.0 * a * a - 7.0 / 3.0 * math.power(a, 3) + math.power(a, 4) / 4.0
    return hill * b * b * math.exp(-b)


def levy(x: Vector) -> Any:
    w = [1.0 + (v - 1.0) / 4.0 for v in x]
    inner = [
        math.power(v - 1.0, 2) * (1.0 + 10.0 * math.power(math.sin(pi * v + 1.0), 2))
        for v in w[:-1]
    ]
    last = math.power(w[-1] - 1.0, 2) * (1.0 + math.power(math.sin(2 * pi * w[-1]), 2))
    return math.power(math.sin(pi * w[0]), 2) + sum(inner) + last


def matyas(x: Vector) -> Any:
    return 0.26 * squares(x) - 0.48 * x[0] * x[1]


def mccormick(x: Vector) -> Any:
    a, b = x
    return math.sin(a + b) + math.power(a - b, 2) - 1.5 * a + 2.5 * b + 1.0


def michalewicz(x: Vector) -> Any:
    return -sum(
        math.sin(v) * math.power(math.sin(n * math.power(v, 2) / pi), 20)
        for n, v in enumerate(x, 1)
    )


def powell(x: Vector) -> Any:
    a, b, c, d = x
    sharp = math.power(b - 2.0 * c, 4) + 10.0 * math.power(a - d, 4)
    return math.power(a + 10.0 * b, 2) + 5.0 * math.power(c - d, 2) + sharp


def rastrigin(x: Vector) -> Any:
    return sum(10.0 + math.power(v, 2) - 10.0 * math.cos(2 * pi * v) for v in x)


def rosenbrock(x: Vector) -> Any:
    pairs = pairwise(x)
    return sum(
        100.0 * math.power(b - math.power(a, 2), 2) + math.power(1.0 - a, 2) for a, b in pairs
    )


def schaffer_two(x: Vector) -> Any:
    a, b = math.power(x[0], 2), math.power(x[1], 2)
    top = math.power(math.sin(a - b), 2) - 0.5
    return 0.5 + top / math.power(1.0 + 0.001 * (a + b), 2)


def schwefel(x: Vector) -> Any:
    return 418.9828872724339 * len(x) - sum(v * math.sin(math.sqrt(abs(v))) for v in x)


_C = (4, 4, 4, 4), (1, 1, 1, 1), (8, 8, 8, 8), (6, 6, 6, 6), (3, 7, 3, 7)  # the first five


def shekel(x: Vector) -> Any:
    total: Any = 0.0
    for beta, c in zip((0.1, 0.2, 0.2, 0.4, 0.4), _C, strict=True):
        total = total - 1.0 / (squares([v - m for v, m in zip(x, c, strict=True)]) + beta)
    return total


def shubert(x: Vector) -> Any:
    return product([sum(i * math.cos((i + 1) * v + i) for i in range(1, 6)) for v in x])


def styblinski_tang(x: Vector) -> Any:
    return sum(math.power(v, 4) - 16.0 * math.power(v, 2) + 5.0 * v for v in x) / 2.0


def sum_of_powers(x: Vector) -> Any:
    return sum(math.power(abs(v), n) for n, v in enumerate(x, 2))


def trid(x: Vector) -> Any:
    return squares([v - 1.0 for v in x]) - sum(a * b for a, b in pairwise(x))


def zakharov(x: Vector) -> Any:
    along = sum(0.5 * n * v for n, v in enumerate(x, 1))
    return squares(x) + math.power(along, 2) + math.power(along, 4)


def hs2(x: Vector) -> Any:
    return 100.0 * math.power(x[1] - math.power(x[0], 2), 2) + math.power(1.0 - x[0], 2)


def hs3(x: Vector) -> Any:
    return x[1] + 1e-5 * math.power(x[1] - x[0], 2)


def hs4(x: Vector) -> Any:
    return math.power(x[0] + 1.0, 3) / 3.0 + x[1]


def hs45(x: Vector) -> Any:
    return 2.0 - product(x) / 120.0


def _cube(low: float, high: float, sides: int) -> tuple[Ends, ...]:
    return ((low, high),) * sides


_HS2_AT = 1.2243707487363527

KNOWN = (
    Known("Ackley", ackley, _cube(-32.768, 32.768, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("Adjiman", adjiman, ((-1.0, 2.0), (-1.0, 1.0)), -2.0218067, (2.0, 0.10578), "J&Y 2"),
    Known("Beale", beale, _cube(-4.5, 4.5, 2), 0.0, (3.0, 0.5), "S&B"),
    Known("Bird", bird, _cube(-2 * pi, 2 * pi, 2), -106.764537, (4.70104, 3.15294), "J&Y 16"),
    Known("Bohachevsky 1", bohachevsky, _cube(-100, 100, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("Booth", booth, _cube(-10, 10, 2), 0.0, (1.0, 3.0), "S&B"),
    Known("Branin", branin, ((-5.0, 10.0), (0.0, 15.0)), 0.397887, (pi, 2.275), "S&B"),
    Known("camel, three humps", camel_three, _cube(-5, 5, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("camel, six humps", camel_six, ((-3.0, 3.0), (-2.0, 2.0)), -1.0316285,
          (0.0898, -0.7126), "S&B"),
    Known("Colville", colville, _cube(-10, 10, 4), 0.0, (1.0,) * 4, "S&B; H&S 38"),
    Known("cross in tray", cross_in_tray, _cube(-10, 10, 2), -2.06261, (1.3491, 1.3491), "S&B"),
    Known("Deckkers-Aarts", deckkers_aarts, _cube(-20, 20, 2), -24776.518, (0.0, 14.945), "J&Y"),
    Known("Dixon-Price", dixon_price, _cube(-10, 10, 4), 0.0,
          tuple(2.0 ** -((2.0**n - 2.0) / 2.0**n) for n in range(1, 5)), "S&B"),
    Known("drop wave", drop_wave, _cube(-5.12, 5.12, 2), -1.0, (0.0, 0.0), "S&B"),
    Known("Easom", easom, _cube(-100, 100, 2), -1.0, (pi, pi), "S&B"),
    Known("Forrester", forrester, _cube(0, 1, 1), -6.020740, (0.757249,), "S&B"),
    Known("Goldstein-Price", goldstein_price, _cube(-2, 2, 2), 3.0, (0.0, -1.0), "S&B"),
    Known("Gramacy-Lee", gramacy_lee, _cube(0.5, 2.5, 1), -0.869011, (0.548563,), "S&B"),
    Known("Griewank", griewank, _cube(-600, 600, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("Hartmann 3", lambda x: hartmann(x, _A3, _P3), _cube(0, 1, 3), -3.86278,
          (0.114614, 0.555649, 0.852547), "S&B"),
    Known("Hartmann 6", lambda x: hartmann(x, _A6, _P6), _cube(0, 1, 6), -3.32237,
          (0.20169, 0.150011, 0.476874, 0.275332, 0.311652, 0.6573), "S&B"),
    Known("Himmelblau", himmelblau, _cube(-5, 5, 2), 0.0, (3.0, 2.0), "J&Y 65"),
    Known("Hoelder table", holder_table, _cube(-10, 10, 2), -19.2085, (8.05502, 9.66459), "S&B"),
    Known("Hosaki", hosaki, ((0.0, 5.0), (0.0, 6.0)), -2.3458116, (4.0, 2.0), "J&Y 66"),
    Known("H&S 2", hs2, ((-10.0, 10.0), (1.5, 10.0)), 0.0504261879, (_HS2_AT, 1.5), "H&S 2"),
    Known("H&S 3", hs3, ((-10.0, 10.0), (0.0, 10.0)), 0.0, (0.0, 0.0), "H&S 3"),
    Known("H&S 4", hs4, ((1.0, 10.0), (0.0, 10.0)), 8.0 / 3.0, (1.0, 0.0), "H&S 4"),
    Known("H&S 45", hs45, tuple((0.0, float(n)) for n in range(1, 6)), 1.0,
          (1.0, 2.0, 3.0, 4.0, 5.0), "H&S 45"),
    Known("Levy", levy, _cube(-10, 10, 4), 0.0, (1.0,) * 4, "S&B"),
    Known("Matyas", matyas, _cube(-10, 10, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("McCormick", mccormick, ((-1.5, 4.0), (-3.0, 3.0)), -1.9132230, (-0.54719, -1.54719),
          "S&B; H&S 5"),
    Known("Michalewicz 2", michalewicz, _cube(0, pi, 2), -1.8013034, (2.202906, 1.570796), "S&B"),
    Known("Michalewicz 5", michalewicz, _cube(0, pi, 5), -4.687658,
          (2.202906, 1.570796, 1.284992, 1.923058, 1.720470), "S&B"),
    Known("Powell", powell, _cube(-4, 5, 4), 0.0, (0.0,) * 4, "S&B"),
    Known("Rastrigin", rastrigin, _cube(-5.12, 5.12, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("Rosenbrock 2", rosenbrock, _cube(-5, 10, 2), 0.0, (1.0, 1.0), "S&B; H&S 1"),
    Known("Rosenbrock 4", rosenbrock, _cube(-5, 10, 4), 0.0, (1.0,) * 4, "S&B"),
    Known("Schaffer 2", schaffer_two, _cube(-100, 100, 2), 0.0, (0.0, 0.0), "S&B"),
    Known("Schwefel", schwefel, _cube(-500, 500, 2), 0.0, (420.968746, 420.968746), "S&B"),
    Known("Shekel 5", shekel, _cube(0, 10, 4), -10.1532, (4.00004, 4.00013, 4.00004, 4.00013),
          "S&B"),
    Known("Shubert", shubert, _cube(-10, 10, 2), -186.7309, (-7.0835, 4.8580), "S&B"),
    Known("sphere", squares, _cube(-5.12, 5.12, 4), 0.0, (0.0,) * 4, "S&B"),
    Known("Styblinski-Tang 4", styblinski_tang, _cube(-5, 5, 4), -39.1661657 * 4,
          (-2.903534,) * 4, "S&B"),
    Known("sum of powers", sum_of_powers, _cube(-1, 1, 4), 0.0, (0.0,) * 4, "S&B"),
    Known("Trid 6", trid, _cube(-36, 36, 6), -50.0, (6.0, 10.0, 12.0, 12.0, 10.0, 6.0), "S&B"),
    Known("Trid 10", trid, _cube(-100, 100, 10), -210.0,
          tuple(float(i * (11 - i)) for i in range(1, 11)), "S&B"),
    Known("Zakharov", zakharov, _cube(-5, 10, 4), 0.0, (0.0,) * 4, "S&B"),
)  # fmt: skip
