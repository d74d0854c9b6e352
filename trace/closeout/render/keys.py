"""Every key of the files, with one example each, as a file would hold it.

All of it comes from the schemas, examples too, so that it says what the loader allows.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from closeout.render.plain import columns, flow, pad
from closeout.render.terminal import wrap

Schema = Mapping[str, Any]

_PLACE = 44  # the column of the remarks
# What YAML reads as it stands, as a text: no sign of its own, and no colon that ends a key.
_PLAIN = re.compile(r"[\w./-](?:[^#:,\[\]{}'\"]*[^\s#:,\[\]{}'\"])?")


def keys_text(sections: Mapping[str, Schema], kinds: Iterable[Schema], width: int) -> str:
    """Return the keys of each section, indented as in a file, with an example and what each is.

    Args:
        sections: schema by section, with every reference put in place.
        kinds: schemas of the kinds of values that sections share; of these the title is enough.
        width: columns of the terminal; remarks are wrapped, examples stay whole.
    """
    page = _Page(width, frozenset(kind.get("description", "") for kind in kinds))
    introduction = (
        "Keys of the files in requirements/ and analyses/, with one example each. Where a key"
        " is listed twice, the second is another form. * is required."
    )
    lines = wrap(introduction, width)
    for section, schema in sections.items():
        lines += ["", *page.key(section, schema, 0, required=False)]
    return "\n".join(lines) + "\n"


class _Page:
    """Lines of keys, remarks at one column; ``usual`` are the descriptions that need no line."""

    def __init__(self, width: int, usual: frozenset[str]) -> None:
        self._width = width
        self._usual = usual

    def key(self, name: str, node: Schema, indent: int, *, required: bool) -> Iterator[str]:
        """Yield a key with its example, what stands below it, and its other ways."""
        first, *ways = node.get("oneOf", [node])
        remark = self._remark(node, first)
        yield from self._way(name, node, first, f"* {remark}" if required else remark, indent)
        for other in ways:
            title = other.get("title")
            yield from self._way(name, other, other, f"or: {title}" if title else "or", indent)
        values = node.get("additionalProperties")
        for other in values.get("oneOf", [])[1:] if isinstance(values, dict) else []:
            if _holds_keys(other):
                yield from self._line(f"{name}:", f"or: {other['title']}", indent)
                yield from self._line(f"{next(iter(_example(node)))}:", "", indent + 2)
                yield from self._below(other, indent + 2)

    def _way(self, name: str, node: Schema, way: Schema, remark: str, indent: int) -> Iterator[str]:
        """Yield one way to write a key; ``node`` has the example where it is on one line."""
        if _holds_keys(way):
            yield from self._line(f"{name}:", remark, indent)
            yield from self._below(way, indent)
        else:
            yield from self._line(f"{name}: {_written(_example(node))}", remark, indent)

    def _below(self, node: Schema, indent: int) -> Iterator[str]:
        """Yield the keys of what a node holds: an object, the items of a list, named objects."""
        if "items" in node:
            mark = " " * (indent + 2) + "- "
            for number, line in enumerate(self._below(node["items"], indent + 2)):
                yield line if number else mark + line[indent + 4 :]
        elif "properties" in node:
            needed = node.get("required", ())
            for name, part in node["properties"].items():
                yield from self.key(name, part, indent + 2, required=name in needed)
        else:
            names = node["propertyNames"]
            yield from self._line(f"{_example(names)}:", names.get("title", ""), indent + 2)
            yield from self._below(node["additionalProperties"], indent + 2)

    def _remark(self, node: Schema, first: Schema) -> str:
        described = [part.get("description", "") for part in (node, first)]
        description = next((text for text in described if text not in ("", *self._usual)), None)
        description = description or str(node.get("title", ""))
        choices = ", ".join(map(str, first.get("enum", ())))
        if not choices:
            return description
        return (
            f"{description} One of {choices}." if description.endswith(".") else f"one of {choices}"
        )

    def _line(self, text: str, remark: str, indent: int) -> Iterator[str]:
        """Yield a line of a file with its remark beside it, or below where there is no room."""
        line = " " * indent + text
        if not remark:
            yield line
            return
        place = _PLACE if self._width >= 2 * _PLACE - 8 else indent + 4
        remarks = [one.strip() for one in wrap(flow(remark), max(self._width - place - 2, 20))]
        if columns(line) + 2 > place:
            yield line
        else:
            yield f"{pad(line, place)}# {remarks.pop(0)}"
        yield from (f"{' ' * place}# {one}" for one in remarks)


def _holds_keys(node: Schema) -> bool:
    """Return whether keys stand somewhere below a node, so that it is written as a block."""
    if "properties" in node:
        # Where any name may stand beside those, as of a parameter, the example says more.
        return not isinstance(node.get("additionalProperties"), dict)
    parts = (node.get("items"), node.get("additionalProperties"))
    return any(isinstance(part, dict) and _holds_keys(part) for part in parts)


def _example(node: Schema) -> Any:
    """Return an example of a value that a schema allows, from the schema alone."""
    for key in ("examples", "enum"):
        if key in node:
            return node[key][0]
    if "oneOf" in node:
        return _example(node["oneOf"][0])
    kinds = node.get("type")
    if kinds == "boolean":
        return True
    if kinds == "array":
        return [_example(node["items"])] * node.get("minItems", 1)
    if kinds == "object" and isinstance(node.get("additionalProperties"), dict):
        return {_example(node["propertyNames"]): _example(node["additionalProperties"])}
    raise TypeError(f"the schema of {node.get('title')} has no example")


def _written(value: Any) -> str:
    """Return an example on one line of YAML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_written(k)}: {_written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_written, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    if _PLAIN.fullmatch(text):
        return text
    escaped = text.replace("'", "''")
    return f"'{escaped}'"
