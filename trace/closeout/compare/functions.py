"""Which functions of a Python file are not what they were."""

from __future__ import annotations

import ast

# What is changed at the top of a module and belongs to no function or class.
TOP = "(top of the module)"


def changed_functions(before: bytes | None, after: bytes | None) -> tuple[str, ...]:
    """Return the functions and classes of a module that differ, by name, in their order.

    A name on the top of the module stands for itself. Comments, layout and docstrings make no
    difference. None is a file that is not there; one that is no Python changes as a whole.
    """
    try:
        was, now = _parts(before), _parts(after)
    except (SyntaxError, ValueError, RecursionError):
        return (TOP,)
    names = dict.fromkeys((*now, *was))
    return tuple(name for name in names if was.get(name) != now.get(name))


def _parts(text: bytes | None) -> dict[str, str]:
    """Return what each top-level statement of a module says, by the name that it defines."""
    found: dict[str, str] = {}
    for node in ast.parse(text or b"").body:
        for name in _names(node):
            found[name] = found.get(name, "") + ast.dump(_without_docstrings(node))
    return found


def _names(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
        return [node.name]
    if isinstance(node, ast.Assign | ast.AnnAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names = [one.id for one in targets if isinstance(one, ast.Name)]
        return names if len(names) == len(targets) else [TOP]
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return []  # a docstring of the module
    return [TOP]


def _without_docstrings(node: ast.stmt) -> ast.stmt:
    for one in ast.walk(node):
        body = getattr(one, "body", None)
        if not isinstance(body, list) or not body or isinstance(one, ast.Lambda):
            continue
        first = body[0]
        if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
            body[0] = ast.Pass()
    return node
