"""What SQLite complains of, as one line that says what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from probe.errors import BadInput
from probe.formats.text import printable, shown_path

DAMAGED = "is damaged"
REMEDY = "make a new archive of what can still be read: probe archive import THIS --archive NEW"

_MEANT = (
    ("locked", "another program has been writing to it for too long; try again"),
    ("full", "the disk is full; nothing was changed"),
    ("readonly", "cannot be written; choose another with --archive"),
    ("unable to open", "cannot be opened or made; choose another with --archive"),
    ("not a database", "is not an archive, or its beginning is damaged"),
    ("malformed", f"{DAMAGED}; {REMEDY}"),
    ("vtable constructor", f"{DAMAGED}; {REMEDY}"),
    ("disk i/o", "the disk refuses; nothing was changed"),
    ("no such table", "lacks a part every archive has: it is damaged, or not an archive"),
)


def plainly(said: str) -> str:
    """Return what SQLite found wrong inside a file as one line without its own decoration."""
    words = " ".join(printable(said.replace("\n", " ")).replace("***", " ").split())
    return "the file itself: " + words.removeprefix("in database main ")[:200]


@contextmanager
def speaking(path: Path) -> Iterator[None]:
    """Turn errors of SQLite about ``path`` into `BadInput`."""
    try:
        yield
    except sqlite3.Error as error:
        said = str(error).casefold()
        for part, meaning in _MEANT:
            if part in said:
                raise BadInput(f"{shown_path(path)}: {meaning}") from error
        raise BadInput(f"{shown_path(path)}: {printable(str(error))[:120]}") from error
