"""Numbers with their doubt, as text: digits by the uncertainty, SI prefixes, named references.

An uncertainty is written with two significant digits and the value to the same place, as the
Guide to the expression of uncertainty in measurement (JCGM 100:2008, 7.2.6) advises.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

DBU_VOLTS = math.sqrt(0.6)
"""Volts rms of 0 dBu; numpy, behind the project's own conversion, is not worth importing here."""

_PREFIXES = (
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "µ"),
    (1e-9, "n"),
    (1e-12, "p"),
)
_SCALED_UNITS = {"V": "V", "ohm": "Ω", "A": "A", "A/V": "A/V", "F": "F", "V/√Hz": "V/√Hz"}
_PLAIN_UNITS = {"deg": "°", "percent": "%", "1": "", "": ""}
_DIGITS_WITHOUT_DOUBT = 4
_MOST_DIGITS = 9
_LONGEST_UNIT = 16


@dataclass(frozen=True)
class Written:
    """A quantity as text; parts that do not apply are empty."""

    value: str
    doubt: str
    unit: str
    interval: str
    lopsided: bool = False
    """The interval has no one half-width: ``doubt`` is empty, its ends tell it."""

    @property
    def whole(self) -> str:
        """All in one piece, as in ``2.113 ± 0.012 V``; lopsided ``58.4 dB (56.1 to 62.9)``."""
        ends = f"({self.interval})" if self.lopsided else ""
        return " ".join(part for part in (self.value, self.doubt, self.unit, ends) if part)


def ohms(value: float) -> str:
    """An impedance inside a sentence, in words of three digits."""
    rounded = float(f"{value:.3g}")
    for scale, prefix in ((1e6, "M"), (1e3, "k")):
        if rounded >= scale:
            return f"{rounded / scale:.3g} {prefix}ohm"
    return f"{rounded:.3g} ohm"


def digits_down(value: float) -> float:
    """Return a positive figure in three digits, rounded down: what a limit may be at most."""
    step: float = 10.0 ** (math.floor(math.log10(value)) - 2)
    # a figure of three digits is itself, however a float writes it
    return math.floor(value / step + 1e-9) * step


def digits_up(value: float) -> float:
    """Return a positive figure in three digits, rounded up: what a limit may be at least."""
    step: float = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.ceil(value / step - 1e-9) * step


def number(entry: Mapping[str, Any] | None, key: str = "value") -> float | None:
    """Return a finite number of a facts entry, or None where it is absent or not a number."""
    found = None if entry is None else entry.get(key)
    if isinstance(found, bool) or not isinstance(found, int | float):
        return None
    return float(found) if math.isfinite(found) else None


def interval(entry: Mapping[str, Any], *, positive: bool = False) -> tuple[float, float] | None:
    """Return the ends of the 95 % interval of a facts entry in its own unit, or None."""
    value, doubt = number(entry), number(entry, "u95")
    low, high = number(entry, "low"), number(entry, "high")
    if low is None and value is not None and doubt is not None:
        low = value - doubt
    if high is None and value is not None and doubt is not None:
        high = value + doubt
    if low is None or high is None:
        return None
    return (max(low, 0.0) if positive else low), high


def write(entry: Mapping[str, Any], *, positive: bool = False) -> Written:
    """Return a facts entry (value, unit, u95, low, high, bound) as text.

    ``positive`` says that the quantity is a magnitude, so that its interval stops at zero.
    """
    value = number(entry)
    if value is None:
        return Written("not known", "", "", "")
    ends = interval(entry, positive=positive)
    doubt = 0.0 if ends is None else (ends[1] - ends[0]) / 2.0
    factor, unit = _unit(str(entry.get("unit", "")), max(abs(value), doubt))
    bound = entry.get("bound")
    if bound in {"above", "below"}:
        return Written(f"{bound} {_significant(value / factor, 3)}", "", unit, "")
    if ends is None or doubt <= 0.0:
        return Written(_significant(value / factor, _DIGITS_WITHOUT_DOUBT), "", unit, "")
    places = _places(doubt / factor, value / factor)
    low, high = (fixed(end / factor, places) for end in ends)
    told = _plus_minus(value, interval(entry) or ends, factor, places)
    shown = fixed(value / factor, places)
    return Written(shown, told or "", unit, f"{low} to {high}", lopsided=told is None)


def write_number(value: float, unit: str = "", digits: int = 3) -> str:
    """Return a bare number with a prefix and unit, ``digits`` significant digits."""
    factor, shown = _unit(unit, abs(value))
    return f"{_significant(value / factor, digits)} {shown}".rstrip()


def write_as_typed(value: float, unit: str = "") -> str:
    """Return a bare number with a prefix and unit, with the digits that somebody typed."""
    factor, shown = _unit(unit, abs(value))
    return f"{_signed(f'{value / factor:.9g}')} {shown}".rstrip()


def ratio_db(ratio: float) -> float:
    """Return ``20 log10`` of a positive amplitude ratio, dB."""
    return 20.0 * math.log10(ratio)


def write_dbu(entry: Mapping[str, Any]) -> str:
    """Return a voltage entry as a level in dBu (0 dBu = sqrt(0.6) V rms), or nothing at zero."""
    value = number(entry)
    if value is None or value <= 0.0 or entry.get("unit") != "V":
        return ""
    ends = interval(entry, positive=True)
    doubt = 0.0 if ends is None else (ends[1] - ends[0]) / 2.0
    return write_signed(ratio_db(value / DBU_VOLTS), "dBu", ratio_db(1.0 + doubt / value), 2)


