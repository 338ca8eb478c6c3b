"""The options as a table on the screen: verdict, loudness and hum, a line each."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from probe.advice.candidate import NOT_IN_USE
from probe.advice.model import OptionAdvice
from probe.advice.quantity import Quantity
from probe.advice.words import MOST_DB

WIDTH = 80
"""Of the screen: the columns every terminal has."""

VERDICT, OPTION, GAIN = 12, 38, 16
"""Widths of the columns before the last."""

BESIDE = 57
"""Column after which what is said of an option stands, where the row is short."""

LINKS = {"rca-link": "RCA link", "xlr-link": "XLR link", "none": ""}


def table(options: Sequence[OptionAdvice]) -> list[str]:
    """Return the lines of the table; sides that agree stand together."""
    sides = len({o.side for o in options})
    inputs = dict.fromkeys((o.box, o.socket) for o in options)
    lines = []
    for box, socket in inputs:
        here = [o for o in options if (o.box, o.socket) == (box, socket)]
        where = ""
        if len(inputs) > 1:
            where = f"into {socket} ({box}):" if box not in socket else f"into {socket}:"
        lines += _head(here, where)
        held: dict[tuple[str, str, str, str, str], list[str]] = {}
        for o in here:
            held.setdefault(_cells(o), []).append(o.side)
        for (verdict, option, gain, hum, beside), on in held.items():
            row = _row(verdict, option, gain, hum)
            only = f"{', '.join(on)} only" if len(on) < sides else ""
            told = "; ".join(part for part in (only, beside) if part)
            lines += _beside(row, told)
    return lines


def _beside(row: str, told: str) -> list[str]:
    """Return a row with what has to be said of it: on its line where that fits, else under it."""
    line = f"{row:<{BESIDE}}  {told}".rstrip()
    if len(line) <= WIDTH:
        return [line]
    under, more = " " * (VERDICT + 2), " " * (VERDICT + 7)
    return [row, *textwrap.wrap(told, WIDTH, initial_indent=under, subsequent_indent=more)]


def _head(options: Sequence[OptionAdvice], where: str) -> list[str]:
    """Return the heads of the columns that hold anything, after the input they are for."""
    link = LINKS.get(options[0].reference, "")
    loudness = f"dB vs {link}" if link and any(_gain(o) for o in options) else ""
    hum = "dB hum down" if any(_hum(o) for o in options) else ""
    if not (loudness or hum):
        return [where] if where else []
    if len(where) < VERDICT + OPTION:
        return [f"{where:<{VERDICT + OPTION}}{loudness:<{GAIN}}{hum}".rstrip()]
    return [*textwrap.wrap(where, WIDTH), _row("", "", loudness, hum)]


def _row(verdict: str, option: str, gain: str, hum: str) -> str:
    return f"{verdict:<{VERDICT}}{option:<{OPTION}}{gain:<{GAIN}}{hum}".rstrip()


def _cells(option: OptionAdvice) -> tuple[str, str, str, str, str]:
    """Return verdict, name, loudness, hum and what to mind, as the option is used."""
    used = option.used
    verdict = option.verdict if option.verdict == "use" else used.verdict
    mind = _mind(used, verdict)
    told = ["with its attenuator"] if used is not option else []
    told += [f"but: {mind}"] if mind else []
    verdict_shown = f"{verdict}, but" if mind else verdict
    return verdict_shown, option.option.id, _gain(used), _hum(used), "; ".join(told)


def _mind(option: OptionAdvice, verdict: str) -> str:
    """Return in short what can go wrong with an option that works."""
    if verdict not in ("use", "works"):
        return ""
    codes = dict.fromkeys(h.code for h in option.hazards if h.code not in NOT_IN_USE)
    return ", ".join(code.replace("-", " ") for code in codes)


def _gain(option: OptionAdvice) -> str:
    gain = option.figures.loudness_vs_reference_db or option.figures.level_vs_reference_db
    if gain is None or option.reference == "none":
        return ""
    if gain.value < -100.0:
        return "nothing"
    ends = dict.fromkeys(_signed(v) for v in (gain.low, gain.high))
    return " to ".join(ends) if gain.u95 >= 0.05 else _signed(gain.value)


def _signed(decibels: float) -> str:
    return "0.0" if abs(decibels) < 0.05 else f"{decibels:+.1f}"


def _hum(option: OptionAdvice) -> str:
    hum: Quantity | None = option.figures.hum_below_full_output_db
    if hum is None:
        return ""
    return " to ".join(dict.fromkeys(_whole(v) for v in (hum.low, hum.high)))


def _whole(decibels: float) -> str:
    return f">{MOST_DB:.0f}" if decibels > MOST_DB else f"{decibels:.0f}"
