"""Guided runs driven as a command through a pseudo-terminal, by somebody who reads the screen."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pexpect

from probe.bench.planned.kit import TEMPLATE
from tests.house.readme import ROOT

PROMPT = r"(?:^|\n)([^\n]*?)(?: \[([^\]\n]*)\])? > $"
ALARM = re.compile(r"Look \[([a-z0-9-]+)\]")


@dataclass
class Run:
    """What came of a run: all text, alarms in order, exit status."""

    text: str = ""
    status: int | None = None
    asked: list[str] = field(default_factory=list)

    @property
    def alarms(self) -> list[str]:
        """Codes of the judgements, in order."""
        return ALARM.findall(self.text)


Answer = str | Callable[[str], str]


def command(folder: Path, *words: str) -> list[str]:
    """The guided run's arguments."""
    return ["-m", "probe", "measure", str(folder), *words]


def environment(data: Path, **more: str) -> dict[str, str]:
    """An environment with its own remembered choices."""
    return {
        **os.environ, "PROBE_DATA": str(data), "COLUMNS": "80", "LINES": "40",
        "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", **more,
    }  # fmt: skip


def kit_file(folder: Path, text: str = TEMPLATE) -> Path:
    """A kit file; the template has everything."""
    path = folder / "kit.toml"
    path.write_text(text, "utf-8")
    return path


def drive(
    folder: Path,
    *words: str,
    answers: Mapping[str, Answer] | None = None,
    timeout: float = 120.0,
    plain: bool = True,
    **more: str,
) -> Run:
    """Run ``probe measure`` on a pseudo-terminal and answer every question.

    ``answers`` maps a piece of the question to what is typed, or to what makes it from all the
    text; else Enter where the screen shows a default, ``y`` where it asks for a confirmation.
    """
    run = Run()
    arguments = command(folder, *words, *(["--plain"] if plain else []))
    child = pexpect.spawn(
        sys.executable, arguments, env=environment(folder.parent / "data", **more), cwd=str(ROOT),
        encoding="utf-8", codec_errors="replace", timeout=timeout, dimensions=(40, 80), echo=False,
    )  # fmt: skip
    child.delaybeforesend = None  # nothing is typed before it is asked for
    try:
        while True:
            if child.expect([r" > $", pexpect.EOF]) == 1:
                run.text += child.before or ""
                break
            heard = (child.before or "").replace("\r", "")
            run.text += heard + " > "
            question = "\n".join(heard.splitlines()[-3:])
            run.asked.append(question)
            said = _said(question, run.text, answers or {})
            run.text += said + "\n"
            child.sendline(said)
        child.close()
        run.status = child.exitstatus if child.signalstatus is None else -child.signalstatus
    finally:
        child.close(force=True)
    return run


def _said(question: str, heard: str, answers: Mapping[str, Answer]) -> str:
    for piece, answer in answers.items():
        if piece in question:
            return answer(heard) if callable(answer) else answer
    last = question.splitlines()[-1]
    return "y" if last.startswith("y/n") and "[" not in last else ""