def write_signed(value: float, unit: str, doubt: float, most: int) -> str:
    """Return a signed number with no more places than two digits of its doubt, at most ``most``."""
    places = most if doubt <= 0.0 else min(most, _places(doubt, value))
    text = f"{value:+.{places}f}"
    if float(text) == 0.0:
        text = f"+{0.0:.{places}f}"
    return f"{text} {unit}".replace("-", "−")


def write_hz(hz: float) -> str:
    """Return a frequency as text: ``997 Hz``, ``1.5 kHz``."""
    return f"{hz / 1e3:.4g} kHz" if hz >= 9999.5 else f"{hz:.4g} Hz"


def write_share(share: float | None) -> str:
    """Return a confidence as a percentage that never claims certainty."""
    if share is None:
        return "not measured"
    if share >= 0.9995:
        return "above 99.9\u00a0%"
    if share < 0.001:
        return "below 0.1\u00a0%"
    places = 1 if share >= 0.9 or share < 0.1 else 0
    return f"{100.0 * share:.{places}f}\u00a0%"


def plain(text: str) -> str:
    """Return ``text`` in ASCII spellings of signs and units, for a terminal of any kind."""
    for fancy, ascii_ in _ASCII:
        text = text.replace(fancy, ascii_)
    return text


_ASCII = (
    ("\u00a0", " "), ("−", "-"), ("±", "+/-"), ("Ω", "ohm"), ("µ", "u"), (" °", " deg"),
    ("°", " deg"), ("…", "..."), ("√", "rt"), ("–", "-"), ("×", "x"), ("≤", "<="), ("≥", ">="),
    ("’", "'"),
)  # fmt: skip


_DIGITS = re.compile(r"[-+\u2212]?\d+(?:\.\d+)?")
_FIGURE = re.compile(
    rf" \({_DIGITS.pattern} to {_DIGITS.pattern}\)"
    rf"|{_DIGITS.pattern}(?:(?: to | (?:\+/-|\u00b1) ){_DIGITS.pattern})?"
)
"""A figure with its interval, however that is written."""


def without_figures(text: str) -> str:
    """Return a sentence without its figures: of both sides of a device it is the same."""
    return _FIGURE.sub("", text)


NEAR = 0.02
"""Share within which figures come to the same for who reads them. [judgement]"""


def says_alike(one: str, other: str) -> bool:
    """Tell whether two sentences are the same but for figures that hardly differ."""
    if without_figures(one) != without_figures(other):
        return False
    mine, theirs = _figures_of(one), _figures_of(other)
    if len(mine) != len(theirs):  # one of them has an interval
        return False
    pairs = zip(mine, theirs, strict=True)
    return all(math.isclose(a, b, rel_tol=NEAR) for a, b in pairs)


def _figures_of(text: str) -> list[float]:
    return [float(found.replace("\u2212", "-")) for found in _DIGITS.findall(text)]


def first_figure(text: str) -> float:
    """Return the figure a sentence tells first; nothing told counts as none."""
    found = _DIGITS.search(text)
    return float(found[0].replace("\u2212", "-")) if found else 0.0


LESS_IS_WORSE = ("below full output", "clips at")
"""Words of a sentence whose first figure is the worse the smaller it is."""


def worst_told(texts: Iterable[str]) -> str:
    """Return of sentences that differ in figures the one of the side that is worse off."""
    held = list(texts)
    less = any(words in text for text in held for words in LESS_IS_WORSE)
    return (min if less else max)(held, key=first_figure)


def _unit(unit: str, size: float) -> tuple[float, str]:
    if unit in _PLAIN_UNITS:
        return 1.0, _PLAIN_UNITS[unit]
    if unit == "Hz":
        return (1e3, "kHz") if size >= 1e4 else (1.0, "Hz")
    if unit not in _SCALED_UNITS:
        return 1.0, "".join(c for c in unit[:_LONGEST_UNIT] if c.isprintable())
    for factor, prefix in _PREFIXES:
        if size >= factor * 0.9995:
            return factor, prefix + _SCALED_UNITS[unit]
    return (1.0, _SCALED_UNITS[unit]) if size == 0.0 else (1e-12, "p" + _SCALED_UNITS[unit])


def _places(doubt: float, value: float) -> int:
    """Decimal places for two significant digits of ``doubt``, within what a reader can use."""
    rounded = float(f"{doubt:.1e}")  # 0.0996 is written 0.10, not 0.100
    places = 1 - math.floor(math.log10(rounded))
    if value:
        places = min(places, _MOST_DIGITS - 1 - math.floor(math.log10(abs(value))))
    return max(0, places)


def _plus_minus(value: float, ends: tuple[float, float], factor: float, places: int) -> str | None:
    """Return the doubt beside the value, before a magnitude's interval is cut at zero.

    None: it is not as much up as down.
    """
    up, down = (
        fixed((ends[1] - value) / factor, places),
        fixed((value - ends[0]) / factor, places),
    )
    if float(up.replace("−", "-")) == 0.0 and float(down.replace("−", "-")) == 0.0:
        return ""
    return f"± {up}" if up == down else None


def fixed(value: float, places: int) -> str:
    """Return ``value`` with ``places`` decimals, a true minus sign and no negative zero."""
    text = f"{value:.{places}f}"
    return _signed(text[1:] if text.startswith("-") and float(text) == 0.0 else text)


def _significant(value: float, digits: int) -> str:
    if value == 0.0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return fixed(value, places)


def _signed(text: str) -> str:
    return text.replace("-", "−")
