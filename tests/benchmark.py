"""How fast the main things are, side by side in one run, each against its limit.

    python -m tests.benchmark              everything; some minutes, 0.4 GB in the temporary folder
    python -m tests.benchmark --seconds 60 a shorter long take
    python -m tests.benchmark --quick      what needs no long take

Times are the best of several tries, taken in turn with what they are compared with; other work on
the machine makes them larger, and the processor time printed beside them hardly. The exit status
is 1 where a limit is exceeded. Needs Linux or macOS (processor time and peak memory of a child).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

SESSION_SECONDS = 2.0
"""Wall time of ``probe analyse`` on six takes of 4 s, imports included."""
LONG_TAKE_RATIO = 1.0
"""Measuring a long take over reading it once with a real FFT of every block."""
IDLE_RATIO = 4.0
"""Spectra of a long idle take over reading it once with a real FFT of every block: each sample
stands in four overlapping segments, and each segment's cross spectrum is added up."""
LONG_TAKE_MEGABYTES = 250.0
"""Peak memory of the whole command on a long take."""
HELP_RATIO = 1.2
"""``probe --help`` over ``python -c "import numpy"``."""
DRAWS_SECONDS = 1.0
"""10,000 draws of the stage: "well under a second"."""

BLOCK = 65_536
RATE = 48_000
TONES = (20.5, 42.4, 81.5, 153.5, 281.2, 496.8, 997.0, 1987.6, 3469.2, 6535.7, 12437.0, 19490.7)

STAGE = """format = "probe-stage/1"
circuit = "core-and-inverter"
phase = "{phase}"
takes = ["open", "single-ended", "load-cold", "load-hot", "load-across", "second-open"]
seconds = 4.0
[device]
maker = "Harrowgate"
model = "Tern"
serial = "HT-0231"
[tolerances]
seed = 7
[bench]
repeatability_db = 0.005
[truth]
draw = true
drift_db = 0.005
crosstalk_db = -105.0
clock_ppm = {clock}
"""
"""A session as a bench gives it: parts, recorder and levels a little off."""

CLOCKS = {"reference": 0.0, "stream": 0.0, "none": 84.0}
"""Phase situations, and how far off the recorder's clock is in each, ppm."""

LONG_SESSION = """format = "probe-session/1"
[device]
maker = "Harrowgate"
model = "Tern"
[bench]
mains_hz = 50.0
[[bench.input]]
volts_full_scale = 8.7
impedance_ohm = 20000.0
[[bench.input]]
volts_full_scale = 8.7
impedance_ohm = 20000.0
[[take]]
file = "long.wav"
side = "left"
channels = ["hot", "cold"]
signal = "multitone"
tones_hz = {tones}
"""


@dataclass(frozen=True)
class Row:
    """One line of the table; ``limit`` in the unit of ``value``."""

    what: str
    value: float
    unit: str
    limit: float
    detail: str

    def __str__(self) -> str:
        mark = "ok " if self.value <= self.limit else "OVER"
        head = f"{self.what:<44}{self.value:8.2f} {self.unit:<4} limit {self.limit:6.2f}  {mark}"
        return f"{head:<74} {self.detail}".rstrip()


@dataclass(frozen=True)
class Spent:
    """Wall and processor time, s."""

    wall: float
    cpu: float


def child(*arguments: str) -> Spent:
    """Run this Python with ``arguments`` and wait for it."""
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, *arguments], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(arguments)} ended with status {process.returncode}")
    return Spent(wall, used.ru_utime + used.ru_stime)


