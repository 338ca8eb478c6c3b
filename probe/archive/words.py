"""Finding entries by words: an index where SQLite has one (FTS5), a plain search else."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from probe.report.names import NOT_DRIVEN, fault, kind_name
from probe.verify.faults import found_faults
from probe.verify.judged import Fault

INDEX = "entry_words"

TOLD = "4"
"""Which words these are: raise it when `words_of`, `faults_of` or `is_simulated` say something
else, and the next command that writes tells all entries anew."""

LONGEST_WORDS = 20_000
"""Characters of one entry that are searched; names and findings never need more."""

LONGEST_FAULTS = 2_000
"""Characters of the faults of one entry; a device has a handful."""

MARKS = str.maketrans(dict.fromkeys("(),;:", " "))
"""Marks of sentences, which nobody types in a search."""


def faults_of(facts: Mapping[str, Any]) -> str:
    """Return the faults found, as the report names them, each with its side; or nothing.

    A load that a side did not drive is among them: it is no clean bill.
    """
    told = [f"{f.side}: {title(f)}" for f in found_faults(facts) if f.certainty == "found"]
    told += [f"{side}: {NOT_DRIVEN}" for side in _refusing(facts)]
    return "; ".join(told)[:LONGEST_FAULTS]


def _refusing(facts: Mapping[str, Any]) -> list[str]:
    """Return the sides that did not drive a load that was tried."""
    return [
        str(side)
        for side, body in facts["sides"].items()
        if (body.get("stage") or {}).get("refused_loads")
    ]


def title(found: Fault) -> str:
    """Return a fault as the report names it."""
    return found.title or fault(found.code).name


def words_of(facts: Mapping[str, Any], note: str) -> str:
    """Return everything an entry may be found by, folded, on one line.

    Codes, and the words that reports and verifications print for them: kinds, the faults found
    and what usually causes these.
    """
    device, made = facts["device"], facts.get("made") or {}
    bench = made.get("bench") or {}
    parts = [device.get(k) for k in ("maker", "model", "serial", "kind", "firmware")]
    parts += [bench.get("interface"), bench.get("recorded_on"), note]
    for side, body in facts["sides"].items():
        stage = body.get("stage") or {}
        kind = str(stage.get("kind") or "")
        codes = [str(c) for c in (kind, *(stage.get("faults") or ())) if c]
        parts += [side, *codes, *(code.replace("-", " ") for code in codes)]
        parts += [kind_name(kind) if kind else "", (body.get("conditions") or {}).get("volume")]
    for found in found_faults(facts):
        if found.certainty == "found":
            parts += [found.code, title(found), *found.likely_causes]
    parts += [f"{NOT_DRIVEN} load-refused"] * bool(_refusing(facts))
    told = " ".join(str(part) for part in parts if part)
    plain = told.casefold().translate(MARKS)
    return " ".join(plain.split())[:LONGEST_WORDS]


def has_index(connection: sqlite3.Connection) -> bool:
    """Return True where this SQLite can index words, and the index stands."""
    try:
        connection.execute(
            f"CREATE VIRTUAL TABLE IF NOT EXISTS {INDEX} USING fts5 "
            "(words, tokenize = \"unicode61 tokenchars '-_.'\")"
        )
        connection.execute(f"SELECT count(*) FROM {INDEX} WHERE {INDEX} MATCH 'none'")
    except sqlite3.OperationalError as error:
        if "no such module" in str(error) or "readonly" in str(error):
            return False
        raise
    return True


def rebuild(connection: sqlite3.Connection) -> None:
    """Make the index anew from the entries."""
    connection.execute(f"DELETE FROM {INDEX}")
    connection.execute(f"INSERT INTO {INDEX} (rowid, words) SELECT id, words FROM entry")


def search(connection: sqlite3.Connection, words: Sequence[str], *, indexed: bool) -> list[int]:
    """Return the ids of entries that hold every word, or a word that begins with it."""
    wanted = [w for word in words for w in word.casefold().split()]
    if not wanted:
        return []
    if indexed:
        query = " ".join('"' + w.replace('"', '""').replace("\0", "") + '"*' for w in wanted)
        sql = f"SELECT rowid FROM {INDEX} WHERE {INDEX} MATCH ? ORDER BY rowid"
        return [row[0] for row in connection.execute(sql, (query,))]
    where = " AND ".join("(' ' || words) LIKE ? ESCAPE '\\'" for _ in wanted)
    sql = f"SELECT id FROM entry WHERE {where} ORDER BY id"
    patterns = [f"% {_literal(w)}%" for w in wanted]
    return [row[0] for row in connection.execute(sql, patterns)]


def _literal(word: str) -> str:
    for special in ("\\", "%", "_"):
        word = word.replace(special, f"\\{special}")
    return word
