"""The archive itself: one SQLite file, and beside it the takes by content.

No write-ahead log: with it, the file copied alone would miss what stands in the log, and it does
not work on network shares; an archive is written a few times a day. The rollback journal with full
synchronisation survives a kill at any moment. Writers queue for half a minute.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from probe.archive import store, words
from probe.archive.documents import (
    Document,
    KeptFile,
    Package,
    check_file,
    key_of,
    now,
    packed,
    parsed,
    sha256,
    unpacked,
)
from probe.archive.entry import Entry, columns_in
from probe.archive.errors import plainly, speaking
from probe.archive.schema import APPLICATION_ID, NEWEST, migrate
from probe.errors import BadInput
from probe.facts.made import NO_DAY, measured_on
from probe.formats.text import printable, quoted, shown_path
from probe.simulated import is_simulated

WAIT_S = 30.0
"""How long a writer waits for another one."""

BLIND = 10_000
"""Numbers tried one by one where even the list of a damaged archive cannot be read."""


class Archive:
    """An open archive; use it as a context manager.

    Every method raises `BadInput` where the file is locked, damaged or cannot be written.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, *, writable: bool) -> None:
        self.path, self._db, self.writable = path, connection, writable
        self._columns = columns_in(NEWEST)
        self.files = store.folder_of(path)
        self._indexed = False

    @classmethod
    def open(cls, path: Path, *, create: bool = False, writable: bool = True) -> Self:
        """Open an archive, an older one after bringing it up to date.

        Parameters
        ----------
        path
            The file.
        create
            Make it, with its folders, where it is missing.
        writable
            False opens it for reading alone and changes nothing, not even an older schema.

        Raises
        ------
        BadInput
            Missing, not an archive, damaged, or made by a newer program.
        """
        name = shown_path(path)
        if path.is_dir():
            raise BadInput(f"{name}: is a folder; an archive is a file")
        if path.exists() and not path.is_file():
            raise BadInput(f"{name}: is a device or a pipe; an archive is an ordinary file")
        if not path.exists():
            if not create:
                raise BadInput(f"{name}: there is no archive yet; probe archive add makes it")
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise BadInput(f"{name}: cannot be made ({error.strerror})") from error
        mode = ("rwc" if create else "rw") if writable else "ro"
        with speaking(path):
            connection = sqlite3.connect(
                f"{path.resolve().as_uri()}?mode={mode}",
                uri=True, timeout=WAIT_S, isolation_level=None,
            )  # fmt: skip
        opened = cls(path, connection, writable=writable)
        try:
            with speaking(path):
                opened._prepare()
        except BaseException:
            connection.close()
            raise
        return opened

    def _prepare(self) -> None:
        db = self._db
        db.execute("PRAGMA foreign_keys = ON")
        db.execute("PRAGMA trusted_schema = OFF")
        db.execute("PRAGMA synchronous = FULL")
        db.execute("BEGIN")  # all of one moment: another process may be making the tables
        version = db.execute("PRAGMA user_version").fetchone()[0]
        mark = db.execute("PRAGMA application_id").fetchone()[0]
        empty = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
        db.execute("COMMIT")
        name = shown_path(self.path)
        if (mark != APPLICATION_ID and not empty) or (empty and not self.writable):
            raise BadInput(f"{name}: is not an archive")
        if version > NEWEST:
            raise BadInput(f"{name}: was written by a newer probe (tables {version}); update probe")
        if self.writable and version < NEWEST:
            migrate(db)
        if not self.writable:
            self._columns = columns_in(version)
            with suppress(sqlite3.DatabaseError):  # a damaged index is no reason not to look
                current = version == NEWEST and self._mark("words") == "current"
                self._indexed = current and words.has_index(db)
            return
        self._indexed = words.has_index(db)
        if self._mark("told") != words.TOLD:
            with self._writing():
                self._tell_again()
                self._set_mark("told", words.TOLD)
                self._set_mark("words", "stale")
        if self._indexed and self._mark("words") == "stale":
            with self._writing():
                words.rebuild(db)
                self._set_mark("words", "current")

    def _tell_again(self) -> None:
        """Write what entries tell of themselves anew; one that cannot be read keeps its own."""
        for number in self.numbers():
            with suppress(BadInput, sqlite3.DatabaseError):
                facts = self.facts(number)
                row = self._db.execute("SELECT note FROM entry WHERE id = ?", (number,)).fetchone()
                self._db.execute(
                    "UPDATE entry SET words = ?, faults = ?, simulated = ? WHERE id = ?",
                    (
                        words.words_of(facts, str(row[0])),
                        words.faults_of(facts),
                        is_simulated(facts.get("made")),
                        number,
                    ),
                )

    def _entry_of(self, row: Sequence[Any]) -> Entry:
        """Return an entry from its row; what older tables lack is read from its facts."""
        entry = replace(Entry(*row), simulated=bool(row[-1]))
        if self._columns != columns_in(NEWEST):
            with suppress(BadInput):
                facts = self.facts(entry.id)
                return replace(
                    entry, faults=words.faults_of(facts), simulated=is_simulated(facts.get("made"))
                )
        return entry

    def _mark(self, name: str) -> str:
        row = self._db.execute("SELECT value FROM mark WHERE name = ?", (name,)).fetchone()
        return "" if row is None else str(row[0])

    def _set_mark(self, name: str, value: str) -> None:
        self._db.execute("INSERT OR REPLACE INTO mark VALUES (?, ?)", (name, value))

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Hold the file for writing; all of it is kept or nothing."""
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                with suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
            raise

    # Finding

    def entries(self, *, maker: str = "", model: str = "", serial: str = "") -> list[Entry]:
        """Return entries by device and date; what is left empty is any."""
        wanted = [(k, v) for k, v in (("maker", maker), ("model", model), ("serial", serial)) if v]
        where = " AND ".join(f"{k} = ? COLLATE NOCASE" for k, _ in wanted)
        sql = f"SELECT {self._columns} FROM entry {'WHERE ' + where if where else ''} "
        with speaking(self.path):
            rows = self._db.execute(
                sql + "ORDER BY maker, model, serial, measured_on, id", [v for _, v in wanted]
            )
            found = rows.fetchall()
        return [self._entry_of(row) for row in found]

    def search(self, wanted: Sequence[str]) -> list[Entry]:
        """Return the entries that hold every one of the words, or one that begins with it."""
        with speaking(self.path):
            found = set(words.search(self._db, wanted, indexed=self._indexed))
        return [entry for entry in self.entries() if entry.id in found]

    def entry(self, number: int) -> Entry:
        """Return one entry by number."""
        with speaking(self.path):
            row = self._db.execute(
                f"SELECT {self._columns} FROM entry WHERE id = ?", (number,)
            ).fetchone()
        if row is None:
            raise BadInput(f"{shown_path(self.path)}: there is no entry {number}")
        return self._entry_of(row)

    def find(self, said: str) -> Entry:
        """Return the one entry that a number, or words, stand for.

        Raises
        ------
        BadInput
            None or several: the message names some.
        """
        if said.isascii() and said.isdigit() and len(said) < 16:
            return self.entry(int(said))
        found = self.search(said.split())
        if len(found) == 1:
            return found[0]
        if not found:
            raise BadInput(f"{shown_path(self.path)}: no entry holds {quoted(said)}")
        some = ", ".join(
            f"{e.id} ({quoted(e.serial, 20)} {e.measured_on[:10] or NO_DAY})" for e in found[:4]
        )
        more = " and more" if len(found) > 4 else ""
        raise BadInput(
            f"{shown_path(self.path)}: {len(found)} entries hold {quoted(said)}: "
            f"{printable(some)}{more}; give the number"
        )

    # Reading

    def facts_text(self, number: int) -> str:
        """Return the facts document of an entry as it was added, character by character."""
        return self._document(number, "facts")

    def facts(self, number: int) -> Document:
        """Return the facts document of an entry."""
        return parsed(self.facts_text(number), f"{shown_path(self.path)}: entry {number}")

    def report(self, number: int) -> str | None:
        """Return the report of an entry, None where it was added without."""
        with speaking(self.path):
            row = self._db.execute(
                "SELECT report IS NOT NULL FROM entry WHERE id = ?", (number,)
            ).fetchone()
        return self._document(number, "report") if row is not None and row[0] else None

    def _document(self, number: int, column: str) -> str:
        with speaking(self.path):
            row = self._db.execute(
                f"SELECT {column}, {column}_sha256 FROM entry WHERE id = ?", (number,)
            ).fetchone()
        if row is None:
            raise BadInput(f"{shown_path(self.path)}: there is no entry {number}")
        return unpacked(row[0], row[1], f"{shown_path(self.path)}: entry {number}: its {column}")

    def kept_files(self, number: int) -> list[KeptFile]:
        """Return the files of an entry: session.toml and its takes."""
        with speaking(self.path):
            rows = self._db.execute(
                "SELECT name, sha256, bytes FROM file WHERE entry = ? ORDER BY name", (number,)
            )
            return [KeptFile(*row) for row in rows]

    def restore(self, number: int, folder: Path) -> list[Path]:
        """Write the session of an entry into a new folder; return its files.

        Raises
        ------
        BadInput
            The folder has something in it, or a file is missing or damaged.
        """
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BadInput(f"{shown_path(folder)}: is not an empty folder; choose another")
        made = []
        for file in self.kept_files(number):
            check_file(file, f"{shown_path(self.path)}: entry {number}")
            target = folder / file.name
            store.restore(self.files, file.sha256, target)
            made.append(target)
        if not made:
            raise BadInput(f"{shown_path(self.path)}: entry {number} was added without its session")
        return made

    # Reading what may be damaged

    def numbers(self) -> list[int]:
        """Return the numbers of all entries; of a damaged file, all that there may be."""
        found: list[int] = []
        try:
            found.extend(
                int(row[0])
                for row in self._db.execute("SELECT id FROM entry NOT INDEXED ORDER BY id")
            )
        except sqlite3.DatabaseError:
            last = BLIND
            with suppress(sqlite3.DatabaseError):
                row = self._db.execute(
                    "SELECT seq FROM sqlite_sequence WHERE name = 'entry'"
                ).fetchone()
                last = min(int(row[0]), BLIND) if row else BLIND
            return list(range(1, last + 1))
        return found

    def package(self, number: int) -> tuple[Package, list[KeptFile]] | None:
        """Return everything of one entry, checked; None where there is none of that number.

        Raises
        ------
        BadInput
            It is damaged.
        """
        where = f"entry {number}"
        with speaking(self.path):
            row = self._db.execute(
                "SELECT facts, facts_sha256, report, report_sha256, note, added_on "
                "FROM entry NOT INDEXED WHERE id = ?",
                (number,),
            ).fetchone()
        if row is None:
            return None
        facts = unpacked(row[0], row[1], f"{where}: its facts")
        parsed(facts, where)
        report = None if row[2] is None else unpacked(row[2], row[3], f"{where}: its report")
        files = self.kept_files(number)
        for file in files:
            check_file(file, where)
        return Package(facts, report, str(row[4])[:2000], str(row[5])[:40]), files

    def damage(self) -> list[str]:
        """Return what SQLite finds wrong with the file itself."""
        try:
            rows = self._db.execute("PRAGMA integrity_check(20)").fetchall()
        except sqlite3.DatabaseError as error:
            return [plainly(str(error))]
        said = [line for row in rows if row[0] != "ok" for line in str(row[0]).splitlines()]
        return [plainly(line) for line in said if not line.startswith("***")]

    # Writing

    def add(
        self, package: Package, files: Iterable[tuple[str, Path]] = (), *, renew: bool = False
    ) -> tuple[Entry, bool]:
        """Keep a measurement; return its entry and whether it is new or renewed.

        Parameters
        ----------
        package
            Facts as JSON text, the report, a note.
        files
            Name in the session and place of each file to be kept beside.
        renew
            Replace documents of a session that is there already, as after a better analysis.
        """
        facts = parsed(package.facts, "facts")
        key = key_of(facts)
        known = self.known(key)
        if known is not None and not renew:
            return known, False
        aside: list[tuple[str, Path, str, int]] = []
        try:
            with speaking(self.path):
                for name, path in files:
                    aside.append((name, *store.copy_aside(path, self.files)))
                with self._writing():
                    number = self._insert(key, facts, package)
                    for name, passing, sha256, size in aside:
                        store.settle(passing, self.files, sha256)
                        self._db.execute(
                            "INSERT INTO file VALUES (?, ?, ?, ?)", (number, name, sha256, size)
                        )
        except OSError as error:
            raise BadInput(
                f"{shown_path(self.files)}: cannot be written ({error.strerror}); nothing was added"
            ) from error
        finally:
            for _, passing, _, _ in aside:
                passing.unlink(missing_ok=True)
        return self.entry(number), True

    def known(self, key: str) -> Entry | None:
        """Return the entry of a measurement, None where it is not there."""
        with speaking(self.path):
            row = self._db.execute(
                f"SELECT {self._columns} FROM entry WHERE key = ?", (key,)
            ).fetchone()
        return None if row is None else self._entry_of(row)

    def _insert(self, key: str, facts: Document, package: Package) -> int:
        """Insert or replace the row of one measurement; return its number."""
        device = facts["device"]
        text = [str(device.get(k) or "") for k in ("maker", "model", "serial")]
        told = words.words_of(facts, package.note)
        report = package.report
        row = (
            key, *text, measured_on(facts), str(device.get("firmware") or ""),
            package.added_on or now(), package.note, told, words.faults_of(facts),
            is_simulated(facts.get("made")),
            packed(package.facts), sha256(package.facts),
            None if report is None else packed(report),
            None if report is None else sha256(report),
        )  # fmt: skip
        names = (
            "key, maker, model, serial, measured_on, firmware, added_on, note, words, faults, "
            "simulated, "
            "facts, facts_sha256, report, report_sha256"
        )
        marks = ", ".join("?" * len(row))
        old = self._db.execute("SELECT id FROM entry WHERE key = ?", (key,)).fetchone()
        if old is not None:
            self._db.execute("DELETE FROM file WHERE entry = ?", old)
            assigned = ", ".join(f"{n.strip()} = ?" for n in names.split(","))
            self._db.execute(f"UPDATE entry SET {assigned} WHERE id = ?", (*row, old[0]))
            number = int(old[0])
        else:
            done = self._db.execute(f"INSERT INTO entry ({names}) VALUES ({marks})", row)
            number = int(done.lastrowid or 0)
        if self._indexed:
            self._db.execute(f"DELETE FROM {words.INDEX} WHERE rowid = ?", (number,))
            self._db.execute(
                f"INSERT INTO {words.INDEX} (rowid, words) VALUES (?, ?)", (number, told)
            )
        else:
            self._set_mark("words", "stale")
        return number

    def remove(self, numbers: Sequence[int]) -> None:
        """Remove entries, then the files that nothing else refers to."""
        with speaking(self.path):
            contents = {f.sha256 for n in numbers for f in self.kept_files(n)}
            with self._writing():
                for number in numbers:
                    self._db.execute("DELETE FROM entry WHERE id = ?", (number,))
                    if self._indexed:
                        self._db.execute(f"DELETE FROM {words.INDEX} WHERE rowid = ?", (number,))
                if not self._indexed:
                    self._set_mark("words", "stale")
            with self._writing():  # nobody can add the same content meanwhile
                for content in contents:
                    if not self._refers(content):
                        store.discard(self.files, content)

    def _refers(self, content: str) -> bool:
        row = self._db.execute("SELECT 1 FROM file WHERE sha256 = ? LIMIT 1", (content,))
        return row.fetchone() is not None
