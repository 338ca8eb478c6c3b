"""Guided runs on virtual benches, driven through a pseudo-terminal, their facts beside the truth.

    python -m tests.studies.guided --runs 200 --seed 1 [--jobs 2] [--write]

Each run draws a circuit of the library with part tolerances, a bench that differs from what it
declares, a kit, and in half of the runs a mishap; somebody reads the screen and answers as it
says. ``--write`` writes docs/proof-guided.md.
"""

from __future__ import annotations

import argparse
import pickle
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

import probe
from probe.bench.planned.kit import TEMPLATE
from probe.bench.virtual.place import place_of
from probe.facts import analyse_session
from probe.session.read import read_session
from probe.simulate.library import names
from tests.bench.guided.driven import drive
from tests.house.readme import ROOT
from tests.studies.judged import Judged, accepted_kinds, judge

PAGE = ROOT / "docs" / "proof-guided.md"
STATED = 0.9

KITS = {
    "everything": TEMPLATE,
    "injector": 'format = "probe-kit/1"\n[injector]\nohm = 10000.0\nu95_percent = 0.1\n',
    "604 ohm": 'format = "probe-kit/1"\n[[load]]\npart = "R1"\nohm = 604.0\nu95_percent = 0.1\n',
}
KIT_SHARES = (0.7, 0.15, 0.15)

MISHAPS: dict[str, tuple[tuple[str, ...], frozenset[str]]] = {
    "hum": (("open", "inject-cold", "second-open"), frozenset({"hum"})),
    "exchanged-leads": (
        ("inject-cold", "inject-hot", "second-open"),
        # where the injected tones are heard on the other leg, both are said: injector or leads
        frozenset({"legs-exchanged", "injector-missing"}),
    ),
    "forgotten-switch": (
        ("inject-cold", "load-cold", "load-hot"),
        frozenset({"injector-missing", "load-missing"}),
    ),
    "moved-volume": (("inject-cold", "inject-hot", "second-open"), frozenset({"volume-moved"})),
    "clipping": (("inject-cold", "second-open"), frozenset({"stopped", "clipped"})),
    "mute-relay": (
        ("open", "inject-hot", "second-open"),
        frozenset({"level-moved", "nothing-heard", "pin-3-silent", "pin-2-silent"}),
    ),
    "dropped-blocks": (("open", "inject-cold", "second-open"), frozenset({"samples-lost"})),
    "lost-samples": (
        ("open", "inject-cold", "second-open"),
        frozenset({"samples-lost", "level-moved", "hum"}),
    ),
    "lead-out": (("inject-hot", "second-open"), frozenset({"pin-3-silent"})),
    "unplugged-device": (
        ("open", "inject-cold", "second-open"),
        frozenset({"level-moved", "nothing-heard"}),
    ),
    "unplugged-interface": (("inject-cold", "second-open"), frozenset({"interface-gone"})),
    "foreign-clock": (("open",), frozenset()),
}
"""Each mishap: the takes it may strike, and the judgements that name it."""

QUESTIONS = frozenset({"pin-3-silent", "pin-2-silent"})
"""On the first take these are questions about the device, whose leg may be silent."""

METERED = {"Direct volts": "0.002", "Alternating volts": "0.001"}


@dataclass(frozen=True)
class Guided:
    """What came of one run."""

    index: int
    circuit: str
    kit: str
    mishap: str
    status: int | None
    struck: bool
    alarms: tuple[str, ...]
    takes: int
    kind: str
    confidence: float
    judged: tuple[Judged, ...]
    warnings: tuple[str, ...]

    @property
    def right(self) -> bool:
        """The kind is accepted for the circuit."""
        return self.kind in accepted_kinds(self.circuit)

    @property
    def flagged(self) -> bool:
        """The mishap was named by one of its judgements."""
        return bool(MISHAPS[self.mishap][1] & set(self.alarms)) if self.mishap else False

    @property
    def false(self) -> tuple[str, ...]:
        """Judgements with no cause."""
        caused = MISHAPS[self.mishap][1] if self.mishap else frozenset()
        device = QUESTIONS if _silent(self.circuit) else frozenset()
        tied = {"injector-missing"} if _tied(self.circuit) else set()
        return tuple(a for a in self.alarms if a not in caused | device | tied)


def _silent(circuit: str) -> bool:
    """A leg of these carries nothing: that is what the question is about."""
    return not accepted_kinds(circuit).isdisjoint(
        {"impedance-balanced", "unbalanced", "pin-3-unconnected", "ground-sensing", "faulty"}
    )


def _tied(circuit: str) -> bool:
    """Nothing can be injected into a leg that is tied to ground."""
    return "unbalanced" in accepted_kinds(circuit)