def peak_megabytes(*arguments: str) -> float:
    """Peak memory of this Python run with ``arguments``.

    A process starts out with the peak of the one that started it, so a small one does.
    """
    small = (
        "import resource, subprocess, sys\n"
        "subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    command = [sys.executable, "-c", small, sys.executable, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return float(done.stdout) / (1e6 if sys.platform == "darwin" else 1e3)


def best(tries: int, *kinds: Callable[[], Spent]) -> list[Spent]:
    """The least of several tries of each kind, taken in turn: of the wall, and of the processor."""
    rounds = [[kind() for kind in kinds] for _ in range(tries)]
    return [
        Spent(min(s.wall for s in column), min(s.cpu for s in column))
        for column in zip(*rounds, strict=True)
    ]


def short_session(folder: Path, phase: str) -> Path:
    """Six simulated takes of 4 s."""
    from probe.simulate.build import read_stage
    from probe.simulate.write import simulate

    stage, out = folder / f"{phase}.toml", folder / phase
    stage.write_text(STAGE.format(phase=phase, clock=CLOCKS[phase]), "utf-8")
    simulate(read_stage(stage), out)
    return out


def command(session: Path) -> tuple[str, ...]:
    """``probe analyse``, facts and report written."""
    return ("-m", "probe", "analyse", str(session), "--out", str(session.parent / "out"))


def analysed(session: Path, tries: int = 3) -> Spent:
    """The main job as a command."""
    return best(tries, lambda: child(*command(session)))[0]


def help_and_numpy(tries: int = 9) -> tuple[Spent, Spent]:
    """``probe --help`` and the import it is measured by."""
    shown, numpy = best(
        tries, lambda: child("-m", "probe", "--help"), lambda: child("-c", "import numpy")
    )
    return shown, numpy


def long_session(folder: Path, seconds: float) -> Path:
    """One take: twelve tones and noise on two channels, 24 bit."""
    import numpy as np
    import soundfile

    out = folder / "long"
    out.mkdir()
    (out / "session.toml").write_text(LONG_SESSION.format(tones=list(TONES)), "utf-8")
    rng = np.random.default_rng(1)
    w = 2.0 * np.pi * np.array(TONES) / RATE
    with soundfile.SoundFile(out / "long.wav", "w", RATE, 2, "PCM_24") as file:
        for start in range(0, int(seconds * RATE), RATE):
            t = np.arange(start, start + RATE)[:, None]
            tone = 0.05 * np.sum(np.cos(w * t + np.arange(len(w))), axis=1)
            file.write(np.stack([tone, -tone], 1) + 1e-6 * rng.standard_normal((RATE, 2)))
    return out


def floor(file: Path) -> Spent:
    """Read once in blocks as float64, with one real FFT of every block."""
    import numpy as np
    import soundfile

    start, cpu = time.perf_counter(), time.process_time()
    for block in soundfile.blocks(file, BLOCK, dtype="float64", always_2d=True):
        np.fft.rfft(block, axis=0)
    return Spent(time.perf_counter() - start, time.process_time() - cpu)


def measured(session: Path) -> Spent:
    """The phasors of the long take."""
    from probe.phasors import measure
    from probe.session.read import read_session

    start, cpu = time.perf_counter(), time.process_time()
    measure(read_session(session))
    return Spent(time.perf_counter() - start, time.process_time() - cpu)


def idle_spectra(session: Path) -> Spent:
    """The averaged cross spectrum of the long take, as of an idle one."""
    from probe.measures.spectra import spectrum_of
    from probe.session.read import read_session

    take = read_session(session).takes[0]
    start, cpu = time.perf_counter(), time.process_time()
    spectrum_of(take)
    return Spent(time.perf_counter() - start, time.process_time() - cpu)


def draws_cost(session: Path, draws: int = 10_000) -> Spent:
    """What ``draws`` Monte Carlo draws add to the solve of one side."""
    from probe.phasors import measure
    from probe.session.read import read_session
    from probe.stage.identify import identify

    read = read_session(session)
    phasors = measure(read)

    def solve(count: int) -> Spent:
        start, cpu = time.perf_counter(), time.process_time()
        identify(read, phasors, "left", draws=count)
        return Spent(time.perf_counter() - start, time.process_time() - cpu)

    solve(100)
    many, few = best(3, lambda: solve(draws), lambda: solve(100))
    return Spent(many.wall - few.wall, many.cpu - few.cpu)


def rows(folder: Path, *, seconds: float, quick: bool) -> list[Row]:
    """Every row of the table, printed as it is found."""
    found: list[Row] = []

    def add(row: Row) -> None:
        print(row, flush=True)
        found.append(row)

    shown, numpy = help_and_numpy()
    detail = f"{shown.wall:.3f} s against {numpy.wall:.3f} s"
    add(Row("probe --help over import numpy", shown.wall / numpy.wall, "", HELP_RATIO, detail))
    for phase in CLOCKS:
        session = short_session(folder, phase)
        spent = analysed(session)
        what = f"six takes of 4 s, phase: {phase}"
        add(Row(what, spent.wall, "s", SESSION_SECONDS, f"{spent.cpu:.2f} s of processor"))
    cost = draws_cost(session)
    detail = f"{cost.cpu:.2f} s of processor"
    add(Row("10,000 draws of the stage", cost.wall, "s", DRAWS_SECONDS, detail))
    if quick:
        return found
    session = long_session(folder, seconds)
    file = session / "long.wav"
    floor(file)
    once, fitted, spectra = best(
        3, lambda: floor(file), lambda: measured(session), lambda: idle_spectra(session)
    )
    detail = f"{fitted.wall:.2f} s against {once.wall:.2f} s, {seconds:g} s of sound"
    add(Row("long take over read and FFT", fitted.wall / once.wall, "", LONG_TAKE_RATIO, detail))
    ratio = spectra.wall / once.wall
    detail = f"{spectra.wall:.2f} s against {once.wall:.2f} s, {seconds:g} s of sound"
    add(Row("long idle take's spectra over the same", ratio, "", IDLE_RATIO, detail))
    peak = peak_megabytes(*command(session))
    add(Row("peak memory, long take", peak, "MB", LONG_TAKE_MEGABYTES, ""))
    return found


def main() -> int:
    """Print the table; return the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seconds", type=float, default=1200.0, help="length of the long take")
    parser.add_argument("--quick", action="store_true", help="leave the long take out")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="benchmark-") as folder:
        found = rows(Path(folder), seconds=options.seconds, quick=options.quick)
    return 0 if all(row.value <= row.limit for row in found) else 1


if __name__ == "__main__":
    sys.exit(main())
