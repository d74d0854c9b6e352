"""Finds in the tool's own source every rule name that it can print.

A finding is made by a call that takes the rule's name: of a class with a field ``rule``, or of a
function with a parameter ``rule``. The argument is followed back to the texts that it can be.
"""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass
class Source:
    """The syntax of all modules: functions and classes by name, and each module's constants."""

    modules: dict[Path, ast.Module]
    takes: dict[str, set[int]] = field(default_factory=lambda: defaultdict(set))
    functions: dict[str, list[Function]] = field(default_factory=lambda: defaultdict(list))

    @classmethod
    def of(cls, root: Path) -> Source:
        modules = {path: ast.parse(path.read_text("utf-8")) for path in sorted(root.rglob("*.py"))}
        source = cls(modules)
        for module in modules.values():
            for node in ast.walk(module):
                if isinstance(node, Function):
                    source.functions[node.name].append(node)
                    taken = [*node.args.posonlyargs, *node.args.args]
                    names = [one.arg if _is_text(one) else "" for one in taken]
                    names = names[1:] if names[:1] in (["self"], ["cls"]) else names
                    if "rule" in names:
                        source.takes[node.name].add(names.index("rule"))
                elif isinstance(node, ast.ClassDef):
                    fields = [
                        one.target.id
                        for one in node.body
                        if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)
                    ]
                    if "rule" in fields:
                        source.takes[node.name].add(fields.index("rule"))
        return source


def _is_text(argument: ast.arg) -> bool:
    """Whether an argument is a text, as a rule's name is, or of no declared type."""
    declared = argument.annotation
    return declared is None or (isinstance(declared, ast.Name) and declared.id == "str")


class NotFollowed(AssertionError):
    """A rule's name that cannot be found in the source: write it where the finding is made."""


def emitted(root: Path) -> dict[str, str]:
    """Return every rule name that the source can emit, with a place where it does."""
    source = Source.of(root)
    found: dict[str, str] = {}
    for path, module in source.modules.items():
        for holder, call in _calls(module):
            for argument in _rules_of(call, source):
                for name in _texts(argument, holder, module, source):
                    found.setdefault(name, f"{path.relative_to(root)}:{call.lineno}")
    return found


def _calls(module: ast.Module) -> Iterator[tuple[Function | None, ast.Call]]:
    """Yield each call with the function that it stands in."""

    def walk(node: ast.AST, holder: Function | None) -> Iterator[tuple[Function | None, ast.Call]]:
        for child in ast.iter_child_nodes(node):
            inside = child if isinstance(child, Function) else holder
            if isinstance(child, ast.Call):
                yield inside, child
            yield from walk(child, inside)

    yield from walk(module, None)


def _rules_of(call: ast.Call, source: Source) -> Iterator[ast.expr]:
    """Yield what a call gives as the rule; nothing where it makes no finding."""
    function = call.func
    name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
    for keyword in call.keywords:
        if keyword.arg == "rule" and name in source.takes:
            yield keyword.value
    for number in source.takes.get(name, ()):
        before = call.args[: number + 1]
        starred = next((one for one in before if isinstance(one, ast.Starred)), None)
        if starred is not None:
            continue  # what is passed on as a whole was made elsewhere
        if len(before) > number:
            yield before[number]


def _texts(
    value: ast.expr, holder: Function | None, module: ast.Module, source: Source
) -> Iterator[str]:
    """Yield the texts that an expression can be."""
    if isinstance(value, ast.Constant):
        if isinstance(value.value, str):  # else it is another function of that name
            yield value.value
    elif isinstance(value, ast.IfExp):
        yield from _texts(value.body, holder, module, source)
        yield from _texts(value.orelse, holder, module, source)
    elif isinstance(value, ast.Attribute) and value.attr in ("rule", "name"):
        return  # of a finding that was made elsewhere
    elif isinstance(value, ast.Call) and getattr(value.func, "attr", "") == "get":
        yield from _texts(value.func.value, holder, module, source)  # type: ignore[attr-defined]
        yield from _texts(value.args[1], holder, module, source)
    elif isinstance(value, ast.Dict):
        for one in value.values:
            yield from _texts(one, holder, module, source)
    elif isinstance(value, ast.Subscript):
        yield from _texts(value.value, holder, module, source)
    elif isinstance(value, ast.Name):
        yield from _of_name(value, holder, module, source)
    else:
        raise NotFollowed(f"line {value.lineno}: {ast.unparse(value)}")


def _of_name(
    value: ast.Name, holder: Function | None, module: ast.Module, source: Source
) -> Iterator[str]:
    """Yield what a name can be: a parameter (given elsewhere), or what was assigned to it."""
    if holder is not None and value.id in {one.arg for one in holder.args.args}:
        return
    targets = [*ast.walk(holder)] if holder is not None else []
    found = False
    for node in (*targets, *module.body):
        if isinstance(node, ast.For | ast.comprehension) and _holds(node.target, value.id):
            found = True  # of findings that were made elsewhere, unless they are listed here
            for one in _listed(node.target, node.iter, value.id):
                yield from _texts(one, holder, module, source)
        if isinstance(node, ast.Assign):
            for target in node.targets:
                for one in _assigned(target, node.value, value.id, source):
                    found = True
                    if one is not None:
                        yield from _texts(one, holder, module, source)
    if not found:
        raise NotFollowed(f"line {value.lineno}: {value.id}")


def _assigned(
    target: ast.expr, given: ast.expr, name: str, source: Source
) -> Iterator[ast.expr | None]:
    """Yield what an assignment gives a name; None where the callee's own texts say it."""
    if isinstance(target, ast.Name) and target.id == name:
        yield given
    if isinstance(target, ast.Tuple):
        for number, part in enumerate(target.elts):
            if not (isinstance(part, ast.Name) and part.id == name):
                continue
            if isinstance(given, ast.Tuple):
                yield given.elts[number]
            elif isinstance(given, ast.Call) and isinstance(given.func, ast.Name):
                yield None
                for function in source.functions[given.func.id]:
                    for node in ast.walk(function):
                        if isinstance(node, ast.Return) and isinstance(node.value, ast.Tuple):
                            yield from _resolved(node.value.elts[number], function)


def _resolved(value: ast.expr, function: Function) -> Iterator[ast.expr]:
    """Yield what a returned name was assigned in its function, the value itself for another."""
    if not isinstance(value, ast.Name):
        yield value
        return
    for node in ast.walk(function):
        if isinstance(node, ast.Assign) and any(
            isinstance(target, ast.Name) and target.id == value.id for target in node.targets
        ):
            yield node.value


def _listed(target: ast.expr, rows: ast.expr, name: str) -> Iterator[ast.expr]:
    """Yield what a loop over rows that are written out gives a name."""
    if not isinstance(rows, ast.Tuple | ast.List):
        return
    for row in rows.elts:
        if isinstance(target, ast.Name):
            yield row
        elif isinstance(target, ast.Tuple) and isinstance(row, ast.Tuple):
            for part, value in zip(target.elts, row.elts, strict=False):
                if isinstance(part, ast.Name) and part.id == name:
                    yield value


def _holds(target: ast.expr, name: str) -> bool:
    return any(isinstance(node, ast.Name) and node.id == name for node in ast.walk(target))
