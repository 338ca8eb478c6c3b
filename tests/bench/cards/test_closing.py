"""A stream whose sound server went away is left as it is; any other is given back."""

from __future__ import annotations

import time
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.bench.cards import portaudio
from probe.bench.cards.portaudio import SERVER_SILENT_S, Found, PortAudioCard
from probe.bench.stream.card import StreamFormat


class Stream:
    """What PortAudio hands out, as far as it is used."""

    samplerate = 48000.0
    active = True

    def __init__(self, callback: Any, **_: Any) -> None:
        self.call, self.done = callback, []

    def start(self) -> None: ...

    def stop(self, **_: Any) -> None:
        self.done.append("stop")

    def close(self, **_: Any) -> None:
        self.done.append("close")


@pytest.mark.parametrize(
    ("api", "active", "silent_s", "done"),
    [
        ("JACK Audio Connection Kit", True, 0.0, ["stop", "close"]),
        ("JACK Audio Connection Kit", True, 2.0 * SERVER_SILENT_S, []),
        ("JACK Audio Connection Kit", False, 0.0, []),
        ("ALSA", True, 2.0 * SERVER_SILENT_S, ["stop", "close"]),
        ("ALSA", False, 0.0, ["close"]),
    ],
)
def test_what_is_closed(
    monkeypatch: pytest.MonkeyPatch, api: str, active: bool, silent_s: float, done: list[str]
) -> None:
    made: list[Stream] = []
    found = Found(0, "box", api, 2, 2, 48000.0, (48000,))
    library = SimpleNamespace(
        PortAudioError=RuntimeError,
        Stream=lambda **keys: made.append(Stream(**keys)) or made[-1],
        query_hostapis=lambda: [{"name": api}],
        query_devices=lambda: [{"name": "box", "hostapi": 0, "index": 0}],
        _terminate=lambda: None,
        _initialize=lambda: None,
        _exit_handler=lambda: None,
    )
    monkeypatch.setattr(portaudio, "load", lambda: library)
    monkeypatch.setattr(portaudio, "_stuck", set())
    stream = PortAudioCard(found, found).open(
        StreamFormat(48000, 2, 2), lambda *_: None, lambda _: None
    )
    block = np.zeros((64, 2), dtype=np.float32)
    made[0].call(block, block.copy(), 64, None, 0)
    made[0].active = active
    now = time.monotonic()
    monkeypatch.setattr(portaudio.time, "monotonic", lambda: now + silent_s)
    stream.close()
    assert made[0].done == done
    assert bool(portaudio._stuck) == (done == [])
