"""The same answer from a facts file as from its session, over random sessions of real files.

::

    OMP_NUM_THREADS=1 python -m tests.studies.same_answer --sessions 100 --seed 1 --jobs 2 --write

Each session is drawn, written as WAV files and analysed. One answer comes from the stage as it was
identified, without a facts document in between; the facts are written, the session is deleted,
and the other answer comes from the file alone. ``--write`` writes docs/proof-same-answer.md.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import traceback
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import probe
from probe.advice.advise import ask
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import GroundPath
from probe.facts import analyse, read_facts, source_from_facts, to_json
from probe.phasors import measure
from probe.session.read import read_session
from probe.simulate.write import simulate
from probe.stage.as_source import source_of
from probe.stage.identify import identify
from tests.studies.drawn import draw

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-same-answer.md"
DRAWS = 1000
SEED = 1
"""Of the Monte Carlo, the same for both answers."""

LIMITS = {"level_db": 0.01, "interval_percent": 5.0}

SMALLEST_LEVEL = 1e-6
"""V; below, decibels compare what neither answer can know."""

SMALLEST_INTERVAL = 1e-5
"""Half-width over its value, from which an interval's width is compared: a narrower one is
rounding of the draws."""

GROUND = GroundPath(20e-3, ohm=1.0)
DESTINATION = Destination(
    "amplifier",
    (
        Input("rca", "rca", "single-ended", 22e3, ground=GROUND, sensitivity_volts=1.0),
        Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier",
              impedance_is="each-leg", ground=GROUND, sensitivity_volts=2.0),
    ),
    Cable(5.0, 5e-10, 0.15, 0.02),
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One session: what its two answers differ by at most, over all options.

    ``levels`` and ``intervals`` were compared; ``unlike`` names what one answer says and the
    other does not (options, verdicts, choices).
    """

    index: int
    circuit: str
    takes: str
    options: int
    levels: int
    intervals: int
    level_db: float
    interval_percent: float
    deleted: bool
    unlike: tuple[str, ...]


def row(seed: int, index: int) -> Row:
    """Answer one session twice; what breaks is said in its row, and the others go on."""
    try:
        return _row(seed, index)
    except Exception as error:
        traceback.print_exc()
        drawn = draw(seed, index, audio=True)
        said = f"broke: {type(error).__name__} {error}"
        return Row(index, drawn.circuit, drawn.takes_name, 0, 0, 0, 0.0, 0.0, False, (said,))


def _row(seed: int, index: int) -> Row:
    drawn = draw(seed, index, audio=True)
    with tempfile.TemporaryDirectory() as place:
        folder, saved = Path(place) / "session", Path(place) / "facts.json"
        simulate(drawn.stage, folder)
        session = read_session(folder)
        facts = analyse(session, draws=DRAWS, seed=SEED)
        phasors = measure(session)
        direct = {s: source_of(identify(session, phasors, s, draws=DRAWS, seed=SEED))
                  for s in facts["sides"]}  # fmt: skip
        from_session = _answer(facts, direct)
        saved.write_text(to_json(facts))
        shutil.rmtree(folder)
        deleted = not folder.exists()
        kept = read_facts(saved)
        from_facts = _answer(kept, {s: source_from_facts(kept, s) for s in kept["sides"]})
    return _compared(drawn.index, drawn.circuit, drawn.takes_name, deleted, from_session,
                     from_facts)  # fmt: skip


def _answer(facts: dict[str, Any], sources: dict[str, Any]) -> dict[str, Any]:
    heard = {side: s for side, s in sources.items() if s is not None and s.hz.size}
    return ask(facts, heard, DESTINATION).to_json()


