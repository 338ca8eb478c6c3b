"""On which line of a TOML text a key stands.

The parser of the standard library keeps no positions. This walk over a text *that parser has
already accepted* finds them again; it is only done when there is something to complain about.
"""

from __future__ import annotations

import contextlib
import re
import tomllib
from collections.abc import Mapping

Keys = tuple[str | int, ...]
"""Keys and array positions (from 0) from the top of the document: ``("take", 2, "file")``."""

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)+")
_SPACE = re.compile(r"[ \t]+")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\r\n]+")
_STRINGS = (
    re.compile(r'"""(?:[^\\"]|\\.|"(?!""))*"{3,5}', re.DOTALL),
    re.compile(r"'''(?:[^']|'(?!''))*'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^\\"\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


def key_lines(text: str) -> Mapping[Keys, int]:
    """Return the line (from 1) on which each key and each array element of ``text`` begins.

    ``text`` is valid TOML. Where the walk loses its way the keys found so far are returned: a
    missing line number is better than a wrong one.
    """
    walk = _Walk(text)
    with contextlib.suppress(_LostError, RecursionError, ValueError):
        walk.document()
    return walk.lines


def line_of(lines: Mapping[Keys, int], keys: Keys) -> int | None:
    """Return the line of ``keys``, or of the nearest table around it that has one."""
    for end in range(len(keys), 0, -1):
        if keys[:end] in lines:
            return lines[keys[:end]]
    return None


class _LostError(Exception):
    """The text is not what the walk expects."""


class _Walk:
    """One pass over the text, with the line counted as it goes."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.lines: dict[Keys, int] = {}
        self.counts: dict[Keys, int] = {}

    def document(self) -> None:
        table: Keys = ()
        self._take(_BLANK)
        while self.at < len(self.text):
            if self._next("["):
                table = self._header()
            else:
                self._pair(table)
            self._take(_BLANK)

    def _header(self) -> Keys:
        line, repeated = self.line, self._next("[", 1)
        self.at += 2 if repeated else 1
        names = self._dotted()
        self._expect("]]" if repeated else "]")
        keys = self._resolve((), names[:-1])
        keys = (*keys, names[-1])
        if repeated:
            self.lines.setdefault(keys, line)
            self.counts[keys] = self.counts.get(keys, -1) + 1
        keys = self._inside(keys)
        self.lines[keys] = line
        return keys

    def _pair(self, table: Keys) -> None:
        line = self.line
        names = self._dotted()
        self._expect("=")
        keys: Keys = table
        for name in names:
            keys = (*keys, name)
            self.lines.setdefault(keys, line)
        self._value(keys)

    def _value(self, keys: Keys) -> None:
        self._take(_SPACE)
        if self._next("["):
            self._array(keys)
        elif self._next("{"):
            self._inline_table(keys)
        elif not any(self._take(pattern) for pattern in _STRINGS):
            self._must(_SCALAR)

    def _array(self, keys: Keys) -> None:
        self.at += 1
        position = 0
        self._take(_BLANK)
        while not self._next("]"):
            self.lines[(*keys, position)] = self.line
            self._value((*keys, position))
            position += 1
            self._comma("]")
        self.at += 1

    def _inline_table(self, keys: Keys) -> None:
        self.at += 1
        self._take(_BLANK)
        while not self._next("}"):
            self._pair(keys)
            self._comma("}")
        self.at += 1

    def _comma(self, closing: str) -> None:
        self._take(_BLANK)
        if not self._next(closing):
            self._expect(",")
            self._take(_BLANK)

    def _dotted(self) -> list[str]:
        names = [self._name()]
        self._take(_SPACE)
        while self._next("."):
            self.at += 1
            names.append(self._name())
            self._take(_SPACE)
        return names

    def _name(self) -> str:
        self._take(_SPACE)
        start = self.at
        if self._take(_STRINGS[2]) or self._take(_STRINGS[3]):
            return str(tomllib.loads(f"k = {self.text[start : self.at]}")["k"])
        self._must(_BARE_KEY)
        return self.text[start : self.at]

    def _resolve(self, keys: Keys, names: list[str]) -> Keys:
        for name in names:
            keys = self._inside((*keys, name))
        return keys

    def _inside(self, keys: Keys) -> Keys:
        """Return ``keys`` itself, or its newest element where it is an array of tables."""
        return (*keys, self.counts[keys]) if keys in self.counts else keys

    def _next(self, what: str, ahead: int = 0) -> bool:
        return self.text.startswith(what, self.at + ahead)

    def _expect(self, what: str) -> None:
        self._take(_SPACE)
        if not self._next(what):
            raise _LostError
        self.at += len(what)

    def _must(self, pattern: re.Pattern[str]) -> None:
        if not self._take(pattern):
            raise _LostError

    def _take(self, pattern: re.Pattern[str]) -> bool:
        found = pattern.match(self.text, self.at)
        if not found or found.end() == self.at:
            return False
        self.line += self.text.count("\n", self.at, found.end())
        self.at = found.end()
        return True
