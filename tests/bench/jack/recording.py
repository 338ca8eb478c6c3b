"""Record takes of one second through PortAudio until there are enough, or the card goes away.

python -m tests.bench.jack.recording FOLDER TAKES

Goes on with a session that is there. Prints the name of each take that was kept, and at the end
why it stopped.
"""

from __future__ import annotations

import sys
from pathlib import Path

from probe.bench.cards.portaudio import PortAudioCard
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.stop import Stopped
from tests.bench.jack.conftest import system_card
from tests.bench.jack.server import RATE
from tests.bench.stored.counting import open_folder, take


def main(folder: Path, takes: int) -> None:
    session = open_folder(folder)
    found = system_card()
    card = PortAudioCard(found.inputs, found.outputs)
    try:
        with Recorder(card, StreamFormat(RATE, 2, 2), run=session.next_run) as recorder:
            while len(session.takes) < takes:
                path = session.begin(take(session.free_file("idle")))
                done = recorder.record(path, 1.0)
                if done.usable:
                    session.keep(done)
                    print(path.name, flush=True)
                elif done.complete:
                    session.abandon(done)
    except Stopped as stopped:
        print(stopped.stop.reason.value, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
