"""Sentences of a caption: numbers with their intervals, and the conditions they hold for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.figures.plot import Trace
from probe.numbers import number, write, write_hz, write_number

Side = Mapping[str, Any]

BAND = "Shaded: 95\u00a0% interval; where none shows it is narrower than the line."
_LIMIT = "Hatched: below what the recorder could have shown."
_BOUNDS = {
    "above": "Upward triangles: at least, a bound only.",
    "below": "Downward triangles: at most, a bound only.",
}
_TERMS = (
    (" thd n", " THD+N"),
    (" thd", " THD"),
    (" noise a", " noise, A-weighted"),
    ("single ended", "single-ended"),
    ("common mode", "common-mode"),
)
"""Names of facts as people write them."""


def caption(*parts: str) -> str:
    """Return the sentences that say something, in a row."""
    return " ".join(p for p in parts if p)


def sentence(side: Side, *names: str) -> str:
    """Return the numbers that belong to a figure, each with its interval and its conditions."""
    facts = side.get("facts", {})
    said = []
    for name in names:
        entry = facts.get(name)
        if isinstance(entry, Mapping) and number(entry) is not None:
            said.append(f"{_spoken(name)} {write(entry).whole}{_where(entry)}")
    if not said:
        return ""
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]} (±: 95\u00a0% interval)."


def _spoken(name: str) -> str:
    text = name.replace("_", " ")
    for plain, term in _TERMS:
        text = text.replace(plain, term)
    return text


def _where(entry: Mapping[str, Any]) -> str:
    hz, volts = number(entry, "at_hz"), number(entry, "at_volts")
    places = [write_hz(hz)] if hz else []
    places += [f"{write_number(volts, 'V')} rms"] if volts else []
    band = entry.get("band_hz")
    known = isinstance(band, list | tuple) and len(band) == 2
    over = f", {write_hz(band[0])} to {write_hz(band[1])}" if known and band else ""
    return (f" at {' and '.join(places)}" if places else "") + over


def conditions(side: Side) -> str:
    """Return the volume setting, as far as the facts say one."""
    volume = _held(side).get("volume")
    return f"Volume: {volume}." if isinstance(volume, str) and volume else ""


def drive(side: Side) -> str:
    """Return the drive that the open-circuit levels stand at; other measures have their own."""
    held = _held(side)
    volts, dbfs = number(held, "drive_volts"), number(held, "drive_dbfs")
    if volts is not None:
        return f"Drive: {write_number(volts, 'V')} rms a tone."
    return "" if dbfs is None else f"Drive: {dbfs:.4g} dBFS a tone.".replace("-", "\u2212")


def _held(side: Side) -> Mapping[str, Any]:
    held = side.get("conditions")
    return held if isinstance(held, Mapping) else {}


def marks(traces: Iterable[Trace]) -> str:
    """Return what triangles and hatching of a figure mean, where it has any."""
    drawn = tuple(traces)
    said = [text for one, text in _BOUNDS.items() if any(one in t.bound for t in drawn)]
    said += [_LIMIT] if any(t.limit for t in drawn) else []
    return " ".join(said)
