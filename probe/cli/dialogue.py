"""The guided run on a terminal: with a kept library where it can draw, in plain lines else."""

from __future__ import annotations

import sys

from probe.bench.shown.dialogue import MOST_UNANSWERED, Quit
from probe.cli.typed_ahead import TypedAhead
from probe.errors import BadInput
from probe.formats.quantity import typed_quantity
from probe.interrupt import raise_if_asked

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

HELP = (
    "Keys: type the letter and press Enter; Enter alone takes what stands in [brackets]. "
    "q stops for now, everything kept stays and the run can be continued; ? shows this again."
)


WHOLE_WORDS = {"yes": "y", "no": "n"}
"""What people type in full where y is a key; elsewhere n is no "no"."""

MOST_TIMES = 1000
"""Answers to one question from a prepared list: no run with its repeated takes asks so often."""


class _Asking:
    """Questions and answers, the same in both looks; answers may come from a prepared list."""

    def __init__(self, answers: Mapping[str, Any] | None = None) -> None:
        self._prepared = {
            k: list(v) if isinstance(v, list) else v for k, v in (answers or {}).items()
        }
        self._automatic = answers is not None
        self._times: dict[str, int] = {}
        self._refused = 0
        self._ahead = TypedAhead()

    def _write(self, text: str) -> None:
        raise NotImplementedError

    def _read(self, prompt: str) -> str:
        self._ahead.before_asking()
        try:
            return input(prompt).strip()
        except EOFError as end:
            raise Quit from end
        finally:
            self._ahead.answered()

    def _answer(self, key: str, prompt: str, default: str) -> str:
        """Return what was prepared for this question, or what is typed."""
        raise_if_asked()
        if not self._automatic:
            said = self._read(prompt)
        else:
            kept = self._prepared.get(key, default)
            said = str((kept.pop(0) if kept else default) if isinstance(kept, list) else kept)
            self._write(f"{prompt}{said}")
            self._count(key, said)
        said = said or default
        if said.lower() == "q":
            raise Quit
        return said

    def never_asked(self) -> list[str]:
        """Return keys of the prepared list that no question had."""
        return [key for key in self._prepared if key not in self._times]

    def _count(self, key: str, said: str) -> None:
        """Refuse to answer one question alike for ever: it was not the answer wanted."""
        self._times[key] = self._times.get(key, 0) + 1
        if self._times[key] > MOST_TIMES:
            raise BadInput(
                f'--answers: "{key}" was answered {MOST_TIMES} times, last with {said!r}, and is '
                "asked again; give another answer, or a list of them"
            )

    def _again(self, said: str, why: str) -> None:
        """Say why a question is asked again; stop where it has been, again and again.

        Enter for ever is what an input gives at which nobody sits.
        """
        self._write(why)
        self._refused += said != "?"
        if self._refused >= MOST_UNANSWERED:
            self._write(
                f"Asked {MOST_UNANSWERED} times without an answer, so this stops, as q does."
            )
            raise Quit

    def choose(self, key: str, question: str, choices: Mapping[str, str], default: str) -> str:
        """Ask for one of a few keys."""
        lines = [f"  {k} = {text}" for k, text in (*choices.items(), ("q", "stop for now"))]
        listed = "\n".join(lines)
        shown = f" [{default}]" if default else ""
        automatic = default or next(iter(choices))
        while True:
            self._write(f"{question}\n{listed}")
            prompt = f"{'/'.join(choices)}{shown} > "
            said = self._answer(key, prompt, default or self._auto(automatic))
            typed = said.lower()
            if "y" in choices:
                typed = WHOLE_WORDS.get(typed, typed)
            if typed in choices:
                self._refused = 0
                return typed
            seen = f"There is no {said!r} here." if said else "Enter alone is no answer here."
            self._again(said, HELP if said == "?" else f"{seen} {HELP}")

    def _auto(self, first: str) -> str:
        return first if self._automatic else ""

    def text(self, key: str, question: str, default: str) -> str:
        """Ask for a line of text."""
        while True:
            said = self._answer(key, f"{question}{f' [{default}]' if default else ''} > ", default)
            if said == "?":
                self._again(said, HELP)
            elif len(said) > 200 or not said.isprintable():
                self._again(said, "At most 200 ordinary characters, please.")
            else:
                self._refused = 0
                return said

    def number(
        self, key: str, question: str, unit: str, low: float, high: float, default: float | None
    ) -> float | None:
        """Ask for a number; Enter gives the default, or nothing."""
        usual = "" if default is None else f"{default:g}"
        while True:
            said = self._answer(
                key, f"{question}, {_ASKED_IN.get(unit, unit)}{f' [{usual}]' if usual else ''} > ",
                usual,
            )  # fmt: skip
            typed = typed_quantity(said, unit)
            if not said or (typed is not None and low <= typed.value <= high):
                self._refused = 0
                return None if typed is None else typed.value
            if said == "?":
                self._again(said, HELP)
            else:
                how = f", typed as {_ASKED_IN[unit]}" if unit in _ASKED_IN else ""
                self._again(
                    said,
                    f"{said!r} is not between {low:g} and {high:g} {unit}{how}, with a point "
                    "for decimals and nothing between thousands.",
                )


