"""Short guided runs through a real PortAudio, their facts beside the circuit's truth.

    python -m tests.studies.guided_live --runs 10 --seed 1 [--write]

Each run has a sound server of its own (JACK's dummy driver) and a device process behind it: a
circuit of the library with part tolerances, drawn, no circuit twice before all were there; in every
second run something goes wrong once. ``probe measure`` is the command of the user, driven through
a pseudo-terminal; takes are short, and the take of noise is passed over. ``--write`` writes
docs/proof-guided-live.md.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

import probe
from probe.bench.calibration.document import TEMPLATE as BENCH
from probe.bench.planned.kit import TEMPLATE as KIT
from probe.facts import analyse_session
from probe.session.read import read_session
from probe.simulate.build import stage_of
from probe.simulate.library import names
from tests.bench.guided.driven import drive
from tests.bench.jack.device import Device
from tests.bench.jack.dut import STAGE
from tests.bench.jack.server import JackServer
from tests.bench.jack.test_guided import LOST, TAKES, card_number, probe_says, two_of_each
from tests.house.readme import ROOT
from tests.studies.guided import METERED, MISHAPS, STATED, Guided, _share, _unhurt
from tests.studies.judged import judge

PAGE = ROOT / "docs" / "proof-guided-live.md"
SECONDS = "1.5"
IDLE = "both legs, nothing played"
MOVED = 10.0 ** (-3.0 / 20.0)

WRONG = {
    "exchanged-leads": ("inject-cold", "inject-hot", "second-open"),
    "forgotten-switch": ("inject-cold",),
    "moved-volume": ("second-open",),
    "lead-out": ("second-open",),
}
"""What goes wrong, and the takes it may strike."""


@dataclass(frozen=True)
class Live:
    """One run, and how long it took."""

    guided: Guided
    seconds: float

    @property
    def lost(self) -> int:
        """Judgements that the machine's own lost blocks explain."""
        return sum(a in LOST for a in self.guided.alarms)

    @property
    def false(self) -> tuple[str, ...]:
        """Judgements with no cause."""
        return tuple(a for a in self.guided.false if a not in LOST)


class Hands:
    """Plugs what the screen asks for, or, once, something else."""

    def __init__(self, device: Device, mishap: str, where: str) -> None:
        self._device, self._mishap, self._where = device, mishap, where
        self.struck = False

    def __call__(self, heard: str) -> str:
        """Answer "ready" after plugging; the take of noise is passed over."""
        title = re.findall(r"Part: Take: ([^\n]+)", heard)[-1]
        if title == IDLE:
            return "s"
        word = TAKES[title]
        wrong = self._mishap if word == self._where and not self.struck else ""
        self.struck = self.struck or bool(wrong)
        self._device.tell(gain=MOVED if wrong == "moved-volume" else 1.0)
        self._device.plug(_plugged(word, wrong))
        return "r"


def _plugged(word: str, wrong: str) -> str | dict[str, Any]:
    if wrong == "forgotten-switch":
        return "open"
    channels = {"exchanged-leads": ["cold", "hot"], "lead-out": ["hot", "unused"]}.get(wrong)
    return word if channels is None else {"preset": word, "channels": channels}


def drawn(seed: int, index: int) -> tuple[str, str, str]:
    """Return circuit, mishap and the take it strikes; no circuit twice in one round of them."""
    circuits = names()
    lap, place = divmod(index, len(circuits))
    order = np.random.default_rng([seed, lap]).permutation(len(circuits))
    rng = np.random.default_rng([seed, index, 1])
    mishap, where = "", ""
    if index % 2:
        mishap = str(rng.choice(list(WRONG)))
        where = str(rng.choice(WRONG[mishap]))
    return circuits[int(order[place])], mishap, where


def one(seed: int, index: int) -> Live:
    """Make one run, with a server and a device of its own."""
    circuit, mishap, where = drawn(seed, index)
    stage = {"circuit": circuit, "tolerances": {"seed": 1000 * seed + index}}
    folder = Path(tempfile.mkdtemp(prefix="guided-live-"))
    server = JackServer()
    began = time.monotonic()
    try:
        server.start()
        device = Device(stage)
        try:
            hands = Hands(device, mishap, where)
            run = _run(folder, hands)
        finally:
            device.close()
        struck = mishap if hands.struck else ""
        return Live(_judged(index, circuit, struck, stage, run, folder), time.monotonic() - began)
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)


def _run(folder: Path, hands: Hands) -> Any:
    home = {"XDG_DATA_HOME": str(folder / "home")}
    bench, kit = folder / "bench.toml", folder / "kit.toml"
    # the device's presets say what stands between output 2 and the leg: 10 kohm in all
    bench.write_text(two_of_each(BENCH.replace("value = 75.0", "value = 0.0")), "utf-8")
    kit.write_text(KIT, "utf-8")
    number = card_number(probe_says(folder, home, "devices"))
    probe_says(folder, home, "devices", "--choose", str(number))
    words = ["--kit", str(kit), "--bench", str(bench), "--seconds", SECONDS]
    answers = {**METERED, "r/s": hands, "y/s": "s"}
    return drive(folder / "session", *words, answers=answers, timeout=240.0, **home)


