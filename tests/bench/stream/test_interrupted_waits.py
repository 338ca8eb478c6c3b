"""An interruption at any step of waiting for the writer comes out as itself; nobody is held up."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import Any

import numpy as np
import pytest

from probe.bench.stream import capture
from probe.bench.stream.capture import MemoryCapture, Writer
from probe.bench.stream.ring import Ring

STEPS = 200
"""More than any of these calls has."""


class AtStep:
    """Raises as a signal's handler would: at the given step of everything called here."""

    def __init__(self, step: int) -> None:
        self.left = step

    def __call__(self, frame: FrameType, _event: str, _arg: Any) -> AtStep:
        frame.f_trace_opcodes = True
        self.left -= 1
        if self.left == 0:
            raise KeyboardInterrupt
        return self


def interrupted(call: Callable[[], object], step: int) -> bool:
    """Call with an interruption at a step; return whether it came to that step."""
    hook = AtStep(step)
    sys.settrace(hook)
    try:
        call()
    except KeyboardInterrupt:
        return True
    finally:
        sys.settrace(None)
    return hook.left <= 0


@pytest.mark.parametrize("what", ["wait", "begin", "end"])
def test_an_interruption_at_every_step(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(capture, "_IDLE_S", 0.001)
    ring = Ring(48000, 1)
    writer = Writer(ring, 1, 48000.0, lambda _: None)
    writer.start()
    block = np.zeros((480, 1), dtype=np.float32)
    calls: dict[str, Callable[[], object]] = {
        "wait": lambda: writer.wait(0.002),
        "begin": lambda: writer.begin(MemoryCapture(480, 1)),
        "end": writer.end,
    }
    try:
        for step in range(1, STEPS):
            before = writer.frames
            if not interrupted(calls[what], step):
                break
            ring.put(block)
            end = time.monotonic() + 60.0
            while writer.frames == before and time.monotonic() < end:
                time.sleep(0.001)
            # closed form: what was put in has passed, nobody holds the writer up
            assert writer.frames == before + len(block), f"stuck after step {step}"
        else:
            pytest.fail("the call has more steps than were tried")
        assert step > 1
    finally:
        sys.settrace(None)
        ending = threading.Thread(target=writer.stop, daemon=True)
        ending.start()
        ending.join(60.0)
    assert not ending.is_alive()
