"""Codes and names that the program can say, collected from its source."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import probe

PACKAGE = Path(probe.__file__).parent
CODE = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def nodes(room: str) -> Iterator[ast.AST]:
    """Every node of every file in a room."""
    for path in sorted((PACKAGE / room).rglob("*.py")):
        yield from ast.walk(ast.parse(path.read_text("utf-8")))


def text(node: ast.AST | None) -> str | None:
    """The string a node is, if it is a constant string that looks like a code."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value if CODE.fullmatch(node.value) else None
    return None


def name_of(call: ast.Call) -> str:
    """Name of the function called, without what it belongs to."""
    return getattr(call.func, "id", getattr(call.func, "attr", ""))


def argument(call: ast.Call, position: int, keyword: str) -> ast.AST | None:
    """An argument by place or by name."""
    if len(call.args) > position:
        return call.args[position]
    return next((k.value for k in call.keywords if k.arg == keyword), None)


def warning_codes() -> set[str]:
    """Codes of remarks about takes, and of the warnings that the facts add."""
    found: set[str | None] = set()
    for room in ("session", "phasors", "stage", "measures", "facts"):
        for node in nodes(room):
            if isinstance(node, ast.Call) and name_of(node) == "Remark":
                found.add(text(argument(node, 0, "code")))
            if isinstance(node, ast.Call) and name_of(node) == "_nothing":
                found.add(text(argument(node, 3, "code")))
            if isinstance(node, ast.Yield) and isinstance(node.value, ast.Tuple):
                found.add(text(node.value.elts[0]) if len(node.value.elts) == 3 else None)
            if isinstance(node, ast.Dict):
                found |= {text(v) for k, v in zip(node.keys, node.values, strict=True)
                          if text(k) == "code"}  # fmt: skip
    return {code for code in found if code is not None}


def advice_codes() -> set[str]:
    """Codes of hazards (findings that say so, and all comparisons) and of cautions."""
    from probe.advice.cautions import NO_ADAPTER

    places = {"Finding": (1, "code"), "compare": (4, "code"), "Note": (0, "code")}
    found = {
        text(argument(node, *places[name_of(node)]))
        for node in nodes("advice")
        if isinstance(node, ast.Call)
        and name_of(node) in places
        and (name_of(node) != "Finding" or argument(node, 99, "hazard") is not None)
    }
    return {code for code in found if code is not None} | {f"{o}-output" for o in NO_ADAPTER}


def fact_names() -> set[str]:
    """Facts whose name is written out where they are put."""
    return {
        argument.value
        for node in nodes("facts")
        if isinstance(node, ast.Call) and name_of(node) == "_put" and node.args
        for argument in node.args[:1]
        if isinstance(argument, ast.Constant)
    }
