"""What is kept comes back; what is damaged, locked, full or foreign is said and loses nothing."""

from __future__ import annotations

import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from probe.archive import exchange, schema, store
from probe.archive.keep import Archive
from probe.errors import BadInput
from probe.facts import to_json
from tests.archive.made import example, package, take
from tests.house.readme import ROOT


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "kept" / "archive.sqlite"


def filled(place: Path, count: int, *, takes: Path | None = None) -> None:
    with Archive.open(place, create=True) as archive:
        for number in range(count):
            files = []
            if takes is not None:
                files = [
                    take(takes, f"{number}/session.toml", b"toml %d" % number),
                    take(takes, f"{number}/a.wav", b"the same sound"),
                ]
                files = [(name.split("/", 1)[1], path) for name, path in files]
            archive.add(package(example(number)), files)


def everything(place: Path) -> list[tuple[str, ...]]:
    """All that entries hold, files by content, in order of their keys."""
    with Archive.open(place, writable=False) as archive:
        found = []
        for entry in archive.entries():
            files = [(f.name, f.sha256) for f in archive.kept_files(entry.id)]
            for _, content in files:
                assert store.sha256_of(store.place_of(archive.files, content))[0] == content
            report = archive.report(entry.id) or ""
            found.append((entry.key, archive.facts_text(entry.id), report, entry.added_on, *files))
    return sorted(found)


def test_what_is_added_comes_back_character_by_character(place: Path, tmp_path: Path) -> None:
    facts = example(7)
    with Archive.open(place, create=True) as archive:
        files = [take(tmp_path, "session.toml", b"x"), take(tmp_path, "sub/b.wav", b"sound")]
        entry, new = archive.add(package(facts), files)
        assert new
        # closed form: identity
        assert archive.facts_text(entry.id) == to_json(facts)
        assert archive.report(entry.id) == "<html>report</html>"
        assert (entry.maker, entry.model, entry.serial, entry.measured_on) == (
            "Hollin & Bray", "LP-2", "S-00007", "2026-03-14",
        )  # fmt: skip
        made = archive.restore(entry.id, tmp_path / "out")
        assert {p.relative_to(tmp_path / "out").as_posix() for p in made} == {
            "session.toml", "sub/b.wav",
        }  # fmt: skip
        assert (tmp_path / "out" / "sub" / "b.wav").read_bytes() == b"sound"
        again, new = archive.add(package(facts), files)
        assert (again.id, new) == (entry.id, False)
        with pytest.raises(BadInput, match="not an empty folder"):
            archive.restore(entry.id, tmp_path / "out")


def test_renewed_documents_replace_the_older_ones(place: Path) -> None:
    facts = example(1)
    with Archive.open(place, create=True) as archive:
        first, _ = archive.add(package(facts))
        facts["made"]["by"] = "probe 9"
        again, new = archive.add(package(facts), renew=True)
        assert (again.id, new) == (first.id, True)
        assert archive.facts(first.id)["made"]["by"] == "probe 9"
        assert len(archive.entries()) == 1


@pytest.mark.parametrize("indexed", [True, False])
def test_words_find_entries(place: Path, monkeypatch: pytest.MonkeyPatch, indexed: bool) -> None:
    if not indexed:  # a SQLite without the index
        monkeypatch.setattr("probe.archive.words.has_index", lambda _: False)
    filled(place, 12)
    with Archive.open(place) as archive:
        assert archive._indexed == indexed
        # closed form: serials are five digits; models repeat every five, makers every four
        assert [e.serial for e in archive.search(["s-00003"])] == ["S-00003"]
        assert {e.serial for e in archive.search(["LP-2", "larkfield"])} == set()
        assert {e.serial for e in archive.search(["LP-3", "larkfield"])} == {"S-00008"}
        assert {e.serial for e in archive.search(["Hollin"])} == {
            "S-00003", "S-00007", "S-00011",
        }  # fmt: skip
        assert archive.find("s-00004").serial == "S-00004"
        for odd in ('"', "((", "*", "%", "_", "a OR b", "NEAR(", "\0", "'; DROP TABLE entry"):
            assert archive.search([odd]) == []
        with pytest.raises(BadInput, match="give the number"):
            archive.find("larkfield")
        with pytest.raises(BadInput, match="no entry holds"):
            archive.find("nobody")
        with pytest.raises(BadInput, match="no entry 99"):
            archive.find("99")


