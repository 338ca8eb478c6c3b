"""Record takes of a card that counts its frames, until somebody kills this program.

python -m tests.bench.stored.counting FOLDER HEARD

Every sample says which frame of the stream it is, so that whoever looks at the files later knows
what is missing. Prints the name of the stream's timebase, and keeps in the file HEARD, which a kill
leaves as it is, how many of its frames were heard: the clock does not tell, on a busy machine.
"""

from __future__ import annotations

import sys
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


def main(folder: Path, heard: Path) -> None:
    session = open_folder(folder)
    so_far = np.memmap(heard, np.int64, "w+", shape=(1,))

    def respond(played: Block, frame: int) -> Block:
        so_far[0] = frame + len(played)
        return counted(played, frame)

    card = LoopBackCard(respond, patient=False)
    recorder = Recorder(card, StreamFormat(RATE, 2, 2), run=session.next_run)
    recorder.open()
    print(recorder.timebase, flush=True)
    while True:
        path = session.begin(take(session.free_file("idle")))
        session.keep(recorder.record(path, TAKE_S))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
