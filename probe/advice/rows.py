"""The options as a table on the screen: verdict, loudness and hum, a line each."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

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


EASED = "works with resistors in its plug"
"""Of a way that is not to be used as it is."""


def table(options: Sequence[OptionAdvice]) -> list[str]:
    """Return the lines of the table; sides that agree in words stand together."""
    sides = len({o.side for o in options})
    inputs = dict.fromkeys((o.box, o.socket) for o in options)
    lines = []
    for box, socket in inputs:
        here = [o for o in options if (o.box, o.socket) == (box, socket)]
        where = ""
        if len(inputs) > 1:
            where = f"into {socket} ({box}):" if box not in socket else f"into {socket}:"
        lines += _head(here, where)
        held: dict[tuple[str, str, str], list[OptionAdvice]] = {}
        for o in here:
            held.setdefault(_words(o), []).append(o)
        for (verdict, option, beside), group in held.items():
            used = [o.used for o in group]
            row = _row(verdict, option, _gain(used), _hum(used))
            only = f"{', '.join(o.side for o in group)} only" if len(group) < sides else ""
            told = "; ".join(part for part in (only, beside) if part)
            lines += _beside(row, told)
    return lines


def named_in_short(options: Sequence[OptionAdvice]) -> list[str]:
    """Return each way with its loudness, its hum and what to mind, for a line of them."""
    held: dict[tuple[str, str, str], list[OptionAdvice]] = {}
    for o in options:
        held.setdefault(_words(o), []).append(o)
    told = []
    for (_, option, beside), group in held.items():
        used = [o.used for o in group]
        gain, hum = _gain(used), _hum(used)
        figures = [f"{gain} dB"] if gain not in ("", "0.0") else []
        figures += [f"hum {hum} dB"] if hum else []
        told.append(", ".join((option, *figures, *([beside] if beside else []))))
    return told


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
    loudness = f"dB vs {link}" if link and any(_gain([o]) for o in options) else ""
    hum = "dB hum down" if any(_hum([o]) for o in options) else ""
    if not (loudness or hum):
        return [where] if where else []
    if len(where) < VERDICT + OPTION:
        return [f"{where:<{VERDICT + OPTION}}{loudness:<{GAIN}}{hum}".rstrip()]
    return [*textwrap.wrap(where, WIDTH), _row("", "", loudness, hum)]


def _row(verdict: str, option: str, gain: str, hum: str) -> str:
    return f"{verdict:<{VERDICT}}{option:<{OPTION}}{gain:<{GAIN}}{hum}".rstrip()


def _words(option: OptionAdvice) -> tuple[str, str, str]:
    """Return verdict, name and what to mind, as the option is used."""
    used = option.used
    verdict = option.verdict if option.verdict == "use" else used.verdict
    mind = _mind(used, verdict)
    pad = used.option.pad
    named = "resistors" if pad is not None and pad.in_series else "attenuator"
    told = [f"with its {named}"] if used is not option else []
    told += [f"but: {mind}"] if mind else []
    told += [EASED] if option.eased else []
    verdict_shown = f"{verdict}, but" if mind else verdict
    return verdict_shown, option.option.id, "; ".join(told)


def _mind(option: OptionAdvice, verdict: str) -> str:
    """Return in short what can go wrong with an option that works."""
    if verdict not in ("use", "works"):
        return ""
    codes = dict.fromkeys(h.code for h in option.hazards)
    return ", ".join(code.replace("-", " ") for code in codes)


def _gain(sides: Sequence[OptionAdvice]) -> str:
    """Return the loudness against the reference link, over all ``sides``."""
    found = [s.figures.loudness_vs_reference_db or s.figures.level_vs_reference_db for s in sides]
    known = [q for q in found if q is not None]
    if len(known) < len(found) or any(s.reference == "none" for s in sides):
        return ""
    if all(q.value < -100.0 for q in known):
        return "nothing"
    return _over(known, _signed, 0.05)


def _signed(decibels: float) -> str:
    return "0.0" if abs(decibels) < 0.05 else f"{decibels:+.1f}"


def _hum(sides: Sequence[OptionAdvice]) -> str:
    found = [s.figures.hum_below_full_output_db for s in sides]
    known = [q for q in found if q is not None]
    return "" if len(known) < len(found) else _over(known, _whole, 0.0)


def _over(known: Sequence[Quantity], shown: Callable[[float], str], least: float) -> str:
    """Return both ends over all; one value where half their distance is below ``least``."""
    low, high = min(q.low for q in known), max(q.high for q in known)
    if (high - low) / 2.0 < least:
        return shown(known[0].value)
    return " to ".join(dict.fromkeys(shown(v) for v in (low, high)))


def _whole(decibels: float) -> str:
    return f">{MOST_DB:.0f}" if decibels > MOST_DB else f"{decibels:.0f}"
