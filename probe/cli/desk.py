"""Somebody at the bench, on a terminal: what to plug is shown line by line, answers are typed.

Plain lines without colour or movement, so that a screen reader says what a screen shows.
"""

from __future__ import annotations

import textwrap

from probe.cli.typed_ahead import TypedAhead

TYPE_CHECKING = False
if TYPE_CHECKING:
    from probe.bench.calibration.practice import PracticeCard
    from probe.bench.calibration.steps import Wiring

WIDTH = 80
KEYS = "Enter goes on; q and Enter stops, and nothing is written."


class Terminal:
    """Shows, asks and waits; ``practice``: plugs are put in by the program, a meter is shown."""

    def __init__(self, practice: PracticeCard | None) -> None:
        self._practice = practice
        self._ahead = TypedAhead()

    def plug(self, wiring: Wiring, number: int, count: int) -> None:
        """Show a wiring with its caution and wait until it is plugged."""
        print(f"\nStep {number} of {count}: {wiring.title}")
        for line in wiring.plug:
            print(f"    {line}")
        for line in textwrap.wrap(f"Caution: {wiring.caution}", WIDTH):
            print(line)
        self._ask(f"Plugged? {KEYS} > ")
        if self._practice is not None:
            same = {"meter": "straight", "straight-again": "straight"}
            self._practice.plug(same.get(wiring.word, wiring.word))
        print("Playing and listening ...", flush=True)

    def read_meter(self, problem: str) -> str | None:
        """Ask for the display."""
        for line in textwrap.wrap(problem, WIDTH):
            print(line)
        if self._practice is not None:
            from probe.bench.calibration.run import METER_HZ

            print(f"The practice meter shows {self._practice.meter_volts(METER_HZ):.4f} V.")
        print("A tone of 225 Hz plays. Read the multimeter: alternating volts at A and G.")
        return self._ask("Volts, as displayed, or 851.2mV (Enter: no meter; q: stop) > ") or None

    def again(self, problem: str) -> bool:
        """Say what was wrong with a recording; return whether to try again."""
        for line in textwrap.wrap(problem, WIDTH):
            print(line)
        self._ask(f"Put it right, then again? {KEYS} > ")
        return True

    def say(self, text: str) -> None:
        """Tell something."""
        print(text)

    def _ask(self, prompt: str) -> str:
        self._ahead.before_asking()
        try:
            said = input(prompt).strip()
        except EOFError as end:
            raise KeyboardInterrupt from end
        finally:
            self._ahead.answered()
        if said.lower() in ("q", "quit"):
            raise KeyboardInterrupt
        return said
