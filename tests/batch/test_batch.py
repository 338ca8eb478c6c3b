"""Many sessions: identical to single runs, none stops the others, resumed, told."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from probe.batch.batch import Outcome, analyse_all, find_sessions, table
from probe.batch.orphan import working_for
from probe.batch.told import summary, time_left
from probe.cli.main import main
from probe.cli.output import write_together
from probe.errors import BadInput
from probe.report.summary import widest
from tests.house.readme import ROOT
from tests.verify.test_verify_page import HOSTILE

DEMOS = ("streamer-ground-sensing",)


@pytest.fixture
def many(tmp_path: Path) -> Path:
    """A demo, and a session that cannot be read."""
    folder = tmp_path / "many"
    for name in DEMOS:
        shutil.copytree(ROOT / "captures" / name, folder / "shop" / name)
    bad = folder / "bad"
    bad.mkdir()
    (bad / "session.toml").write_text('format = "probe-session/1"\n', "utf-8")
    return folder


def without_made(path: Path) -> dict[str, Any]:
    facts = json.loads(path.read_text("utf-8"))
    facts.pop("made")
    return facts


@pytest.mark.long
def test_a_batch_gives_what_single_runs_give(
    many: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table_file, out = tmp_path / "t.csv", tmp_path / "out"
    arguments = ["batch", str(many), "--jobs", "2", "--csv", str(table_file), "--out", str(out)]
    arguments += ["--draws", "200"]
    assert main(arguments) == 1
    told = capsys.readouterr().out
    assert "1 analysed, 0 as they were, 1 failed" in told
    assert "bad: FAILED" in told
    for name in DEMOS:
        single = tmp_path / name
        session = str(many / "shop" / name)
        assert main(["analyse", session, "--out", str(single), "--draws", "200"]) == 0
        # closed form: identity, but for when it was made
        assert without_made(out / "shop" / name / "facts.json") == without_made(
            single / "facts.json"
        )
        assert (out / "shop" / name / "report.html").is_file()
    rows = list(csv.DictReader(table_file.read_text("utf-8").splitlines()))
    assert [r["status"] for r in rows] == ["failed", "done"]
    # resumed: nothing is analysed twice, and the failed one is tried again
    arguments[arguments.index("--jobs") + 1] = "1"
    stamps = {p: p.stat().st_mtime_ns for p in out.rglob("facts.json")}
    capsys.readouterr()
    assert main(arguments) == 1
    assert "0 analysed, 1 as they were, 1 failed" in capsys.readouterr().out
    assert stamps == {p: p.stat().st_mtime_ns for p in out.rglob("facts.json")}
    # a half-written or foreign result is no result
    (out / "shop" / DEMOS[0] / "facts.json").write_text("{", "utf-8")
    assert main(arguments) == 1
    assert "1 analysed, 0 as they were, 1 failed" in capsys.readouterr().out


def explode(folder: Path, texts: dict[str, str]) -> None:
    raise RuntimeError(f"of {folder.name}, {len(texts)} texts\nsecond line")


def test_a_mistake_in_one_job_is_its_own(many: Path) -> None:
    sessions = [many / "bad", many / "shop" / DEMOS[0]]
    found = analyse_all(sessions, explode, jobs=1, draws=100)
    assert [o.status for o in found] == ["failed", "failed"]
    assert "RuntimeError" in found[1].message
    assert "\n" not in found[1].message


@pytest.mark.long
@pytest.mark.skipif(os.name != "posix", reason="a system that hands orphans on")
def test_workers_end_with_a_killed_batch(many: Path) -> None:
    for n in range(6):
        shutil.copytree(many / "shop" / DEMOS[0], many / f"more-{n}")
    command = [sys.executable, "-m", "probe", "batch", os.fspath(many), "--jobs", "2"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as batch:
        until(lambda: any(many.rglob("facts.json")), 60)
        workers = children(batch.pid)
        batch.kill()
    # two workers at least: the number asked for
    assert len(workers) >= 2
    until(lambda: not workers & alive(), 30)
    # a job that was under way is finished: nothing half-written beside the sessions
    assert not list(many.rglob(".probe-*"))


def test_jobs_in_threads_of_one_process_do_not_wait_for_each_other() -> None:
    both = threading.Barrier(2)

    def job() -> None:
        with working_for(os.getpid()):
            both.wait(60.0)  # broken, and raised, where one waits for the other

    with ThreadPoolExecutor(2) as pool:
        for done in [pool.submit(job) for _ in range(2)]:
            done.result()


def processes() -> dict[int, int]:
    """Each process that is not over, with its parent."""
    listed = subprocess.run(
        ["ps", "-A", "-o", "pid=,ppid=,stat="], capture_output=True, text=True, check=True
    )
    rows = (line.split() for line in listed.stdout.splitlines())
    return {int(pid): int(parent) for pid, parent, state in rows if not state.startswith("Z")}


def alive() -> set[int]:
    return set(processes())


def children(of: int) -> set[int]:
    return {pid for pid, parent in processes().items() if parent == of}


def until(true: Callable[[], object], seconds: float) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.1)


def test_progress_tells_the_time_left(many: Path) -> None:
    told: list[tuple[int, int, float | None]] = []
    analyse_all(
        [many / "bad", many / "bad"][:1], write_together, jobs=1,
        progress=lambda done, total, _, left: told.append((done, total, left)),
    )  # fmt: skip
    assert [(d, t) for d, t, _ in told] == [(1, 1)]
    # closed form: nothing is left
    assert told[0][2] == 0.0
    assert (time_left(None), time_left(40.0), time_left(600.0), time_left(7200.0)) == (
        "", "40 s left", "10 min left", "2.0 h left",
    )  # fmt: skip


def test_bad_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BadInput, match=r"no session\.toml"):
        find_sessions([tmp_path])
    for arguments in (
        [str(tmp_path)], [str(tmp_path / "none")], [str(tmp_path), "--jobs", "0"],
        [str(tmp_path), "--draws", "5"], [str(tmp_path), "--csv", ""],
    ):  # fmt: skip
        assert main(["batch", *arguments]) == 2
        out, err = capsys.readouterr()
        assert (out, len(err.splitlines())) == ("", 1)


@pytest.mark.parametrize("text", HOSTILE, ids=["markup", "control", "direction", "formula", "long"])
def test_strangers_text_does_no_harm(text: str) -> None:
    from probe.batch.batch import COLUMNS, summary_rows
    from probe.facts.tables import csv_text
    from tests.archive.made import example

    facts = example(1)
    facts["device"] = dict.fromkeys(("maker", "model", "serial", "firmware"), text)
    facts["sides"]["mono"]["stage"]["faults"] = [text]
    rows = tuple(summary_rows(facts))
    outcomes = [
        Outcome(text, "done", "", 1.0, rows), Outcome("b", "failed", text, 1.0, ()),
    ]  # fmt: skip
    told = summary(outcomes)
    assert not set("\x1b\x07\u202e\u2066") & set(told)
    # closed form: a terminal has 80 columns
    assert widest(told) <= 80
    for cells in csv.reader(csv_text(table(outcomes), COLUMNS).splitlines()):
        # no formula starts in any program that opens the file
        assert not any(cell.startswith(("=", "@", "\t", "\r")) for cell in cells)
        assert not any(c.startswith(("+", "-")) and not _number(c) for c in cells)


@pytest.mark.parametrize("mixed", [True, False])
def test_simulated_sessions_are_marked(mixed: bool) -> None:
    from probe.batch.batch import summary_rows
    from tests.archive.made import example

    real, invented = example(1), example(2)
    invented["made"]["bench"]["interface"] = "simulated bench"
    one = Outcome("a", "done", "", 1.0, tuple(summary_rows(real if mixed else invented)))
    outcomes = [one, Outcome("b", "done", "", 1.0, tuple(summary_rows(invented)))]
    # by design: a column of the table; on screen a mark where both sorts are there
    assert [row["simulated"] for row in table(outcomes)] == ["no" if mixed else "yes", "yes"]
    told = " ".join(summary(outcomes).split())
    assert told.count("; simulated") == (1 if mixed else 0)
    assert ("Simulated: 1 session: " if mixed else "Simulated: all sessions: ") in told


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
