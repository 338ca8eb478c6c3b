"""What was typed before it was asked for: an Enter too many must not say that a take is plugged."""

from __future__ import annotations

import sys
import time

BUSY_S = 0.3
"""After so long of playing and recording what was typed meanwhile answers nothing. Answers that are
pasted, or typed fast, come sooner."""


class TypedAhead:
    """Knows when the last answer came, and forgets what was typed while nothing was asked."""

    def __init__(self) -> None:
        self._answered = time.monotonic()

    def before_asking(self) -> None:
        """Forget what was typed on the terminal since, where that took a while."""
        if time.monotonic() - self._answered > BUSY_S and sys.stdin.isatty():
            _forget()

    def answered(self) -> None:
        """Note that an answer came."""
        self._answered = time.monotonic()


def _forget() -> None:
    try:
        import termios
    except ImportError:  # Windows
        import msvcrt

        while msvcrt.kbhit():  # type: ignore[attr-defined, unused-ignore]
            msvcrt.getwch()  # type: ignore[attr-defined, unused-ignore]
        return
    try:
        termios.tcflush(sys.stdin, termios.TCIFLUSH)
    except (OSError, termios.error):
        return