def drawn(seed: int, index: int) -> tuple[str, str, str, str, int]:
    """Circuit, kit, mishap and the take it may strike ("" where there is none), recorder inputs."""
    rng = np.random.default_rng([seed, index])
    circuits = names()
    circuit = circuits[int(rng.integers(len(circuits)))]
    kit = str(rng.choice(list(KITS), p=KIT_SHARES))
    mishap, where = "", ""
    if rng.random() < 0.5:
        mishap = str(rng.choice(list(MISHAPS)))
        where = str(rng.choice(MISHAPS[mishap][0]))
    return circuit, kit, mishap, where, int(rng.choice([2, 3]))


def one(seed: int, index: int) -> Guided:
    """Make one run in a folder of its own."""
    circuit, kit, mishap, where, inputs = drawn(seed, index)
    folder = Path(tempfile.mkdtemp(prefix="guided-"))
    try:
        path = folder / "kit.toml"
        path.write_text(KITS[kit], "utf-8")
        words = ["--virtual", circuit, "--fast", "--kit", str(path), "--seed", str(1000 + index)]
        words += ["--inputs", str(inputs), *(["--mishap", f"{mishap}@{where}"] if mishap else [])]
        run = drive(folder / "session", *words, answers={**METERED, "y/s": "s"}, timeout=300.0)
        struck = bool(mishap) and _was_made(run.text, where)
        return _judged(index, circuit, kit, mishap if struck else "", run, folder, inputs)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


_TITLES = {
    "open": "Take: both legs open\n",
    "second-open": "Take: both legs open, once more",
    "inject-cold": "Take: test tones into pin 3\n",
    "inject-hot": "Take: test tones into pin 2\n",
    "load-cold": "Take: a resistor on pin 3",
    "load-hot": "Take: a resistor on pin 2",
}


def _was_made(text: str, take: str) -> bool:
    return _TITLES[take] in text


def _judged(
    index: int, circuit: str, kit: str, mishap: str, run: Any, folder: Path, inputs: int
) -> Guided:
    session = read_session(folder / "session")
    facts = analyse_session(folder / "session", draws=1000)
    stage = facts["sides"]["left"]["stage"]
    place = place_of(circuit, seed=1000 + index, inputs=inputs)
    drive = facts["sides"]["left"]["conditions"]["drive_volts"] or 0.0  # all levels stand at it
    take = replace(place.stage.takes[0], drive_volts=drive)
    drawn: Any = SimpleNamespace(stage=replace(place.stage, takes=(take,)), circuit=circuit)
    made = [
        j for j in judge(facts["sides"]["left"]["facts"], drawn) if not j.name.endswith("_recorded")
    ]
    return Guided(
        index, circuit, kit, mishap, run.status, bool(mishap), tuple(run.alarms),
        len(session.takes), stage["kind"], stage["confidence"], tuple(made),
        tuple(w["code"] for w in facts["warnings"]),
    )  # fmt: skip


def _job(job: tuple[int, int]) -> Guided | str:
    try:
        return one(*job)
    except Exception as error:  # a broken run is a row of its own
        return f"run {job[1]}: {type(error).__name__}: {str(error)[:300]}"


def runs(
    seed: int, indices: Sequence[int], jobs: int, keep: Path | None = None
) -> tuple[list[Guided], list[str]]:
    """Make the runs (those already in the file ``keep`` are taken from there)."""
    rows: dict[int, Guided | str] = {}
    if keep is not None and keep.exists():
        rows = pickle.loads(keep.read_bytes())
    left = [i for i in indices if i not in rows]
    with get_context("spawn").Pool(jobs) as pool:
        for i, found in zip(left, pool.imap(_job, [(seed, i) for i in left]), strict=True):
            rows[i] = found
            print(f"\r{len(rows)} of {len(indices)}", end="", file=sys.stderr, flush=True)
            if keep is not None:
                keep.write_bytes(pickle.dumps(rows))
    print(file=sys.stderr)
    wanted = [rows[i] for i in indices]
    return [g for g in wanted if isinstance(g, Guided)], [g for g in wanted if isinstance(g, str)]


