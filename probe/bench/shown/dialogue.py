"""How the guided run talks: said, asked, drawn. What shows it is somebody else's business."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

MOST_UNANSWERED = 10
"""Times in a row that one question is asked again: then nobody is there who answers. [judgement]"""


class Quit(Exception):
    """Somebody asked to stop; everything recorded stays."""


class Dialogue(Protocol):
    """A conversation with one person; every question can be answered with ``q`` to stop."""

    @property
    def plain(self) -> bool:
        """Whether it is read aloud: no drawings, no tables, one thing a line."""

    def heading(self, text: str) -> None:
        """Begin a new part."""

    def say(self, text: str) -> None:
        """Say a paragraph."""

    def warn(self, title: str, text: str) -> None:
        """Say a caution: it must not be overlooked."""

    def draw(self, text: str) -> None:
        """Show lines as they are."""

    def rows(self, rows: Sequence[tuple[str, str]]) -> None:
        """Show what belongs together, a label and a text each."""

    def choose(self, key: str, question: str, choices: Mapping[str, str], default: str) -> str:
        """Ask for one of a few keys, each with its meaning; return the key.

        Raises
        ------
        Quit
            ``q``, or nobody there any more.
        """

    def text(self, key: str, question: str, default: str) -> str:
        """Ask for a line of text.

        Raises
        ------
        Quit
            As above.
        """

    def number(
        self, key: str, question: str, unit: str, low: float, high: float, default: float | None
    ) -> float | None:
        """Ask for a number between two ends; None where nothing is said and nothing is default.

        Raises
        ------
        Quit
            As above.
        """

    def progress(self, done: float, of: float, text: str) -> None:
        """Show how far something is; ``done >= of`` ends it."""
