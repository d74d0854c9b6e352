"""A recorded formula as LaTeX, MathML and plain text, in the order in which its author wrote it.

SymPy's printers print SymPy's own order. Of a formula that is stored in another order they lose
brackets (1.14, MathML: b - a - (c + b) came out as b - a - c + b), and their MathML has entities
that XML does not know and no cases. So one walk over the formula feeds one of three small writers.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, ClassVar, NamedTuple, Protocol
from xml.sax.saxutils import escape

from closeout.arithmetic.recorded.recorded import Node

# How tightly a piece holds together: it is bracketed inside one that holds more tightly.
_OR, _AND, _RELATION, _SUM, _PRODUCT, _FRACTION, _POWER, _ATOM = range(8)

MATHML = "http://www.w3.org/1998/Math/MathML"
LITERAL_DIGITS, VALUE_DIGITS = 9, 6


class Laid(NamedTuple):
    """A piece of a formula: its text, how tightly it holds, whether it begins with a minus."""

    text: str
    tightness: int = _ATOM
    signed: bool = False


class Writer(Protocol):
    """A language of formulas; every text that is handed in is of the language already."""

    def numeral(self, digits: str, /) -> str: ...
    def name(self, quantity: str, case: str | None, /) -> str: ...
    def words(self, text: str, /) -> str: ...
    def sign(self, kind: str, /) -> str: ...
    def row(self, *parts: str) -> str: ...
    def fence(self, inner: str, left: str = "(", right: str = ")", /) -> str: ...
    def fraction(self, above: str, below: str, /) -> str: ...
    def script(self, base: str, above: str, /) -> str: ...
    def index(self, base: str, below: str, /) -> str: ...
    def root(self, inner: str, degree: str = "", /) -> str: ...
    def cases(self, rows: Sequence[tuple[str, str]], /) -> str: ...
    def unit(self, text: str, /) -> str: ...


class Latex:
    """LaTeX of mathematics mode, with amsmath."""

    _SIGNS: ClassVar[dict[str, str]] = {
        "+": " + ", "-": " - ", "minus": "-", "*": r" \cdot ", "=": " = ", "<": " < ", ">": " > ",
        "<=": r" \le ", ">=": r" \ge ", "and": r" \wedge ", "or": r" \vee ", "not": r"\neg ",
        ",": r",\ ", "pi": r"\pi", "e": r"\mathrm{e}", "Phi": r"\Phi", "d": r"\partial ",
    }  # fmt: skip
    _SPECIAL: ClassVar[dict[int, str]] = str.maketrans({
        "\\": r"\backslash{}", "{": r"\{", "}": r"\}", "$": r"\$", "&": r"\&", "#": r"\#",
        "%": r"\%", "_": r"\_", "^": r"\hat{\ }", "~": r"\sim{}", " ": r"\ ",
    })  # fmt: skip

    def numeral(self, digits: str) -> str:
        return digits

    def words(self, text: str) -> str:
        return rf"\mathrm{{{text.translate(self._SPECIAL)}}}"

    def name(self, quantity: str, case: str | None) -> str:
        head, below = _parts(quantity, case)
        return rf"{self.words(head)}_{{{self.words(below)}}}" if below else self.words(head)

    def sign(self, kind: str) -> str:
        return self._SIGNS[kind]

    def row(self, *parts: str) -> str:
        return "".join(parts)

    def fence(self, inner: str, left: str = "(", right: str = ")") -> str:
        return rf"\left{left}{inner}\right{right}"

    def fraction(self, above: str, below: str) -> str:
        return rf"\frac{{{above}}}{{{below}}}"

    def script(self, base: str, above: str) -> str:
        return f"{{{base}}}^{{{above}}}"

    def index(self, base: str, below: str) -> str:
        return f"{base}_{{{below}}}"

    def root(self, inner: str, degree: str = "") -> str:
        return rf"\sqrt[{degree}]{{{inner}}}" if degree else rf"\sqrt{{{inner}}}"

    def cases(self, rows: Sequence[tuple[str, str]]) -> str:
        lines = r" \\ ".join(
            rf"{value} & \text{{if }} {when}" if when else rf"{value} & \text{{otherwise}}"
            for value, when in rows
        )
        return rf"\begin{{cases}} {lines} \end{{cases}}"

    def unit(self, text: str) -> str:
        pieces = re.split(r"\^(-?\d+)", text)
        raised = "".join(
            f"^{{{piece}}}" if i % 2 else self.words(piece) if piece else ""
            for i, piece in enumerate(pieces)
        )
        return rf"\ {raised}"


class Plain:
    """A line of plain text, as a terminal shows it; names as the author wrote them."""

    _SIGNS: ClassVar[dict[str, str]] = {
        "+": " + ", "-": " - ", "minus": "-", "*": " * ", "=": " = ", "<": " < ", ">": " > ",
        "<=": " <= ", ">=": " >= ", "and": " and ", "or": " or ", "not": "not ", ",": ", ",
        "d": "d_",
    }  # fmt: skip

    def numeral(self, digits: str) -> str:
        return digits

    def words(self, text: str) -> str:
        return text

    def name(self, quantity: str, case: str | None) -> str:
        return quantity if case is None else f"{quantity}[{case}]"

    def sign(self, kind: str) -> str:
        return self._SIGNS.get(kind, kind)

    def row(self, *parts: str) -> str:
        return "".join(parts)

    def fence(self, inner: str, left: str = "(", right: str = ")") -> str:
        return f"{left}{inner}{right}"

    def fraction(self, above: str, below: str) -> str:
        a = self.fence(above) if {"+", "-", "<", ">"} & _outside(above) else above
        return f"{a} / {self.fence(below) if _outside(below) else below}"

    def script(self, base: str, above: str) -> str:
        return f"{base}^{self.fence(above) if _outside(above) else above}"

    def index(self, base: str, below: str) -> str:
        return f"{base}{below}"

    def root(self, inner: str, degree: str = "") -> str:
        return f"cbrt({inner})" if degree == "3" else f"sqrt({inner})"

    def cases(self, rows: Sequence[tuple[str, str]]) -> str:
        lines = (f"{value} if {when}" if when else f"{value} otherwise" for value, when in rows)
        return f"({', '.join(lines)})"

    def unit(self, text: str) -> str:
        return f" {text}"


def _outside(text: str) -> set[str]:
    """Return the words of a line of plain text that stand in no brackets, if there are several."""
    while (shorter := re.sub(r"\([^()]*\)", "#", text)) != text:
        text = shorter
    words = re.sub(r"\|[^|]*\|", "#", text).split()
    return set(words) if len(words) > 1 else set()


class MathMl:
    """Presentation MathML, the part of it that browsers draw (MathML Core)."""

    _SIGNS: ClassVar[dict[str, str]] = {
        "+": "+", "-": "−", "minus": "−", "*": "·", "=": "=", "<": "&lt;", ">": "&gt;", "<=": "≤",
        ">=": "≥", "and": "∧", "or": "∨", "not": "¬", ",": ",", "d": "∂",
    }  # fmt: skip
    _NAMES: ClassVar[dict[str, str]] = {"pi": "π", "e": "e", "Phi": "Φ"}
    _RAISED: ClassVar[dict[int, int]] = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

    def numeral(self, digits: str) -> str:
        return f"<mn>{digits}</mn>"

    def words(self, text: str) -> str:
        return f'<mi mathvariant="normal">{escape(text)}</mi>'

    def name(self, quantity: str, case: str | None) -> str:
        head, below = _parts(quantity, case)
        return self.index(self.words(head), self.words(below)) if below else self.words(head)

    def sign(self, kind: str) -> str:
        if kind in self._NAMES:
            return self.words(self._NAMES[kind])
        form = ' form="prefix"' if kind in ("minus", "not", "d") else ""
        return f"<mo{form}>{self._SIGNS[kind]}</mo>"

    def row(self, *parts: str) -> str:
        return f"<mrow>{''.join(parts)}</mrow>"

    def fence(self, inner: str, left: str = "(", right: str = ")") -> str:
        open_, close = (
            f'<mo fence="true" stretchy="true" form="{form}">{mark}</mo>'
            for form, mark in (("prefix", left), ("postfix", right))
        )
        return self.row(open_, inner, close)

    def fraction(self, above: str, below: str) -> str:
        # In display style a fraction within a fraction keeps its size.
        return f'<mfrac displaystyle="true">{above}{below}</mfrac>'

    def script(self, base: str, above: str) -> str:
        return f"<msup>{base}{above}</msup>"

    def index(self, base: str, below: str) -> str:
        return f"<msub>{base}{below}</msub>"

    def root(self, inner: str, degree: str = "") -> str:
        return f"<mroot>{inner}{degree}</mroot>" if degree else f"<msqrt>{inner}</msqrt>"

    def cases(self, rows: Sequence[tuple[str, str]]) -> str:
        lines = "".join(
            f"<mtr><mtd>{value}</mtd><mtd>{self._when(when)}</mtd></mtr>" for value, when in rows
        )
        brace = '<mo fence="true" stretchy="true" form="prefix">{</mo>'
        return self.row(brace, f"<mtable>{lines}</mtable>")

    def _when(self, when: str) -> str:
        return self.row("<mtext>if&#160;</mtext>", when) if when else "<mtext>otherwise</mtext>"

    def unit(self, text: str) -> str:
        raised = re.sub(r"\^(-?\d+)", lambda m: m[1].translate(self._RAISED), text)
        return f"<mtext>&#160;{escape(raised)}</mtext>"


def whole(inner: str) -> str:
    """Return the element of a formula that stands on a line of its own."""
    return f'<math xmlns="{MATHML}" display="block">{inner}</math>'


def lay(
    node: Node,
    writer: Writer,
    shown: Callable[[Node], Laid | None],
    tables: Mapping[Node, str],
) -> Laid:
    """Return a formula down to the nodes for which ``shown`` gives a piece: symbols or numbers.

    The node itself is always written out, unless it is an input. ``tables`` names look-ups.
    """
    return _Layout(writer, shown, tables).out(node)


def number(value: float, writer: Writer, digits: int = VALUE_DIGITS) -> Laid:
    """Return a number rounded to so many significant digits; powers of ten where it is long."""
    if value == 0:
        return Laid(writer.numeral("0"))
    text = f"{abs(value):.{digits}g}"
    mantissa, _, exponent = text.partition("e")
    if not exponent and float(text) < 1e-3:
        mantissa, _, exponent = f"{abs(value):.{digits - 1}e}".partition("e")
        mantissa = mantissa.rstrip("0").rstrip(".")
    laid = writer.numeral(mantissa)
    if exponent:
        ten = _signed_text(writer, str(int(exponent)))
        power = writer.script(writer.numeral("10"), ten)
        laid = power if mantissa == "1" else writer.row(laid, writer.sign("*"), power)
    tightness = _PRODUCT if exponent else _ATOM
    if value < 0:
        return Laid(writer.row(writer.sign("minus"), laid), _PRODUCT, True)
    return Laid(laid, tightness)


def _signed_text(writer: Writer, digits: str) -> str:
    if digits.startswith("-"):
        return writer.row(writer.sign("minus"), writer.numeral(digits[1:]))
    return writer.numeral(digits)


def _parts(quantity: str, case: str | None) -> tuple[str, str]:
    """Return the words of a name that stand on the line, and the case, which stands below it."""
    return quantity.replace("_", " ").strip() or quantity, case or ""


# Constants that a reader knows better by name; found by their exact value.
_KNOWN: dict[float, tuple[str, str]] = {
    math.pi / 180.0: ("pi", "180"),
    math.log(10.0) / 10.0: ("ln 10", "10"),
    math.pi: ("pi", ""),
}


class _Layout:
    """One walk over a formula; each operation has its method, or a row in a table."""

    def __init__(
        self,
        writer: Writer,
        shown: Callable[[Node], Laid | None],
        tables: Mapping[Node, str],
    ) -> None:
        self._writer = writer
        self._shown = shown
        self._tables = tables

    def at(self, operand: Any) -> Laid:
        """Return an operand: a symbol where it has one, else written out."""
        if not isinstance(operand, Node):
            return self._literal(float(operand))
        shown = self._shown(operand)
        return self.out(operand) if shown is None else shown

    def out(self, node: Node) -> Laid:
        """Return a node, written out."""
        operation = node.operation
        if operation in _INFIX:
            return self._infix(operation, *node.operands)
        method = getattr(self, f"_{operation}", None)
        if method is not None:
            laid: Laid = method(node, *node.operands)
            return laid
        return self._call(_CALLS.get(operation, operation), *node.operands)

    def _literal(self, value: float) -> Laid:
        known = _KNOWN.get(value)
        if known is None:
            return number(value, self._writer, LITERAL_DIGITS)
        above, below = known
        w = self._writer
        top = w.sign("pi") if above == "pi" else w.row(w.words("ln"), w.fence(w.numeral("10")))
        return Laid(w.fraction(top, w.numeral(below)), _FRACTION) if below else Laid(top)

    def _bracketed(self, laid: Laid, tightness: int, first: bool = False) -> str:
        """Return a piece, in brackets where it would fall apart or meet a sign."""
        loose = laid.tightness < tightness or (laid.signed and not first)
        return self._writer.fence(laid.text) if loose else laid.text

    def _infix(self, operation: str, left: Any, right: Any) -> Laid:
        sign, own, right_needs = _INFIX[operation]
        a, b = self.at(left), self.at(right)
        text = self._writer.row(
            self._bracketed(a, own, first=True),
            self._writer.sign(sign),
            self._bracketed(b, right_needs),
        )
        return Laid(text, own, a.signed and a.tightness >= own)

    def _input(self, node: Node, *_: Any) -> Laid:
        return self._shown(node) or Laid(self._writer.words(str(node.operands[0])))

    def _negative(self, _: Node, x: Any) -> Laid:
        text = self._writer.row(self._writer.sign("minus"), self._bracketed(self.at(x), _PRODUCT))
        return Laid(text, _PRODUCT, True)

    def _divide(self, _: Node, above: Any, below: Any) -> Laid:
        return Laid(self._writer.fraction(self.at(above).text, self.at(below).text), _FRACTION)

    def _raise(self, _: Node, base: Any, exponent: Any) -> Laid:
        bracketed = self._bracketed(self.at(base), _ATOM)
        return Laid(self._writer.script(bracketed, self.at(exponent).text), _POWER)

    _power = _raise

    def _exp(self, _: Node, x: Any) -> Laid:
        raised = self.at(x).text
        if "frac" in raised:  # in either language; too small to read as an exponent
            return self._call("exp", x)
        return Laid(self._writer.script(self._writer.sign("e"), raised), _POWER)

    def _is_number_zero(self, x: Any) -> bool:
        """Whether a zero is written as a number: then the quotient has no value, its limit is 1."""
        value = x.value if isinstance(x, Node) else float(x)
        return value == 0.0 and getattr(self._shown, "puts_numbers", False)

    def _exprel(self, node: Node, x: Any) -> Laid:
        w = self._writer
        if self._is_number_zero(x):
            return Laid(w.numeral("1"))
        power = self._bracketed(self._exp(node, x), _SUM, first=True)
        above = w.row(power, w.sign("-"), w.numeral("1"))
        return Laid(w.fraction(above, self.at(x).text), _FRACTION)

    def _log1prel(self, _: Node, x: Any) -> Laid:
        w = self._writer
        if self._is_number_zero(x):
            return Laid(w.numeral("1"))
        inner = w.row(w.numeral("1"), w.sign("+"), self._bracketed(self.at(x), _PRODUCT))
        return Laid(w.fraction(w.row(w.words("ln"), w.fence(inner)), self.at(x).text), _FRACTION)

    def _sqrt(self, _: Node, x: Any) -> Laid:
        return Laid(self._writer.root(self.at(x).text))

    def _cbrt(self, _: Node, x: Any) -> Laid:
        return Laid(self._writer.root(self.at(x).text, self._writer.numeral("3")))

    def _hypot(self, _: Node, x: Any, y: Any) -> Laid:
        w = self._writer
        squares = (
            w.script(self._bracketed(self.at(side), _ATOM), w.numeral("2")) for side in (x, y)
        )
        first, second = squares
        return Laid(w.root(w.row(first, w.sign("+"), second)))

    def _absolute(self, _: Node, x: Any) -> Laid:
        return Laid(self._writer.fence(self.at(x).text, "|", "|"))

    def _log10(self, _: Node, x: Any) -> Laid:
        return self._logarithm("10", x)

    def _log2(self, _: Node, x: Any) -> Laid:
        return self._logarithm("2", x)

    def _logarithm(self, base: str, x: Any) -> Laid:
        w = self._writer
        return Laid(w.row(w.index(w.words("log"), w.numeral(base)), w.fence(self.at(x).text)))

    def _normal_cdf(self, _: Node, x: Any) -> Laid:
        w = self._writer
        return Laid(w.row(w.sign("Phi"), w.fence(self.at(x).text)))

    def _table(self, node: Node, x: Any, _points: Any) -> Laid:
        name = self._writer.name(self._tables.get(node, "table"), None)
        return Laid(self._writer.row(name, self._fenced(x)))

    def _fenced(self, *operands: Any) -> str:
        w = self._writer
        inner: list[str] = []
        for operand in operands:
            inner += [w.sign(",")] * bool(inner) + [self.at(operand).text]
        return w.fence(inner[0] if len(inner) == 1 else w.row(*inner))

    def _call(self, name: str, *operands: Any) -> Laid:
        return Laid(self._writer.row(self._writer.words(name), self._fenced(*operands)))

    def _not(self, _: Node, x: Any) -> Laid:
        text = self._writer.row(self._writer.sign("not"), self._bracketed(self.at(x), _ATOM))
        return Laid(text, _RELATION)

    def _where(self, _: Node, condition: Any, then: Any, otherwise: Any) -> Laid:
        rows = [(self.at(then).text, self.at(condition).text), (self.at(otherwise).text, "")]
        return Laid(self._writer.cases(rows), _SUM)


# Sign, tightness, and what the right side needs: a - (b - c), but a + b - c.
_INFIX = {
    "add": ("+", _SUM, _SUM), "subtract": ("-", _SUM, _PRODUCT), "multiply": ("*", _PRODUCT,
    _PRODUCT), "<": ("<", _RELATION, _SUM), "<=": ("<=", _RELATION, _SUM),
    ">": (">", _RELATION, _SUM), ">=": (">=", _RELATION, _SUM),
    "and": ("and", _AND, _RELATION), "or": ("or", _OR, _AND),
}  # fmt: skip
_CALLS = {
    "log": "ln", "minimum": "min", "maximum": "max", "asin": "arcsin", "acos": "arccos",
    "atan": "arctan", "atan2": "arctan2", "asinh": "arsinh", "acosh": "arcosh", "atanh": "artanh",
    "sign": "sgn",
}  # fmt: skip
