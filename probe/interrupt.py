"""Requests to stop: Ctrl-C, SIGTERM, SIGHUP. Raised at once, and again where that was lost.

Python raises what a signal's handler raises wherever the program happens to be. In a finalizer or
a callback of the interpreter (imports have such) it is printed and dropped; some libraries catch
everything and go on; something raised while unwinding may take its place. A request is therefore
kept until it is answered: what the interpreter drops is asked again a moment later, places that
wait (`raise_if_asked`) look for it, and the command's end does.
"""

from __future__ import annotations

import _thread
import os
import signal
import sys
import time

TYPE_CHECKING = False
if TYPE_CHECKING:  # without importing typing, which --help does not need
    from types import FrameType
    from typing import Any

SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")
"""Those that ask to stop, where a system has them."""

AGAIN_S = 0.02
"""Until a request that the interpreter dropped is made again: out of its finalizer by then."""

_MOST_CAUSES = 50
"""So many exceptions in a row are looked through; a chain may be a circle."""


class Terminated(BaseException):
    """A signal asks to stop; passes through every handler of errors, like an interruption."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


class Interrupted(KeyboardInterrupt):
    """Ctrl-C.

    Not the class above itself: where that one passes through ``exec`` (every dataclass that is
    being made has one) the interpreter kills itself at the end, whatever the status.
    """


class _Request:
    """The request that stands, if any; ``over``: the command has ended, nothing is raised more."""

    number: int | None = None
    over = True
    again = False
    main = 0
    reminders: list[int] = []  # noqa: RUF012 - one request for the whole process


_MOST_REMINDING_S = 1.0
"""The longest the end of a command waits for a reminder that is under way."""


def asked() -> int | None:
    """Return the number of the signal that asked to stop, None where none did."""
    return _Request.number


def raise_if_asked() -> None:
    """Raise what was asked for, where it has not arrived: for places that wait.

    Raises
    ------
    KeyboardInterrupt, Terminated
        A signal asked to stop, and nothing is unwinding because of it.
    """
    if _Request.number is not None and not _Request.over and not _unwinding():
        raise _exception(_Request.number)


def listen() -> dict[int, Any]:
    """Take requests from now on; return what `leave` puts back.

    Only where nobody else has set a handler, and on the main thread: else it is their business.
    """
    _Request.number, _Request.over, _Request.again = None, False, False
    _Request.main = _thread.get_ident()
    earlier: dict[int, Any] = {0: sys.unraisablehook}
    for name in SIGNALS:
        number = getattr(signal, name, None)
        usual = (signal.SIG_DFL, signal.default_int_handler)
        if number is not None and signal.getsignal(number) in usual:
            try:
                earlier[number] = signal.signal(number, _handle)
            except ValueError:  # not the main thread
                break
    sys.unraisablehook = _dropped
    return earlier


def leave(earlier: dict[int, Any]) -> None:
    """Take no more requests, and put back what was there before `listen`."""
    _Request.over = True
    end = time.monotonic() + _MOST_REMINDING_S
    while _Request.reminders and time.monotonic() < end:  # its signal must meet no other handler
        time.sleep(AGAIN_S / 4)
    for number, handler in earlier.items():
        if number:
            signal.signal(number, handler)
    sys.unraisablehook = earlier[0]


def _handle(number: int, _frame: FrameType | None) -> None:
    again, _Request.again = _Request.again, False
    if _Request.over or (again and _unwinding()):
        return
    if _Request.number is None:
        _Request.number = number
    raise _exception(number)


def _exception(number: int) -> BaseException:
    return Interrupted() if number == signal.SIGINT else Terminated(number)


def _unwinding() -> bool:
    """Whether an interruption is being handled at this moment, further up."""
    error = sys.exc_info()[1]
    for _ in range(_MOST_CAUSES):
        if error is None:
            return False
        if isinstance(error, KeyboardInterrupt | Terminated):
            return True
        error = error.__cause__ or error.__context__
    return False


def _dropped(said: Any) -> None:
    """Take what the interpreter is about to print and drop; a request is made again instead."""
    if not isinstance(said.exc_value, KeyboardInterrupt | Terminated):
        sys.__unraisablehook__(said)
    elif _Request.number is not None and not _Request.over:
        _Request.reminders.append(_Request.number)
        _thread.start_new_thread(_remind, (os.getpid(), _Request.number))


def _remind(process: int, number: int) -> None:
    try:
        time.sleep(AGAIN_S)
        if not _Request.over and process == os.getpid():
            _Request.again = True
            if hasattr(signal, "pthread_kill"):  # wakes what waits for a key, too
                signal.pthread_kill(_Request.main, number)
            else:
                _thread.interrupt_main(signal.Signals(number))
    finally:
        _Request.reminders.remove(number)
