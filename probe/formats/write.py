"""TOML tables as text, one key a line, from plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def table(head: str, said: Mapping[str, object]) -> str:
    """Return a table as text: its head, a line for every key, and an empty line.

    The head is written as given (``[device]``, ``[[take]]``); an empty one is left out.
    Keys whose value is None are left out. Values: text, numbers, booleans, dates, mappings
    (written inline), sequences.
    """
    lines = [f"{key} = {value(v)}" for key, v in said.items() if v is not None]
    return "\n".join([*([head] if head else []), *lines, ""])


def tidy(value: float) -> float:
    """Undo the last bits of a conversion of units, so that files read as they were meant."""
    return float(f"{value:.12g}")


def value(of: object) -> str:
    """Return one value as text; see `table`."""
    if isinstance(of, str):
        return '"' + "".join(_escaped(c) for c in of) + '"'
    if isinstance(of, bool):
        return "true" if of else "false"
    if isinstance(of, Mapping):
        inner = [f"{key} = {value(v)}" for key, v in of.items() if v is not None]
        return "{ " + ", ".join(inner) + " }"
    if isinstance(of, Sequence):
        return "[" + ", ".join(value(v) for v in of) + "]"
    return str(of)


def _escaped(character: str) -> str:
    if character in _ESCAPES:
        return _ESCAPES[character]
    if ord(character) < 0x20 or ord(character) == 0x7F:
        return f"\\u{ord(character):04x}"
    return character
