"""Batches on one core and on two: time, memory, and that the output is the same.

    OMP_NUM_THREADS=1 python -m tests.studies.batch --sessions 300 --seed 1 --write

Sessions are simulated (four short takes each, circuits in turn) into a folder, then analysed by
``probe batch`` with one process and with two. Run it on a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import probe

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "proof-batch.md"
CIRCUITS = ("symmetrical-dual", "symmetrical-dual-coupled", "cold-capacitor-dried")
WANTED = 1.7


def stage(number: int, seed: int) -> str:
    """The description of one simulated session."""
    return (
        f'format = "probe-stage/1"\ncircuit = "{CIRCUITS[number % len(CIRCUITS)]}"\n'
        f'seed = {seed * 100_000 + number}\nsides = ["mono"]\nseconds = 1.0\n'
        'takes = ["open", "inject-cold", "load-cold", "second-open"]\n'
        f'[device]\nmaker = "Mardle"\nmodel = "Fen {number % 7}"\nserial = "S-{number:05d}"\n'
        f"[tolerances]\nseed = {seed * 7 + number}\n"
    )


def make(folder: Path, sessions: int, seed: int) -> None:
    """Simulate the sessions."""
    (folder / "sessions").mkdir()
    from probe.simulate.build import read_stage
    from probe.simulate.write import simulate

    for number in range(sessions):
        description = folder / f"{number}.toml"
        description.write_text(stage(number, seed), "utf-8")
        simulate(read_stage(description), folder / "sessions" / f"{number:04d}")


def memory_of(pid: int) -> int:
    """Bytes held by a process and its children, 0 where they are gone."""
    total = 0
    for path in Path("/proc").glob("[0-9]*"):
        try:
            parts = (path / "stat").read_text().rsplit(")", 1)[1].split()
            if int(path.name) == pid or int(parts[1]) == pid:
                total += int(parts[21]) * os.sysconf("SC_PAGE_SIZE")
        except (OSError, IndexError, ValueError):
            continue
    return total


def run(folder: Path, out: Path, jobs: int) -> tuple[float, int, int]:
    """Seconds of a batch, and its largest memory in the first and the last third."""
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "probe", "batch", str(folder / "sessions"), "--jobs", str(jobs),
         "--out", str(out)],
        cwd=ROOT, stdout=subprocess.DEVNULL,
        env={**os.environ, "OMP_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    seen: list[int] = []
    stop = threading.Event()

    def watch() -> None:
        while not stop.wait(0.5):
            seen.append(memory_of(process.pid))

    watcher = threading.Thread(target=watch)
    watcher.start()
    status = process.wait()
    stop.set()
    watcher.join()
    if status != 0:
        raise SystemExit(f"the batch ended with {status}")
    third = max(1, len(seen) // 3)
    return time.monotonic() - began, max(seen[third : 2 * third] or seen), max(seen[-third:])


def documents(out: Path) -> dict[str, Any]:
    """All facts of a batch but for when they were made."""
    found = {}
    for path in sorted(out.rglob("facts.json")):
        facts = json.loads(path.read_text("utf-8"))
        facts.pop("made")
        found[path.parent.name] = facts
    return found


def main() -> None:
    """Make the sessions, run both batches, print and keep the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        make(folder, args.sessions, args.seed)
        one = run(folder, folder / "one", 1)
        two = run(folder, folder / "two", 2)
        alike = documents(folder / "one") == documents(folder / "two")
        count = len(documents(folder / "two"))
    held = [f"{run[1] / 1e6:.0f} MB, {run[2] / 1e6:.0f} MB" for run in (one, two)]
    quicker = one[0] / two[0]
    text = f"""\
# Batches on two cores

    OMP_NUM_THREADS=1 python -m tests.studies.batch --sessions {args.sessions} --seed {args.seed}

Version {probe.__version__}, seed {args.seed}, {args.sessions} simulated sessions of four takes of
1 s, {os.cpu_count()} cores, load of the machine at the end {os.getloadavg()[0]:.1f}.

| what | found | wanted |
|---|---|---|
| sessions analysed | {count} | {args.sessions} |
| one process | {one[0]:.1f} s | |
| two processes | {two[0]:.1f} s | |
| two quicker than one by | {quicker:.2f} | {WANTED} |
| most memory, one process: middle third, last third | {held[0]} | flat |
| most memory, two processes: middle third, last third | {held[1]} | flat |
| facts alike but for `made` | {"yes" if alike else "no"} | yes |
"""
    print(text)
    if args.write:
        PAGE.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