def document(found: list[Guided], broken: list[str], seed: int) -> str:
    """The table."""
    total = len(found) + len(broken)
    complete = [g for g in found if g.status == 0]
    stated = [g for g in found if g.kind != "undetermined" and g.confidence >= STATED]
    wrong = [g for g in stated if not g.right]
    full = [g for g in found if g.kit == "everything"]
    decided = [g for g in full if g.right and g.confidence >= STATED]
    intervals = [j for g in found for j in g.judged if j.form == "interval"]
    bounds = [j for g in found for j in g.judged if j.form == "bound"]
    limited = [j for g in found for j in g.judged if j.form == "limited"]
    clean = [g for g in found if not g.mishap]
    struck = [g for g in found if g.mishap]
    flagged = [g for g in struck if g.flagged or not MISHAPS[g.mishap][1]]
    clocks = sum(not MISHAPS[g.mishap][1] for g in struck)
    early = [g for g in struck if g not in flagged and drawn(seed, g.index)[3] == "open"]
    harmless = [g for g in struck if g not in flagged and _unhurt(g)]
    takes = sum(g.takes for g in clean)
    false = [a for g in clean for a in g.false]
    rows = [
        ("runs; broken", f"{total}; {len(broken)}"),
        ("complete (status 0)", f"{len(complete)}"),
        ("kinds stated at 0.9 or above; right", f"{len(stated)}; {len(stated) - len(wrong)}"),
        ("stated at 0.99 or above and wrong", f"{sum(g.confidence >= 0.99 for g in wrong)}"),
        ("with the whole kit: right at 0.9 or above", f"{len(decided)} of {len(full)}"),
        ("95 % intervals that hold the truth", _share([j.holds for j in intervals])),
        ("bounds that hold", _share([j.holds for j in bounds])),
        ("values said to be limited by the recorder", _share([j.holds for j in limited])),
        ("mishaps that struck; of them foreign clocks", f"{len(struck)}; {clocks}"),
        ("flagged by their code (a foreign clock is only noted)", f"{len(flagged) - clocks}"),
        ("not flagged, result inside its intervals", f"{len(harmless)}"),
        ("not flagged, meant for the first take", f"{len(early)}"),
        ("clean takes; judgements without a cause", f"{takes}; {len(false)}"),
    ]
    text = [
        "# Proof: guided runs on virtual benches", "",
        f"Made by `python -m tests.studies.guided --runs {total} --seed {seed} --write` with probe",
        f"{probe.__version__}. Each run is the command `probe measure` on a pseudo-terminal: a",
        "circuit of the library with part tolerances, a bench that differs from what it declares",
        "within its uncertainties, a kit, and in half of the runs a mishap.", "",
        "| | |", "|---|---|", *(f"| {a} | {b} |" for a, b in rows), "",
        "What is lost while the level of the first take is sought touches nothing that is",
        "recorded: it is no alarm. Misses there are those that the run has without its mishap.", "",
        "## Mishaps", "", "| mishap | struck | flagged | result |", "|---|---|---|---|",
        *(_mishap_row(name, struck) for name in MISHAPS), "",
        "Values limited by the recorder are as recorded: an open pin 3 behind a recorder's own",
        "input is not what it is with nothing connected, and the facts say so.", "",
        "A leg that is open is bounded or limited; these count as misses of a run below.", "",
        "Result: runs in which the kind is right or left open, and at most one interval in ten",
        "misses.", "",
        "## Circuits", "", "| circuit | runs | right | left open | wrong at 0.9 or above |",
        "|---|---|---|---|---|", *(_circuit_row(name, found) for name in names()), "",
    ]  # fmt: skip
    text += [f"Broken: {line}" for line in broken]
    text += [_odd_row(g) for g in found if g.false or g in wrong]
    return "\n".join(text).rstrip() + "\n"


def _odd_row(g: Guided) -> str:
    what = f"`{g.kind}` at {g.confidence:.3f}" if not g.right else "right"
    said = ", ".join(g.false) or "no judgement without a cause"
    return f"- run {g.index}: {g.circuit}, kit {g.kit}, {g.mishap or 'no mishap'}: {what}; {said}"


def _unhurt(g: Guided) -> bool:
    missed = sum(not j.holds for j in g.judged)
    return (g.right or g.kind == "undetermined") and missed <= max(1, len(g.judged) // 10)


def _share(held: list[bool]) -> str:
    return f"{sum(held)} of {len(held)} ({100.0 * sum(held) / max(len(held), 1):.1f} %)"


def _mishap_row(name: str, struck: list[Guided]) -> str:
    mine = [g for g in struck if g.mishap == name]
    flagged = str(sum(g.flagged for g in mine)) if MISHAPS[name][1] else "not an alarm"
    return f"| `{name}` | {len(mine)} | {flagged} | {sum(_unhurt(g) for g in mine)} |"


def _circuit_row(name: str, found: list[Guided]) -> str:
    mine = [g for g in found if g.circuit == name]
    right = sum(g.right for g in mine)
    open_ = sum(g.kind == "undetermined" and not g.right for g in mine)
    wrong = sum(not g.right and g.kind != "undetermined" and g.confidence >= STATED for g in mine)
    return f"| {name} | {len(mine)} | {right} | {open_} | {wrong} |"


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="keep the rows in this file, and go on from it")
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    found, broken = runs(args.seed, range(args.first, args.first + args.runs), args.jobs, args.keep)
    text = document(found, broken, args.seed)
    print(text)
    kinds = Counter(a for g in found for a in g.false)
    print("without a cause:", dict(kinds), file=sys.stderr)
    if args.write:
        PAGE.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