def _judged(
    index: int, circuit: str, mishap: str, stage: dict[str, Any], run: Any, folder: Path
) -> Guided:
    session = read_session(folder / "session")
    facts = analyse_session(folder / "session", draws=1000)
    found = facts["sides"]["left"]["stage"]
    spec = stage_of({**STAGE, **stage, "takes": ["open"]})
    drive = facts["sides"]["left"]["conditions"]["drive_volts"] or 0.0  # all levels stand at it
    take = replace(spec.takes[0], drive_volts=drive)
    made: Any = SimpleNamespace(stage=replace(spec, takes=(take,)), circuit=circuit)
    judged = [
        j for j in judge(facts["sides"]["left"]["facts"], made) if not j.name.endswith("_recorded")
    ]
    return Guided(
        index, circuit, "everything", mishap, run.status, bool(mishap), tuple(run.alarms),
        len(session.takes), found["kind"], found["confidence"], tuple(judged),
        tuple(w["code"] for w in facts["warnings"]),
    )  # fmt: skip


def runs(seed: int, indices: Sequence[int]) -> tuple[list[Live], list[str]]:
    """Make the runs, one after the other: a sound server is one for the whole machine."""
    found: list[Live] = []
    broken: list[str] = []
    for index in indices:
        try:
            found.append(one(seed, index))
        except Exception as error:  # a broken run is a row of its own
            broken.append(f"run {index}: {type(error).__name__}: {str(error)[:300]}")
        print(f"\r{len(found) + len(broken)} of {len(indices)}", end="", file=sys.stderr)
        sys.stderr.flush()
    print(file=sys.stderr)
    return found, broken


def document(found: list[Live], broken: list[str], seed: int) -> str:
    """The table."""
    total = len(found) + len(broken)
    made = [live.guided for live in found]
    stated = [g for g in made if g.kind != "undetermined" and g.confidence >= STATED]
    struck = [g for g in made if g.mishap]
    intervals = [j.holds for g in made for j in g.judged if j.form == "interval"]
    others = [j.holds for g in made for j in g.judged if j.form != "interval"]
    seconds = [live.seconds for live in found]
    rows = [
        ("runs; broken", f"{total}; {len(broken)}"),
        ("complete (status 0)", f"{sum(g.status == 0 for g in made)}"),
        (
            "kinds stated at 0.9 or above; right",
            f"{len(stated)}; {sum(g.right for g in stated)}",
        ),
        ("95 % intervals that hold the truth", _share(intervals)),
        ("bounds and values limited by the recorder that hold", _share(others)),
        ("mishaps that struck; noticed by their code", f"{len(struck)}; {_noticed(struck)}"),
        ("judgements without a cause", f"{sum(len(live.false) for live in found)}"),
        ("blocks lost by the machine, and said", f"{sum(live.lost for live in found)}"),
        ("seconds of a run, median; longest", _spread(seconds)),
    ]
    text = [
        "# Proof: guided runs through a real sound server", "",
        f"Made by `python -m tests.studies.guided_live --runs {total} --seed {seed} --write` with",
        f"probe {probe.__version__}. Each run is the command `probe measure` on a pseudo-terminal,",
        "its card PortAudio's on a JACK server with the dummy driver (48 kHz, full duplex), the",
        "device a process that answers as a circuit of the library with part tolerances. Nothing",
        "of it is hardware: what a converter and a cable add is not in it. Takes of 1.5 s; the",
        "take of noise was passed over.", "",
        "| | |", "|---|---|", *(f"| {a} | {b} |" for a, b in rows), "",
        "| run | circuit | mishap | judgements | kind | sure | facts that hold | result |",
        "|---|---|---|---|---|---|---|---|", *(_row(live) for live in found), "",
        "Result: good where the kind is right or left open, and at most one fact in ten misses.",
        "An open leg is bounded or limited by the recorder, which counts as a miss here.", "",
        *(f"Broken: {line}" for line in broken),
    ]  # fmt: skip
    return "\n".join(text).rstrip() + "\n"


def _noticed(struck: list[Guided]) -> str:
    return str(sum(bool(MISHAPS[g.mishap][1] & set(g.alarms)) for g in struck))


def _spread(seconds: list[float]) -> str:
    return f"{np.median(seconds):.0f}; {max(seconds):.0f}" if seconds else "-"


def _row(live: Live) -> str:
    g = live.guided
    holds = f"{sum(j.holds for j in g.judged)} of {len(g.judged)}"
    cells = (
        str(g.index), g.circuit, g.mishap or "none", ", ".join(g.alarms) or "none",
        g.kind if g.right or g.kind == "undetermined" else f"WRONG: {g.kind}",
        f"{g.confidence:.3f}", holds, "good" if _unhurt(g) else "hurt",
    )  # fmt: skip
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    found, broken = runs(args.seed, range(args.first, args.first + args.runs))
    text = document(found, broken, args.seed)
    print(text)
    if args.write:
        PAGE.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
