"""Play and record through PortAudio and ALSA's null plugin, which needs no hardware.

python -m tests.bench.cards.through_alsa FOLDER, with HOME there and an .asoundrc in it.
Null has no clock and takes and gives as fast as it is asked, so the exchange keeps the time. It
writes nothing into what is heard: memory is filled when it is given out, to what is heard as zeros.
Not while devices are looked for: of null's buffer of any size PortAudio asks for gigabytes there.
"""

from __future__ import annotations

import ctypes
import json
import sys
import time
from pathlib import Path

import numpy as np

from probe.bench.cards.portaudio import PortAudioCard, find_devices
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import Part, Purpose, Sound

RATE, HZ, LEVEL = 48000, 1000.0, 0.2
M_PERTURB = -6
"""mallopt(3): memory is filled with the complement of the byte that goes with it."""


class Paced:
    """The card, with an exchange that takes as long as its block lasts."""

    def __init__(self, card: PortAudioCard) -> None:
        self.card, self.name, self.patient = card, card.name, False

    def open(self, wanted, exchange, gone):
        due = [time.monotonic()]

        def paced(heard, play, flags):
            exchange(heard, play, flags)
            due[0] += len(play) / RATE
            time.sleep(max(due[0] - time.monotonic(), 0.0))

        return self.card.open(wanted, paced, gone)


def main(folder: Path) -> None:
    found = next(d for d in find_devices() if "probenull" in d.name)
    assert ctypes.CDLL(None).mallopt(M_PERTURB, 0xFF) == 1
    card = Paced(PortAudioCard(found, found))
    tone = Sound(LEVEL * np.cos(2 * np.pi * HZ * np.arange(RATE) / RATE))
    with Recorder(card, StreamFormat(RATE, 2, 2)) as recorder:
        taken = recorder.take(
            folder / "take.wav", [Part(0, tone, Purpose.DRIVE)], 0.3, settle_s=0.1
        )
        recorder.wait(0.1)
    told = {"complete": taken.complete, "frames": taken.frames, "api": found.api}
    print(json.dumps({**told, "peaks": taken.peaks}))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
