"""The documents of an entry: how they are stored, checked and told apart."""

from __future__ import annotations

import hashlib
import json
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import PurePosixPath
from typing import Any

from probe.errors import BadInput
from probe.facts import to_json
from probe.facts.shape import shape_complaint
from probe.formats.text import printable, quoted

Document = dict[str, Any]

MOST_BYTES = 64_000_000
"""Of one document unpacked; more is no facts file."""


@dataclass(frozen=True)
class Package:
    """Everything the archive keeps of one measurement: what an entry is made from."""

    facts: str
    report: str | None
    note: str
    added_on: str | None = None


@dataclass(frozen=True)
class KeptFile:
    """A file of an entry: its name in the session, and its content."""

    name: str
    sha256: str
    bytes: int


def packed(text: str) -> bytes:
    """Return a document as it is stored."""
    return zlib.compress(text.encode("utf-8"), 6)


def unpacked(blob: object, expected: object, where: str) -> str:
    """Return a stored document after checking that it is what was stored.

    Raises
    ------
    BadInput
        It is damaged; other entries are not concerned.
    """
    try:
        if not isinstance(blob, bytes):
            raise ValueError("no document")
        unpacker = zlib.decompressobj()
        raw = unpacker.decompress(blob, MOST_BYTES)
        if not unpacker.eof:
            raise ValueError("not whole, or too large")
        text = raw.decode("utf-8")
    except (ValueError, zlib.error) as error:
        raise BadInput(f"{where} is damaged ({printable(str(error))[:60]})") from error
    if sha256(text) != expected:
        raise BadInput(f"{where} is damaged (it is not what was stored)")
    return text


def parsed(text: str, where: str) -> Document:
    """Return a facts document from its text, checked."""
    try:
        facts = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{where}: is not a facts document") from error
    if not isinstance(facts, dict) or facts.get("format") != "probe-facts/1":
        raise BadInput(f"{where}: is not a facts document of a known format")
    wrong = shape_complaint(facts)
    if wrong is not None:
        raise BadInput(f"{where}: {wrong}")
    return facts


def sha256(text: str) -> str:
    """Return the hash of a text."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def key_of(facts: Document) -> str:
    """Return what tells one measurement from another: its session, else everything but `made`."""
    session = (facts.get("made") or {}).get("session_sha256")
    if isinstance(session, str) and session:
        return session
    return sha256(to_json({k: v for k, v in facts.items() if k != "made"}))


def now() -> str:
    """Return this moment as it is stored."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def check_file(file: KeptFile, where: str) -> None:
    """Refuse a name or a hash that would lead out of its folder.

    Raises
    ------
    BadInput
        The archive names such a file: it was not written by this program.
    """
    name = PurePosixPath(file.name)
    inside = not name.is_absolute() and ".." not in name.parts and file.name not in ("", ".")
    plain = not set(file.name) & set("\\:\0")
    hexadecimal = len(file.sha256) == 64 and not set(file.sha256) - set("0123456789abcdef")
    if not (inside and plain and hexadecimal):
        raise BadInput(f"{where}: names a file that leads out of its folder: {quoted(file.name)}")
