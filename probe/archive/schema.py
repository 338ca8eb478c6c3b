"""The tables, and the steps from each older version to the newest.

``user_version`` of the file counts the steps done. A step is never changed once released; a new
one is added. All steps wanted run in one transaction: an interruption leaves the older file.
"""

from __future__ import annotations

import sqlite3

APPLICATION_ID = 0x70726F62
"""``prob`` in ASCII, in the header of the file: tells an archive from any other SQLite file."""

_FIRST = (
    """CREATE TABLE entry (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        key TEXT NOT NULL UNIQUE,
        maker TEXT NOT NULL, model TEXT NOT NULL, serial TEXT NOT NULL, measured_on TEXT NOT NULL,
        firmware TEXT NOT NULL, added_on TEXT NOT NULL, note TEXT NOT NULL, words TEXT NOT NULL,
        facts BLOB NOT NULL, facts_sha256 TEXT NOT NULL,
        report BLOB, report_sha256 TEXT
    )""",
    "CREATE INDEX entry_device ON entry (maker, model, serial, measured_on)",
    """CREATE TABLE file (
        entry INTEGER NOT NULL REFERENCES entry (id) ON DELETE CASCADE,
        name TEXT NOT NULL, sha256 TEXT NOT NULL, bytes INTEGER NOT NULL,
        PRIMARY KEY (entry, name)
    )""",
    "CREATE INDEX file_content ON file (sha256)",
)

_SECOND = (
    """CREATE TABLE mark (name TEXT PRIMARY KEY, value TEXT NOT NULL)""",
    "INSERT INTO mark VALUES ('words', 'stale')",
)
"""Marks of the file; ``words`` says whether the index of words is up to date."""

_THIRD = ("ALTER TABLE entry ADD COLUMN faults TEXT NOT NULL DEFAULT ''",)
"""Faults found, in words."""

_FOURTH = ("ALTER TABLE entry ADD COLUMN simulated INTEGER NOT NULL DEFAULT 0",)
"""Whether the entry is of a simulated session."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST, _SECOND, _THIRD, _FOURTH)

NEWEST = len(MIGRATIONS)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables to the newest version, all steps or none."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        for statements in MIGRATIONS[version:]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {NEWEST}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