def test_an_index_that_was_not_kept_up_is_made_again(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(place, 2)
    with monkeypatch.context() as without:
        without.setattr("probe.archive.words.has_index", lambda _: False)
        with Archive.open(place) as archive:
            archive.add(package(example(50)))
    with Archive.open(place) as archive:
        assert archive._indexed
        assert [e.serial for e in archive.search(["s-00050"])] == ["S-00050"]


def test_export_and_import_are_identical(place: Path, tmp_path: Path) -> None:
    filled(place, 20, takes=tmp_path / "takes")
    with Archive.open(place, writable=False) as archive:
        done = exchange.export(archive, archive.numbers(), tmp_path / "out.sqlite")
    assert (done.added, done.left_out) == (20, ())
    # closed form: identity
    assert everything(tmp_path / "out.sqlite") == everything(place)
    with Archive.open(tmp_path / "other.sqlite", create=True) as other:
        done = exchange.import_from(tmp_path / "out.sqlite", other)
        again = exchange.import_from(tmp_path / "out.sqlite", other)
    assert (done.added, again.added, again.known) == (20, 0, 20)
    assert everything(tmp_path / "other.sqlite") == everything(place)
    with Archive.open(place) as archive, pytest.raises(BadInput, match="is there already"):
        exchange.export(archive, [1], tmp_path / "out.sqlite")


def test_removing_keeps_what_others_need(place: Path, tmp_path: Path) -> None:
    filled(place, 3, takes=tmp_path / "takes")
    with Archive.open(place) as archive:
        shared = {f.sha256 for f in archive.kept_files(1)} & {
            f.sha256 for f in archive.kept_files(2)
        }
        assert len(shared) == 1
        archive.remove([1])
        assert [e.id for e in archive.entries()] == [2, 3]
        assert archive.search(["s-00000"]) == []
        assert store.place_of(archive.files, next(iter(shared))).is_file()
        archive.remove([2, 3])
        # closed form: nothing refers to anything
        assert [p for p in archive.files.rglob("*") if p.is_file()] == []


def test_a_load_that_was_refused_is_told_and_found(place: Path) -> None:
    facts = example(1)
    facts["sides"]["mono"]["stage"]["refused_loads"] = ["a load of 1.21 kohm was refused"]
    with Archive.open(place, create=True) as archive:
        weak, _ = archive.add(package(facts), [])
        sound, _ = archive.add(package(example(2)), [])
        # by the facts above
        assert weak.faults == "mono: did not drive a load that was tried"
        assert sound.faults == ""
        assert archive.search(["drive", "load"]) == [weak] == archive.search(["load-refused"])


def test_an_older_schema_is_brought_up_to_date(place: Path) -> None:
    place.parent.mkdir()
    db = sqlite3.connect(place)
    for statement in schema.MIGRATIONS[0]:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")
    from probe.archive.documents import packed, sha256

    facts = example(4)
    facts["made"]["bench"]["interface"] = "simulated bench"
    facts["sides"]["mono"]["stage"]["faults"] = ["coupling-capacitor-cold"]
    text = to_json(facts)
    row = ("k", "Larkfield", "LP", "S-1", "2020-01-01", "", "2020", "", "larkfield s-1",
           packed(text), sha256(text))  # fmt: skip
    db.execute(
        "INSERT INTO entry (key, maker, model, serial, measured_on, firmware, added_on, note, "
        f"words, facts, facts_sha256) VALUES ({', '.join('?' * len(row))})",
        row,
    )
    db.commit()
    db.close()
    with Archive.open(place, writable=False) as archive:  # looking changes nothing
        (old,) = archive.search(["larkfield"])
        assert old.serial == "S-1"
        # older tables have no faults: they are read from the facts
        assert "oupling capacitor of the cold leg" in old.faults
        assert old.simulated is True
        assert archive.search(["dried", "coupling", "capacitor"]) == []
    with Archive.open(place) as archive:
        # words and faults were told anew as the tables were brought up to date
        assert archive.search(["dried", "coupling", "capacitor"]) == [archive.find("larkfield")]
        assert archive.find("larkfield").faults == old.faults
        assert archive.find("larkfield").simulated is True
        assert archive._db.execute("PRAGMA user_version").fetchone()[0] == schema.NEWEST
        assert archive.facts_text(archive.find("larkfield").id) == text


def test_a_newer_schema_and_foreign_files_are_refused(place: Path, tmp_path: Path) -> None:
    filled(place, 1)
    db = sqlite3.connect(place)
    db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(BadInput, match="newer probe"):
        Archive.open(place)
    foreign = tmp_path / "foreign.sqlite"
    db = sqlite3.connect(foreign)
    db.execute("CREATE TABLE t (a)")
    db.close()
    before = foreign.read_bytes()
    with pytest.raises(BadInput, match="is not an archive"):
        Archive.open(foreign)
    assert foreign.read_bytes() == before
    text = tmp_path / "text"
    text.write_text("no archive " * 200, "utf-8")
    with pytest.raises(BadInput, match="not an archive"):
        Archive.open(text, create=True)
    with pytest.raises(BadInput, match="no archive yet"):
        Archive.open(tmp_path / "missing.sqlite")
    with pytest.raises(BadInput, match="is a folder"):
        Archive.open(tmp_path, create=True)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(BadInput, match="is a device or a pipe"):
        Archive.open(pipe, create=True)
    assert not list(tmp_path.glob("pipe-*"))


def test_a_damaged_entry_loses_nothing_else(place: Path, tmp_path: Path) -> None:
    filled(place, 5)
    db = sqlite3.connect(place)
    db.execute("UPDATE entry SET facts = x'00' WHERE id = 3")
    db.commit()
    db.close()
    with Archive.open(place) as archive:
        with pytest.raises(BadInput, match="entry 3: its facts is damaged"):
            archive.facts(3)
        assert archive.facts(4)["device"]["serial"] == "S-00003"
        assert len(exchange.complaints(archive)) == 1
    with Archive.open(tmp_path / "saved.sqlite", create=True) as saved:
        done = exchange.import_from(place, saved)
    assert (done.added, len(done.left_out)) == (4, 1)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.long
def test_a_file_damaged_anywhere_yields_what_can_be_read(
    place: Path, tmp_path: Path, seed: int
) -> None:
    filled(place, 30)
    whole = everything(place)
    raw = bytearray(place.read_bytes())
    pages = len(raw) // 4096
    at = 4096 * (2 + seed * (pages - 3) // 6)
    raw[at : at + 4096] = random.Random(seed).randbytes(4096)
    place.write_bytes(raw)
    with Archive.open(place, writable=False) as archive:
        assert exchange.complaints(archive)
    with Archive.open(tmp_path / "saved.sqlite", create=True) as saved:
        exchange.import_from(place, saved)
    saved_rows = everything(tmp_path / "saved.sqlite")
    # closed form: everything saved is what was stored, and one page spoils few entries
    assert set(saved_rows) <= set(whole)
    assert len(saved_rows) >= 20


def test_a_missing_or_damaged_take_is_said_and_left_out(place: Path, tmp_path: Path) -> None:
    filled(place, 2, takes=tmp_path / "takes")
    with Archive.open(place) as archive:
        content = next(f for f in archive.kept_files(1) if f.name == "session.toml")
        store.place_of(archive.files, content.sha256).write_bytes(b"other")
        with pytest.raises(BadInput, match="is damaged"):
            archive.restore(1, tmp_path / "out")
        assert exchange.complaints(archive) == ["entry 1: session.toml is damaged"]
        done = exchange.export(archive, [1, 2], tmp_path / "o.sqlite")
    assert (done.added, len(done.left_out)) == (2, 1)


def test_an_archive_that_names_files_outside_is_refused(place: Path, tmp_path: Path) -> None:
    filled(place, 3, takes=tmp_path / "takes")
    db = sqlite3.connect(place)
    db.execute("UPDATE file SET name = '../../evil' WHERE entry = 1 AND name = 'a.wav'")
    db.execute("UPDATE file SET sha256 = '../../../etc/passwd' WHERE entry = 2 AND name = 'a.wav'")
    db.commit()
    db.close()
    with Archive.open(tmp_path / "own.sqlite", create=True) as own:
        done = exchange.import_from(place, own)
    assert (done.added, len(done.left_out)) == (1, 2)
    with Archive.open(place) as archive, pytest.raises(BadInput, match="leads out of its folder"):
        archive.restore(1, tmp_path / "x" / "y" / "z")
    assert not (tmp_path / "evil").exists()


# Other processes

WRITER = """
import sys
from pathlib import Path
from probe.archive.keep import Archive
from tests.archive.made import example, package
first, last = int(sys.argv[2]), int(sys.argv[3])
for number in range(first, last):
    with Archive.open(Path(sys.argv[1]), create=True) as archive:
        archive.add(package(example(number)))
        print(number, flush=True)
"""


def writer(place: Path, first: int, last: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(place), str(first), str(last)],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, cwd=ROOT,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.mark.long
def test_two_writers_at_once_lose_nothing(place: Path) -> None:
    both = [writer(place, 0, 12), writer(place, 9, 21)]  # three of them the same
    for one in both:
        _, said = one.communicate(timeout=120)
        assert (one.returncode, said) == (0, "")
    with Archive.open(place) as archive:
        # closed form: 21 different ones
        assert len(archive.entries()) == 21
        assert exchange.complaints(archive) == []


def test_another_process_makes_the_archive_while_this_one_looks(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lost without it: of two first entries made at once, one is refused as "not an archive"."""

    def make() -> None:
        with Archive.open(place, create=True) as other:
            other.add(package(example(1)))

    maker = threading.Thread(target=make)

    class Disturbed(sqlite3.Connection):
        def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
            found = super().execute(sql, *values)
            if sql == "PRAGMA application_id" and maker.ident is None:
                maker.start()
                maker.join(1.0)  # it is through, or waits until this one has looked
            return found

    connect = sqlite3.connect
    monkeypatch.setattr(
        sqlite3, "connect", lambda *a, **k: connect(*a, **{"factory": Disturbed, **k})
    )
    place.parent.mkdir()
    with Archive.open(place, create=True) as archive:
        archive.add(package(example(2)))
        maker.join()
        # closed form: one entry of each
        assert len(archive.entries()) == 2


@pytest.mark.parametrize("after", [1, 4, 9])
@pytest.mark.long
def test_a_killed_writer_leaves_whole_entries(place: Path, after: int) -> None:
    filled(place, 1)
    process = writer(place, 100, 10_000)
    assert process.stdout is not None
    told = [process.stdout.readline() for _ in range(after)]
    time.sleep(0.003 * after)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    with Archive.open(place) as archive:
        kept = {e.serial for e in archive.entries()}
        # closed form: what was said to be kept is kept, and all of it is whole
        assert {f"S-{int(line):05d}" for line in told} <= kept
        assert exchange.complaints(archive) == []
        archive.add(package(example(1)))


FULL = """
import resource, signal, sys
from pathlib import Path
from probe.archive.keep import Archive
from probe.errors import BadInput
from tests.archive.made import example, package
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
place = Path(sys.argv[1])
limit = place.stat().st_size + int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    with Archive.open(place) as archive:
        for number in range(100, 1000):
            archive.add(package(example(number)), [("big.wav", Path(sys.argv[3]))])
except BadInput as error:
    print(error)
    sys.exit(2)
"""


@pytest.mark.parametrize("room", [100, 9000, 40_000])
@pytest.mark.long
def test_a_full_disk_loses_nothing(place: Path, tmp_path: Path, room: int) -> None:
    assert resource.RLIMIT_FSIZE
    filled(place, 3)
    before = everything(place)
    _, big = take(tmp_path, "big.wav", b"s" * 10_000)
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(place), str(room), str(big)],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, cwd=ROOT,
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (2, "")
    assert len(done.stdout.splitlines()) == 1
    assert set(before) <= set(everything(place))
    with Archive.open(place) as archive:
        assert exchange.complaints(archive) == []
        assert list(archive.files.glob(f"{store.PASSING}*")) == []
