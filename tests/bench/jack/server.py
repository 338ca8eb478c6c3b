"""A JACK server without hardware, private to whoever starts it, as the sound card of a test."""

from __future__ import annotations

import os
import signal
import subprocess
import time
import uuid
from pathlib import Path

RATE = 48000
PERIOD = 2048
PORTS = 4


def running() -> bool:
    """Whether any server runs on this machine."""
    found = subprocess.run(["pgrep", "-x", "jackd"], capture_output=True, check=False)
    return found.returncode == 0


def clear() -> None:
    """Remove what killed servers left: there is room for eight names on a machine."""
    for left in Path("/dev/shm").glob("jack*"):
        if left.is_file():
            left.unlink(missing_ok=True)


class JackServer:
    """``jackd`` with its dummy driver: it keeps time like a card and plays into nothing.

    The process that started it, and all its children, find it as the default server
    (``JACK_DEFAULT_SERVER``).

    Parameters
    ----------
    waits
        A cycle waits for its clients, so that a busy machine does not make false dropouts; but
        such a server may never come round again after a client was killed.
    """

    def __init__(self, period: int = PERIOD, *, waits: bool = True) -> None:
        self.name = f"probe-{os.getpid()}-{uuid.uuid4().hex[:6]}"
        self._period, self._waits = period, waits
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it; return when a client can connect."""
        command = ["jackd", "-r", "-m", *["-S"] * self._waits, "-t", "1000", "-n", self.name]
        command += ["-d", "dummy"]
        command += ["-r", str(RATE), "-p", str(self._period), "-C", str(PORTS), "-P", str(PORTS)]
        os.environ.update(
            JACK_DEFAULT_SERVER=self.name, JACK_NO_START_SERVER="1", JACK_NO_AUDIO_RESERVATION="1"
        )
        if not running():
            clear()
        self._process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL
        )
        self._wait_until_up()

    def _wait_until_up(self) -> None:
        end = time.monotonic() + 20.0
        while time.monotonic() < end:
            asked = subprocess.run(
                ["jack_wait", "-s", self.name, "-c"], capture_output=True, text=True, check=False
            )
            if "not running" not in asked.stdout and asked.returncode == 0:
                return
            time.sleep(0.1)
        raise RuntimeError(f"jackd did not start: {self.name}")

    def kill(self) -> None:
        """End it without asking."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def freeze(self, seconds: float) -> None:
        """Let the card stand still for a moment: samples are lost."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        self._process.send_signal(signal.SIGCONT)

    def stop(self) -> None:
        """End it; one that waits for its clients to leave is not waited for."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(3.0)
            self._process = None
        except subprocess.TimeoutExpired:
            self.kill()