def _compared(
    index: int, circuit: str, takes: str, deleted: bool, one: dict[str, Any], two: dict[str, Any]
) -> Row:
    unlike = [] if one["chosen"] == two["chosen"] else [f"chosen {one['chosen']}, {two['chosen']}"]
    pairs = list(zip(one["options"], two["options"], strict=False))
    if len(one["options"]) != len(two["options"]):
        unlike.append("not as many options")
    levels, intervals = [], []
    for a, b in pairs:
        unlike += [f"{a['id']}: {name} {a[name]}, {b[name]}"
                   for name in ("id", "side", "verdict") if a[name] != b[name]]  # fmt: skip
        if set(a) != set(b):
            unlike.append(f"{a['id']}: {sorted(set(a) ^ set(b))}")
        for name, first in _quantities(a).items():
            second = _quantities(b).get(name, first)
            if name == "level" and min(first["value"], second["value"]) > SMALLEST_LEVEL:
                levels.append(20.0 * np.log10(second["value"] / first["value"]))
            intervals += _widths(first, second)
    return Row(index, circuit, takes, len(pairs), len(levels), len(intervals),
               _largest(levels), _largest(intervals), deleted, tuple(unlike))  # fmt: skip


def _quantities(option: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Every figure of an option that has an interval, by name."""
    found = {n: v for n, v in option.items() if isinstance(v, dict) and "u95" in v}
    for group in ("loss_db", "connection_loss_db", "bandwidth_hz"):
        found |= {f"{group}.{n}": v for n, v in option.get(group, {}).items() if "u95" in v}
    return found


def _widths(first: dict[str, Any], second: dict[str, Any]) -> list[float]:
    """Difference of two half-widths in percent of the larger; a decibel is a value of 8.7."""
    value = 8.7 if first["unit"] == "dB" else abs(first["value"])
    larger = max(first["u95"], second.get("u95", 0.0))
    if larger <= SMALLEST_INTERVAL * value:
        return []
    return [100.0 * (second.get("u95", 0.0) - first["u95"]) / larger]


def _largest(errors: list[float]) -> float:
    return float(max((abs(e) for e in errors), default=0.0))


def beyond(found: Row) -> list[str]:
    """What a row does not keep."""
    wrong = [n for n, limit in LIMITS.items() if getattr(found, n) > limit]
    return [*wrong, *found.unlike, *([] if found.deleted else ["the session is still there"])]


def run(seed: int, sessions: int, jobs: int) -> list[Row]:
    """All sessions, in order."""
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(row, [seed] * sessions, range(sessions)))


def document(rows: list[Row], seed: int) -> str:
    """The page."""
    lines = [
        "# Proof: the same answer from facts as from their session",
        "",
        f"`python -m tests.studies.same_answer --sessions {len(rows)} --seed {seed} --write`, "
        f"probe {probe.__version__}. Random sessions (circuit, bench, takes, phases) written as "
        "WAV files. The answer of the session comes from the identified stage itself; then the "
        "facts are written, the session is deleted, and the other answer comes from the file. "
        "Compared: every option's level in dB, and the half-width of every interval of every "
        "option (levels, losses, -3 dB points, tie current, hum, noise), the largest difference "
        "of each session. Verdicts, choices and which figures are known must be the same.",
        "",
        f"Limits: levels {LIMITS['level_db']} dB, intervals {LIMITS['interval_percent']:g} %.",
        "",
        "| session | circuit | takes | options | levels | worst, dB | intervals | worst, % |"
        " else |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for r in rows:
        else_ = "; ".join([*r.unlike, *([] if r.deleted else ["not deleted"])]) or "the same"
        cells = (r.index, r.circuit, r.takes, r.options, r.levels, f"{r.level_db:.6f}",
                 r.intervals, f"{r.interval_percent:.4f}", else_)  # fmt: skip
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    alike = sum(not r.unlike and r.deleted for r in rows)
    total = (
        "all", "", "", sum(r.options for r in rows), sum(r.levels for r in rows),
        f"{max(r.level_db for r in rows):.6f}", sum(r.intervals for r in rows),
        f"{max(r.interval_percent for r in rows):.4f}", f"{alike} of {len(rows)} the same",
    )  # fmt: skip
    lines.append("| " + " | ".join(map(str, total)) + " |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Run the study and print or write its table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--write", action="store_true", help=f"write {DOCUMENT.name}")
    given = parser.parse_args()
    rows = run(given.seed, given.sessions, given.jobs)
    text = document(rows, given.seed)
    if given.write:
        DOCUMENT.write_text(text)
    else:
        print(text)


if __name__ == "__main__":
    main()