_ASKED_IN = {"V": "V (or 12 mV)", "ohm": "ohm (or 10k)"}
"""How a figure may be typed, by the unit it is asked in: a meter shows the one or the other."""


class PlainDialogue(_Asking):
    """One thing a line, no drawing, no colour, no line that changes: for a screen reader."""

    plain = True

    def __init__(self, answers: Mapping[str, Any] | None = None) -> None:
        super().__init__(answers)
        self._last = ""

    def _write(self, text: str) -> None:
        for line in text.splitlines() or [""]:
            print(line, flush=True)

    def heading(self, text: str) -> None:
        """Begin a new part."""
        print(f"\nPart: {text}", flush=True)

    def say(self, text: str) -> None:
        """Say a paragraph."""
        print(text, flush=True)

    def warn(self, title: str, text: str) -> None:
        """Say a caution."""
        print(f"Caution. {title}. {text}", flush=True)

    def draw(self, text: str) -> None:
        """Nothing: the sentences say the same."""

    def rows(self, rows: Sequence[tuple[str, str]]) -> None:
        """Say each row on a line."""
        for label, text in rows:
            print(f"{label}: {text}", flush=True)

    def progress(self, done: float, of: float, text: str) -> None:
        """Say when something begins; a line that changes would be read again and again."""
        if text != self._last:
            print(f"Now {text}.", flush=True)
        self._last = "" if done >= of else text


class RichDialogue(_Asking):
    """Headings, panels and tables on a terminal; narrow and colourless terminals as well."""

    plain = False

    def __init__(self, answers: Mapping[str, Any] | None = None) -> None:
        from rich.console import Console

        super().__init__(answers)
        self._console = Console(highlight=False, soft_wrap=False)
        self._open = False
        encoding = (sys.stdout.encoding or "ascii").lower()
        self._fancy = "utf" in encoding

    def _write(self, text: str) -> None:
        self._end_line()
        self._console.print(text, markup=False)

    def heading(self, text: str) -> None:
        """Begin a new part."""
        from rich.rule import Rule

        self._end_line()
        self._console.print()
        characters = "─" if self._fancy else "-"
        self._console.print(Rule(_escaped(text), align="left", characters=characters, style="bold"))

    def say(self, text: str) -> None:
        """Say a paragraph."""
        self._write(text)

    def warn(self, title: str, text: str) -> None:
        """Say a caution, in a frame."""
        from rich import box
        from rich.panel import Panel
        from rich.text import Text

        self._end_line()
        frame = box.HEAVY if self._fancy else box.ASCII
        head = Text(f"! {title}", style="bold")
        self._console.print(
            Panel(Text(text), title=head, title_align="left", box=frame, style="yellow")
        )

    def draw(self, text: str) -> None:
        """Show lines as they are."""
        from probe.bench.shown.drawing import ascii_only

        self._end_line()
        self._console.print()
        lines = text if self._fancy else ascii_only(text)
        self._console.print(lines, markup=False, no_wrap=True, overflow="crop")
        self._console.print()

    def rows(self, rows: Sequence[tuple[str, str]]) -> None:
        """Show a small table."""
        from rich.table import Table
        from rich.text import Text

        self._end_line()
        table = Table(box=None, show_header=False, padding=(0, 1))
        table.add_column(style="bold", no_wrap=True)
        table.add_column()
        for label, text in rows:
            table.add_row(Text(label), Text(text))
        self._console.print(table)

    def progress(self, done: float, of: float, text: str) -> None:
        """Show one line that fills up."""
        if not self._console.is_terminal:
            return
        width = 24
        filled = round(width * min(done / of, 1.0)) if of > 0 else width
        bar = "#" * filled + "." * (width - filled)
        sys.stdout.write(f"\r  [{bar}] {text[:48]:<48}")
        sys.stdout.flush()
        self._open = True
        if done >= of:
            self._end_line()

    def _end_line(self) -> None:
        if self._open:
            sys.stdout.write("\n")
            self._open = False


def _escaped(text: str) -> str:
    from rich.markup import escape

    return escape(text)
