"""Text that people or files supplied, made harmless before it is shown.

Escaping for HTML is left to the templates; here goes what escaping does not cover: control
characters, characters that turn the direction of the text around them, lone surrogates that
cannot be written as UTF-8, stacks of combining marks, and texts long enough to break a layout.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata

NAME_LIMIT = 80
"""Longest name shown, in characters; the whole of it stays in the facts document."""

MESSAGE_LIMIT = 600
"""Longest sentence shown, in characters."""

LIST_LIMIT = 4 * MESSAGE_LIMIT
"""Of a line that lists what is taken with each answer, a price at its end."""

_MARKS_IN_A_ROW = 3
"""More combining marks than any living script puts on one letter would paint over other lines."""


def clean(text: object, limit: int = NAME_LIMIT) -> str:
    """Return ``text`` on one line, without invisible characters, at most ``limit`` characters.

    What is longer ends behind a whole word.
    """
    kept: list[str] = []
    marks = 0
    for character in str(text)[: 4 * limit]:
        category = unicodedata.category(character)
        if category in {"Cc", "Zl", "Zp", "Zs"}:
            character = " "
        elif category.startswith("C"):  # formats (direction, zero width), surrogates, unassigned
            continue
        marks = marks + 1 if category.startswith("M") else 0
        if marks <= _MARKS_IN_A_ROW:
            kept.append(character)
    line = " ".join("".join(kept).split())
    return line if len(line) <= limit else _cut(line, limit - 1) + "…"


def _cut(line: str, most: int) -> str:
    """Return the whole words of the beginning; of one longer than half of it what has room."""
    words = line[: most + 1].rpartition(" ")[0]
    return (words if len(words) > most // 2 else line[:most]).rstrip(" ,;:")


def inner(text: str) -> str:
    """Return a beginning in the middle of a sentence: names in capitals stay as they are."""
    return text if text[1:2].isupper() else f"{text[:1].lower()}{text[1:]}"


_OHM = re.compile(r"(?<=\d) (k|M|m)?ohm\b")


def printed(text: object, limit: int = MESSAGE_LIMIT) -> str:
    """Return clean text with the signs of print in place of the terminal's spellings."""
    return _OHM.sub(lambda found: f"\u00a0{found[1] or ''}Ω", clean(text or "", limit)).replace(
        "+/-", "±"
    )


def columns(text: str) -> int:
    """Return the width of ``text`` in terminal columns (wide characters take two)."""
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    marks = sum(unicodedata.category(c).startswith("M") for c in text)
    return len(text) + wide - marks


def hanging(label: str, body: str, *, width: int = 80, indent: int = 18) -> list[str]:
    """Return ``label`` and ``body`` as lines no wider than ``width`` columns, body indented."""
    room = width - indent
    wide = max(0, columns(body) - len(body))
    lines = textwrap.wrap(body, max(room - wide, room // 2)) or [""]
    heads = [label.ljust(indent)] + [" " * indent] * (len(lines) - 1)
    return [(head + line).rstrip() for head, line in zip(heads, lines, strict=True)]
