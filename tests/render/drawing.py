"""Pictures read back: their shapes as numbers, and how wide their texts are.

Widths are measured with the outlines of DejaVu Sans, the widest of the fonts that the pictures
name, as matplotlib has them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from xml.etree import ElementTree

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

SIZE = 13


@dataclass(frozen=True, slots=True)
class Text:
    """A text with the ends of its line and its foot."""

    said: str
    left: float
    right: float
    foot: float


class Drawing:
    """A picture by its elements; those of a namespace are not needed in a page of HTML."""

    def __init__(self, svg: str) -> None:
        self.root = ElementTree.fromstring(svg)
        self.wide, self.high = (float(self.root.attrib[key]) for key in ("width", "height"))

    def all(self, name: str) -> list[dict[str, str]]:
        """Return the attributes of all elements of a kind, in order."""
        return [one.attrib for one in self.root.iter(name)]

    def line_at(self, foot: float) -> list[tuple[float, float, str]]:
        """Return the bars of the line with this foot: left, right and colour of the edge."""
        return [
            (float(one["x"]), float(one["x"]) + float(one["width"]), one["stroke"])
            for one in self.all("rect")
            if abs(float(one["y"]) + float(one["height"]) / 2 - (foot - 4)) < 0.06
        ]

    @property
    def texts(self) -> list[Text]:
        """All texts, with their places."""
        return [_text(one) for one in self.root.iter("text")]

    def text(self, part: str) -> Text:
        """Return the only text that has a part."""
        (found,) = (one for one in self.texts if part in one.said)
        return found

    @property
    def told(self) -> str:
        """The text that stands for the picture."""
        assert self.root.attrib["role"] == "img"
        title, desc = self.root.findtext("title"), self.root.findtext("desc")
        assert title
        assert desc
        return f"{title}: {desc}"


def _text(one: ElementTree.Element) -> Text:
    said, x = one.text or "", float(one.attrib["x"])
    wide = width(said)
    left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[one.attrib["text-anchor"]]
    return Text(said, left, left + wide, float(one.attrib["y"]))


@cache
def width(said: str) -> float:
    """Return how many pixels a text is wide."""
    font = FontProperties(family="DejaVu Sans")
    return float(TextPath((0, 0), said, size=SIZE, prop=font).get_extents().width) if said else 0.0


def assert_apart(drawing: Drawing) -> None:
    """Check that each text is inside of the picture and that no two of them touch."""
    texts = drawing.texts
    for one in texts:
        assert 0.0 <= one.left <= one.right <= drawing.wide, one
        assert 9.0 <= one.foot <= drawing.high - 3.0, one
    for place, one in enumerate(texts):
        for other in texts[place + 1 :]:
            if abs(one.foot - other.foot) < 12:
                assert one.right + 2 < other.left or other.right + 2 < one.left, (one, other)


def contrast(colour: str, other: str = "#ffffff") -> float:
    """Return the contrast of two colours, by WCAG 2.2 (relative luminance, contrast ratio)."""
    high, low = sorted((_luminance(colour), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
