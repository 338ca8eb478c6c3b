"""Record takes of a card that counts its frames, until somebody kills this program.

python -m tests.bench.stored.counting FOLDER

Every sample says which frame of the stream it is, so that whoever looks at the files later knows
what is missing. Prints the monotonic time at which frame 0 was heard, for each stream.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from probe.bench.cards.loopback import LoopBackCard
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.card import Block, StreamFormat
from probe.bench.stream.recorder import Recorder

RATE = 48000
TAKE_S = 0.7

DEVICE = {"maker": "Harrowgate", "model": "Tern"}
BENCH = {
    "mains_hz": 50,
    "input": [{"volts_full_scale": 8.7, "impedance_ohm": 20000.0}] * 2,
}


def counted(played: Block, frame: int) -> Block:
    """Two inputs, each hearing the number of the frame, exact in float32 for five minutes."""
    number = (frame + np.arange(played.shape[0])) / 2.0**24
    return np.repeat(number[:, None], 2, axis=1).astype(np.float32)


def take(file: str) -> dict[str, object]:
    return {"file": file, "side": "left", "channels": ["hot", "cold"], "signal": "idle"}


def open_folder(folder: Path) -> SessionFolder:
    if not (folder / "session.toml").exists():
        return SessionFolder.create(folder, DEVICE, BENCH)
    session = SessionFolder.resume(folder)
    settle_cut(session)
    return session


def settle_cut(session: SessionFolder) -> None:
    if session.cut is not None and session.cut.usable:
        session.keep_cut()
    elif session.cut is not None:
        session.drop_cut()


def main(folder: Path) -> None:
    session = open_folder(folder)
    card = LoopBackCard(counted, patient=False)
    recorder = Recorder(card, StreamFormat(RATE, 2, 2), run=session.next_run)
    began = time.monotonic()
    recorder.open()
    print(began, recorder.timebase, flush=True)
    while True:
        path = session.begin(take(session.free_file("idle")))
        session.keep(recorder.record(path, TAKE_S))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
