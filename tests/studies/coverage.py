"""How often intervals hold the truth and kinds are right, over random simulated sessions.

::

    OMP_NUM_THREADS=1 python -m tests.studies.coverage --sessions 400 --seed 1 --jobs 2

prints the table of ``docs/proof-coverage.md``; ``--write`` writes it there. ``--again FILE``
prints it from rows kept with ``--keep FILE``; ``--misses`` lists every interval that does not hold
the truth, with the number of its session.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from .run import Row, row
from .table import document, misses

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-coverage.md"

AUDIO_EVERY = 25
"""Each 25th session goes through real files; the others from phasors with noise as stated."""


def through_audio(index: int) -> bool:
    """Tell whether a session of the study is written as files and read back."""
    return index % AUDIO_EVERY == AUDIO_EVERY - 1


def one(job: tuple[int, int]) -> Row | str:
    """One session; what broke as text, so that a long run goes on."""
    seed, index = job
    try:
        return row(seed, index, audio=through_audio(index))
    except Exception:
        return f"session {index} of seed {seed}: {traceback.format_exc()}"


def run(seed: int, sessions: int, jobs: int) -> tuple[list[Row], list[str]]:
    """All sessions, in order; and what broke."""
    work = [(seed, index) for index in range(sessions)]
    if jobs > 1:
        with ProcessPoolExecutor(jobs) as pool:
            results = list(pool.map(one, work, chunksize=2))
    else:
        results = [one(job) for job in work]
    return [r for r in results if isinstance(r, Row)], [r for r in results if isinstance(r, str)]


def main() -> None:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="keep the rows in this file")
    parser.add_argument("--again", type=Path, help="rows kept earlier instead of a run")
    parser.add_argument("--misses", action="store_true", help="list what misses, not the table")
    parser.add_argument("--write", action="store_true", help=f"write {DOCUMENT.name}")
    given = parser.parse_args()
    if given.again:
        rows, broken = pickle.loads(given.again.read_bytes())
    else:
        rows, broken = run(given.seed, given.sessions, given.jobs)
    if given.keep:
        given.keep.write_bytes(pickle.dumps((rows, broken)))
    for text in broken:
        print(text, file=sys.stderr)
    text = misses(rows) if given.misses else document(rows, given.seed, len(broken))
    if given.write:
        DOCUMENT.write_text(text)
    else:
        print(text)


if __name__ == "__main__":
    main()
