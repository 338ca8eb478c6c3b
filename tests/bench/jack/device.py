"""The device under test from outside: a process that can be told what is plugged, and killed."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from contextlib import suppress
from typing import Any


class Device:
    """``tests.bench.jack.dut`` as a child; needs a server (`JackServer`) to be running."""

    def __init__(
        self, stage: dict[str, Any] | None = None, module: str = "tests.bench.jack.dut"
    ) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", module],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._answer()
        if stage is not None:
            self.tell(stage=stage)

    def plug(self, what: str | dict[str, Any]) -> None:
        """Plug a preset of `probe simulate`, or what a [[take]] table of a stage file says."""
        self.tell(plug=what)

    def tell(self, **order: Any) -> None:
        """Give an order; see `tests.bench.jack.dut`."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        self._answer()

    def kill(self) -> None:
        """End it without warning."""
        self._process.send_signal(signal.SIGKILL)
        self._end()

    def close(self) -> None:
        """End it in order, if it is there."""
        if self._process.poll() is None:
            self._process.terminate()
        self._end()

    def _end(self) -> None:
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(BrokenPipeError):
                    pipe.close()

    def _answer(self) -> None:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError("the device under test is gone")
