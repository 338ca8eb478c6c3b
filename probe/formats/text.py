"""Text from a stranger's file, shown harmlessly on one line.

What cannot be printed (control characters, escape sequences, marks that turn the direction of
writing, halves of surrogate pairs) is written as an escape, and what is long is shortened, so
that a message stays one line and a terminal does nothing but show it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time

LONGEST_SHOWN = 48
"""Characters of a value quoted in a message: enough to recognise it on an 80-column screen."""

LONGEST_PATH = 160
"""Characters of a file's path quoted in a message; the end of the path is what is kept."""

NEAR_ENOUGH = 0.6
"""Similarity (0 to 1) from which another word is offered as the one meant; difflib's default."""


def printable(text: str) -> str:
    """Return ``text`` with everything that is not a visible character or a space escaped."""
    return "".join(c if c.isprintable() else _escape(c) for c in text)


def _escape(character: str) -> str:
    r"""Return one character as ``\n``, ``\x1b``, ``\u202e`` or ``\U000e0001``."""
    return character.encode("unicode_escape", "surrogatepass").decode("ascii")


def quoted(text: str, longest: int = LONGEST_SHOWN) -> str:
    """Return ``text`` in double quotes, printable and at most about ``longest`` characters."""
    if len(text) <= longest:
        return f'"{printable(text)}"'
    return f'"{printable(text[:longest])}..." ({len(text)} characters)'


def shown_path(path: object) -> str:
    """Return a path printable and shortened from the front."""
    text = str(path)
    if len(text) > LONGEST_PATH:
        text = "..." + text[-LONGEST_PATH:]
    return printable(text)


def shown_value(value: object) -> str:
    """Return a value read from TOML as a person would recognise it, short and on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int) and abs(value) >= 10**LONGEST_SHOWN:
        return "a whole number of very many digits"
    if isinstance(value, int | float | date | datetime | time):
        return str(value)
    if isinstance(value, list | tuple):
        return f"an array of {len(value)}"
    if isinstance(value, Mapping):
        return "a table"
    return "nothing" if value is None else quoted(type(value).__name__)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like ``word``, or None when none is near."""
    if len(word) > LONGEST_SHOWN:
        return None
    by_lower = {k.lower(): k for k in known}
    spelled = word.lower().replace(" ", "-")
    for candidate in (spelled, spelled.replace("-", "_")):
        like = [k for k in by_lower if not _contrary(candidate, k)]
        found = difflib.get_close_matches(candidate, like, n=1, cutoff=NEAR_ENOUGH)
        if found:
            return by_lower[found[0]]
    return None


def _contrary(one: str, other: str) -> bool:
    """Tell whether one word denies the other, as unbalanced and balanced."""
    return any(one in (no + other, no + "-" + other) or other in (no + one, no + "-" + one)
               for no in ("un", "non", "not", "in"))  # fmt: skip


def one_of(words: Iterable[str]) -> str:
    """Return ``a, b or c``."""
    return _listed(words, "or")


def all_of(words: Iterable[str]) -> str:
    """Return ``a, b and c``."""
    return _listed(words, "and")


def counted(number: int, thing: str) -> str:
    """Return ``1 value`` or ``2 values``."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _listed(words: Iterable[str], last: str) -> str:
    *most, end = [*words] or [""]
    return f"{', '.join(most)} {last} {end}" if most else end
