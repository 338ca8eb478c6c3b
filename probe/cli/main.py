"""The ``probe`` command: finds the command asked for, runs it, and turns errors into one line.

Each command is a module of its own with ``add_arguments(parser)`` and ``run(args) -> int``;
only the one asked for is imported, and it imports what it needs inside ``run``.

Exit status: 0 done, 1 done but something fails (a line of a specification, sessions of a batch),
2 bad input or nothing usable, 130 interrupted, 141 nobody reads the output, 143 and 129 stopped
by SIGTERM and SIGHUP.
"""

from __future__ import annotations

import argparse
import importlib
import os
import signal
import sys
import warnings

import probe
from probe import interrupt
from probe.errors import ProbeError

TYPE_CHECKING = False
if TYPE_CHECKING:  # without importing typing, which --help does not need
    from collections.abc import Callable, Sequence
    from typing import Any, NoReturn, TextIO

COMMANDS = {
    "analyse": ("probe.cli.analyse", "find out what the output of a recorded session is"),
    "advise": ("probe.cli.advise", "judge the ways to connect it to a destination"),
    "figures": ("probe.cli.figures", "draw figures for print"),
    "shelf": ("probe.cli.shelf", "check a dealer's file of parts; list transformers"),
    "compare": ("probe.cli.compare", "put measured devices, sides or dates beside each other"),
    "batch": ("probe.cli.batch", "analyse every session in folders, on all cores"),
    "archive": ("probe.cli.archive", "keep measured devices, find them again, compare them"),
    "verify": ("probe.cli.verify", "hold a maker's specification against what was measured"),
    "measure": ("probe.cli.measure", "guided run: play, record, judge, step by step"),
    "kit": ("probe.cli.kit", "leads and resistors at hand: declare once, see what they can show"),
    "devices": ("probe.cli.devices", "list the sound cards, and choose the bench's"),
    "simulate": ("probe.cli.simulate", "make a session of takes from a circuit description"),
    "calibrate": ("probe.cli.calibrate", "find the bench's own figures, step by step"),
    "check": ("probe.cli.check", "see in one take whether the bench is as it was calibrated"),
    "draft": ("probe.cli.draft", "draft session.toml from recordings made elsewhere"),
    "takes": ("probe.cli.takes", "print a list of takes with wiring, cautions and blanks"),
    "tones": ("probe.cli.tones", "write a sound file of the bench's tones for any player"),
}
"""Name of each command, the module that does it, and what it is for."""

BAD_INPUT, BROKEN_PIPE, SIGNALLED = 2, 141, 128


THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
"""The matrices are small: more than one thread each makes every command slower, not faster."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line ``argv`` (default: that of the process); return the exit status."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    for name in THREADS:
        os.environ.setdefault(name, "1")
    _prepare_streams()
    earlier = interrupt.listen()
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    try:
        status = _run(arguments)
        sys.stdout.flush()
        interrupt.raise_if_asked()
    except (KeyboardInterrupt, interrupt.Terminated):
        return _interrupted()
    except Exception as error:
        # What was raised while an interruption was unwinding took its place.
        return _interrupted() if interrupt.asked() is not None else _failed(error)
    finally:
        interrupt.leave(earlier)
    return status


def _failed(error: Exception) -> int:
    """Say what went wrong; return the status. A mistake of the program is raised on."""
    match error:
        case ProbeError():
            return _fail(str(error))
        case BrokenPipeError():
            _drop_output()
            return BROKEN_PIPE
        case MemoryError():
            return _fail("not enough memory")
        case OSError():
            if error.filename is None:
                _drop_output()
            return _fail(f"{error.filename or 'standard output'}: {error.strerror or error}")
        case RuntimeError() if isinstance(error.__cause__, KeyboardInterrupt):
            return _interrupted()  # a class that was being made wraps what was raised
    raise error


def _interrupted() -> int:
    number = interrupt.asked() or signal.SIGINT
    _say("interrupted" if number == signal.SIGINT else "stopped")
    return SIGNALLED + number


def _run(arguments: list[str]) -> int:
    try:
        name = next((a for a in arguments if not a.startswith("-")), None)
        if name is not None and name not in COMMANDS:
            _unknown(name)
        parser, run = _parser(name)
        args = parser.parse_args(_with_negatives(arguments))
        if run is None:
            parser.error(f"a command is needed: {', '.join(COMMANDS)}")
    except SystemExit as stop:
        return int(stop.code or 0)
    from probe.cli.apart import check_apart

    check_apart(args.command, args)
    return run(args)


def _with_negatives(arguments: list[str]) -> list[str]:
    """Return the arguments with a value like -3m joined to its option, which then judges it."""
    joined: list[str] = []
    for one in arguments:
        before = joined[-1] if joined else ""
        option = before[:2] == "--" and len(before) > 2 and "=" not in before
        if option and one[:1] == "-" and one[1:2].isdigit():
            joined[-1] = f"{before}={one}"
        else:
            joined.append(one)
    return joined


class _Help(argparse.HelpFormatter):
    """Help as wide as the terminal, asked of the system without importing shutil."""

    def __init__(self, prog: str) -> None:
        try:
            columns = int(os.environ.get("COLUMNS") or os.get_terminal_size().columns)
        except (OSError, ValueError):
            columns = 80
        super().__init__(prog, width=max(40, columns - 2))


class _Once(argparse._StoreAction):
    """An option that is given once: of two values nobody knows which one is meant."""

    _given = False

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: argparse.Namespace, values: object,
        option_string: str | None = None,
    ) -> None:  # fmt: skip
        del parser
        if self._given and option_string:
            raise argparse.ArgumentError(self, "given twice; give it once")
        self._given = True
        setattr(namespace, self.dest, values)


def _plain(number: Callable[[str], float]) -> Callable[[str], float]:
    """Return what reads a number of the digits 0 to 9 with nothing between them."""

    def read(text: str) -> float:
        if not text.isascii() or "_" in text:
            raise ValueError
        return number(text)

    return read


class _Parser(argparse.ArgumentParser):
    """A parser that complains in one line, and takes no option twice."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in (None, "store"):
            self.register("action", name, _Once)
        for number in (float, int):
            self.register("type", number, _plain(number))

    def error(self, message: str) -> NoReturn:
        self.exit(_fail(f'{message}; see "{self.prog} --help"'))


def _parser(
    chosen: str | None,
) -> tuple[argparse.ArgumentParser, Callable[[argparse.Namespace], int] | None]:
    """Return the parser, with the arguments of the chosen command, and what runs it."""
    parser = _Parser(
        prog="probe", description=probe.__doc__, allow_abbrev=False, formatter_class=_Help
    )
    parser.add_argument("--version", action="version", version=f"probe {probe.__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", dest="command")
    run = None
    for name, (module_name, purpose) in COMMANDS.items():
        command = commands.add_parser(
            name,
            help=purpose,
            description=purpose,
            allow_abbrev=False,
            formatter_class=_Help,
        )
        if name == chosen:
            module = importlib.import_module(module_name)
            module.add_arguments(command)
            run = module.run
    return parser, run


def _unknown(name: str) -> NoReturn:
    from probe.formats.text import nearest, quoted

    close = nearest(name, COMMANDS)
    hint = f'did you mean "{close}"?' if close else f"there are {', '.join(COMMANDS)}"
    raise SystemExit(_fail(f"no command {quoted(name)}; {hint}"))


def _fail(message: str) -> int:
    _say(message)
    return BAD_INPUT


def _say(message: str) -> None:
    """Write one line to standard error, whatever the message holds."""
    from probe.formats.text import printable

    try:
        print(f"probe: {printable(' '.join(message.splitlines()))}", file=sys.stderr, flush=True)
    except (OSError, ValueError):  # nobody can be told; the status still says it
        sys.stderr = _nowhere()


def _prepare_streams() -> None:
    """Let a console that cannot show a character show a question mark instead of failing.

    A stream that was closed before the start (``>&-``) becomes one that goes nowhere.
    """
    sys.stdout = sys.stdout or _nowhere()
    sys.stderr = sys.stderr or _nowhere()
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _drop_output() -> None:
    """Send what is still buffered nowhere, so that closing it at exit stays quiet."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = _nowhere()


def _nowhere() -> TextIO:
    return open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123


if __name__ == "__main__":
    sys.exit(main())
