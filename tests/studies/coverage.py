"""``python -m tests.studies.coverage --sessions 500 --seed 1 --jobs 2``."""

from __future__ import annotations

import argparse
import os
import pickle
import sys
import traceback
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from .run import Row, row


def one(job: tuple[int, int, bool]) -> Row | str:
    seed, index, audio = job
    try:
        return row(seed, index, audio=audio)
    except Exception:
        return f"session {index} of seed {seed}: {traceback.format_exc()}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, default=None)
    given = parser.parse_args()
    jobs = [(given.seed, i, False) for i in range(given.sessions)]
    if given.jobs > 1:
        with ProcessPoolExecutor(given.jobs) as pool:
            rows = list(pool.map(one, jobs, chunksize=4))
    else:
        rows = [one(j) for j in jobs]
    bad = [r for r in rows if isinstance(r, str)]
    good = [r for r in rows if not isinstance(r, str)]
    if given.keep:
        given.keep.write_bytes(pickle.dumps((good, bad)))
    for text in bad:
        print(text, file=sys.stderr)
    report(good)


def report(rows: list[Row]) -> None:
    forms = defaultdict(lambda: defaultdict(list))
    for r in rows:
        for f in r.facts:
            forms[f.form][f.name].append(f)
    for form, names in forms.items():
        every = [f.holds for fs in names.values() for f in fs]
        print(f"{form}: {len(every)}, hold {100 * np.mean(every):.2f} %")
        for name, fs in sorted(names.items()):
            holds = np.mean([f.holds for f in fs])
            z = np.array([f.z for f in fs if np.isfinite(f.z)])
            more = f"  median z {np.median(z):+.2f}, rms/1.96 {np.sqrt(np.median(z**2)) / 0.344:.2f}" if len(z) else ""
            print(f"  {name:32s} {len(fs):5d} {100 * holds:6.1f} %{more}")
    stated = [r for r in rows if r.kind != "undetermined" and r.confidence >= 0.9]
    print(f"kinds stated {len(stated)}, right {sum(r.right for r in stated)}")
    for r in stated:
        if not r.right:
            print("  WRONG", r.index, r.circuit, r.takes, r.situation, r.drift_db, r.kind, r.confidence)
    full = [r for r in rows if r.full]
    got = [r.right and r.confidence >= 0.9 for r in full]
    print(f"full sets {len(full)}, right at 0.9: {sum(got)}")
    for r, g in zip(full, got, strict=True):
        if not g:
            print("  MISSED", r.index, r.circuit, r.situation, r.drift_db, r.kind, r.confidence)
    for r in full:
        if r.absent:
            print("  ABSENT", r.index, r.circuit, r.situation, r.drift_db, r.absent)
    warned = sum(len({w.split(': ')[1] for w in r.warnings}) for r in rows)
    print(f"warned takes {warned} of {sum(r.take_count for r in rows)}")
    for r in rows:
        if r.warnings:
            print("  ", r.index, r.circuit, r.takes, r.situation, r.drift_db, r.warnings)
    print(f"seconds a session: {np.mean([r.seconds for r in rows]):.2f}")


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()
